package buildup

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// combo is one roof on paper. Slots are mm; -1 is unknown. "?" is unknown.
type combo struct {
	covering, underlay, permeable, battens, sealed string
	loftEaves, loftRidge, voidEaves, voidRidge     float64
	pitch                                          float64
}

const unknownMM = -1

func (x combo) build() roof.Build {
	plain := func(s string) string {
		if s == "?" {
			return ""
		}
		return s
	}
	mm := func(v float64) *float64 {
		if v == unknownMM {
			return nil
		}
		return &v
	}
	span, depth := 8.0, 25.0
	b := roof.Build{PitchDeg: &x.pitch, SpanM: &span, Shape: "duopitch", Insulation: "ceiling", Battens: plain(x.battens),
		Covering: roof.Covering{Air: plain(x.covering)},
		Underlay: roof.Underlay{Class: plain(x.underlay), AirPermeable: roof.Answer(plain(x.permeable))},
		Ceiling:  roof.Ceiling{Sealed: roof.Answer(plain(x.sealed))},
		Openings: roof.Openings{LoftEavesMM: mm(x.loftEaves), LoftRidgeMM: mm(x.loftRidge), VoidEavesMM: mm(x.voidEaves),
			VoidRidgeMM: mm(x.voidRidge)}}
	if x.battens == "counter" {
		b.CounterBattenMM = &depth
	}
	return b
}

// soundPatterns is the table, written from the design's words and the sizes of
// BS 5250 as quoted, for roofs of which all is known. A roof that matches no row
// is faulty. It shares nothing with the rules in the package.
var soundPatterns = []struct {
	words string
	match func(combo) bool
}{
	{"HR underlay with the loft ventilated below, whatever is above", func(x combo) bool {
		return x.underlay == "HR" && x.loftEaves >= 10 && (x.pitch <= 35 || x.loftRidge >= 5)
	}},
	{"LR underlay, counter-battens vented both ends under a close-fitting covering, loft still ventilated",
		func(x combo) bool {
			return x.underlay == "LR" && x.covering == "closed" && x.battens == "counter" && x.voidEaves >= 25 &&
				x.voidRidge >= 5 && x.loftEaves >= 7
		}},
	{"the same over an air-permeable underlay, which may make ventilation beneath it unnecessary", func(x combo) bool {
		return x.underlay == "LR" && x.permeable == "yes" && x.covering == "closed" && x.battens == "counter" &&
			x.voidEaves >= 25 && x.voidRidge >= 5
	}},
	{"LR underlay under an air-open covering, loft ventilated", func(x combo) bool {
		return x.underlay == "LR" && x.covering == "open" && x.loftEaves >= 7
	}},
	{"LR underlay under an air-open covering, well-sealed ceiling", func(x combo) bool {
		return x.underlay == "LR" && x.covering == "open" && x.sealed == "yes" && (x.loftEaves >= 3 || x.loftRidge >= 5)
	}},
	{"air-permeable underlay under an air-open covering", func(x combo) bool {
		return x.underlay == "LR" && x.permeable == "yes" && x.covering == "open"
	}},
	{"no underlay under an air-open covering", func(x combo) bool { return x.underlay == "none" && x.covering == "open" }},
	{"no underlay under a close-fitting covering, loft ventilated", func(x combo) bool {
		return x.underlay == "none" && x.covering == "closed" && x.loftEaves >= 10 && (x.pitch <= 35 || x.loftRidge >= 5)
	}},
}

func soundOnPaper(x combo) bool {
	for _, p := range soundPatterns {
		if p.match(x) {
			return true
		}
	}
	return false
}

// outcomes says whether some way of filling in the unknowns is sound, and
// whether some is faulty.
func outcomes(x combo) (sound, faulty bool) {
	try := func(y combo) {
		s, f := outcomes(y)
		sound, faulty = sound || s, faulty || f
	}
	word := func(field *string, values ...string) bool {
		if *field != "?" {
			return false
		}
		for _, v := range values {
			*field = v
			try(x)
		}
		return true
	}
	slot := func(field *float64, enough float64) bool {
		if *field != unknownMM {
			return false
		}
		for _, v := range []float64{0, enough} {
			*field = v
			try(x)
		}
		return true
	}
	switch {
	case word(&x.covering, "open", "closed"), word(&x.underlay, "HR", "LR", "none"), word(&x.permeable, "yes", "no"),
		word(&x.battens, "single", "counter"),
		word(&x.sealed, "yes", "no"), slot(&x.loftEaves, 30), slot(&x.loftRidge, 30), slot(&x.voidEaves, 30),
		slot(&x.voidRidge, 30):
		return sound, faulty
	}
	return soundOnPaper(x), !soundOnPaper(x)
}

func (x combo) known() bool {
	for _, w := range []string{x.covering, x.underlay, x.battens, x.sealed} {
		if w == "?" {
			return false
		}
	}
	for _, v := range []float64{x.loftEaves, x.loftRidge, x.voidEaves, x.voidRidge} {
		if v == unknownMM {
			return false
		}
	}
	return x.underlay != "LR" || x.permeable != "?"
}

// every calls f for each combination: 3 coverings x 6 underlays x 3 battens x
// 256 sets of openings x (pitch 30 with three ceilings, pitch 40 with one).
func every(f func(combo)) {
	underlays := [][2]string{{"HR", "?"}, {"LR", "no"}, {"LR", "yes"}, {"LR", "?"}, {"none", "?"}, {"?", "?"}}
	slots := func(short, enough float64) []float64 { return []float64{0, short, enough, unknownMM} }
	for _, roofs := range []struct {
		pitch  float64
		sealed string
	}{{30, "no"}, {30, "yes"}, {30, "?"}, {40, "no"}} {
		for _, covering := range []string{"open", "closed", "?"} {
			for _, u := range underlays {
				for _, battens := range []string{"single", "counter", "?"} {
					for _, le := range slots(4, 10) {
						for _, lr := range slots(2, 5) {
							for _, ve := range slots(10, 25) {
								for _, vr := range slots(2, 5) {
									f(combo{covering: covering, underlay: u[0], permeable: u[1], battens: battens, sealed: roofs.sealed,
										loftEaves: le, loftRidge: lr, voidEaves: ve, voidRidge: vr, pitch: roofs.pitch})
								}
							}
						}
					}
				}
			}
		}
	}
}

func TestEveryCombinationAgreesWithTheTable(t *testing.T) {
	counts := map[Verdict]int{}
	total, exact, bad := 0, 0, 0
	cache := map[string][2]bool{}
	every(func(x combo) {
		total++
		c := roof.Case{Roof: x.build()}
		k := &check{b: c.Roof}
		k.load()
		k.vapourWays()
		got, sentence := k.overall()
		counts[got]++
		key := fmt.Sprint(x)
		o, ok := cache[key]
		if !ok {
			s, f := outcomes(x)
			o = [2]bool{s, f}
			cache[key] = o
		}
		wrong := ""
		switch {
		case sentence == "" || len(k.out) == 0:
			wrong = "unhandled"
		case x.known() && got == Ask:
			wrong = "asks although all is known"
		case x.known() && (got == Sound) != o[0]:
			wrong = "differs from the table"
		case got == Sound && o[1]:
			wrong = "assumes that what is unknown is right"
		case got == Fault && o[0]:
			wrong = "assumes that what is unknown is wrong"
		case !x.known() && got == Ask && !asksForSomethingUnknown(k.out, x):
			wrong = "asks for nothing that is unknown"
		}
		if x.known() {
			exact++
		}
		if wrong != "" {
			if bad++; bad <= 20 {
				t.Errorf("%+v: %s: %s (%s), table sound %v faulty %v", x, wrong, got, sentence, o[0], o[1])
			}
		}
	})
	require.Zero(t, bad, "of %d", total)
	require.Greater(t, total, 50_000)
	require.Greater(t, exact, 3_000)
	for _, v := range []Verdict{Sound, Fault, Ask} {
		require.Greater(t, counts[v], 500, v)
	}
	t.Logf("%d combinations, %d of them fully known: %v", total, exact, counts)
}

// asksForSomethingUnknown: at least one question names an item that the survey
// does not hold.
func asksForSomethingUnknown(list []Finding, x combo) bool {
	unknown := map[string]bool{"underlay": x.underlay == "?", "covering": x.covering == "?", "battens": x.battens == "?",
		"ceiling_for_loft": x.sealed == "?",
		"air_permeable":    x.permeable == "?", "loft_eaves": x.loftEaves == unknownMM,
		"loft_ridge": x.loftRidge == unknownMM,
		"void_eaves": x.voidEaves == unknownMM, "void_ridge": x.voidRidge == unknownMM,
		"counter_batten_depth": x.battens == "?"}
	for _, f := range list {
		if f.Verdict == Ask && unknown[f.ID] {
			return true
		}
	}
	return false
}
