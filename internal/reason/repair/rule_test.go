package repair

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// The latest evening stands first: w the conditions hold, i the interval keeps
// off 0 without them, 0 it takes in 0, g a gate is shut.
func TestAVerdictNeedsItsEveningsRunningAndFallsWithItsInterval(t *testing.T) {
	for pattern, want := range map[string]bool{
		"www":     true,
		"ww0w":    false,
		"wwgw":    false,
		"ww":      false, // the record does not reach back far enough
		"iwww":    true,  // stands while the interval keeps off 0
		"iiiwww":  true,
		"iiiiwww": false, // but not for ever
		"0www":    false, // withdrawn
		"wiwww":   true,
		"wwiww":   false,
	} {
		at := func(i int) *look {
			if i >= len(pattern) {
				return nil
			}
			l := &look{open: pattern[i] != 'g', risk: effect{low: 1, high: 2}}
			if pattern[i] == '0' {
				l.risk.low = -1
			}
			l.needs = string(pattern[i])
			return l
		}
		assert.Equal(t, want, held(at, func(l *look) bool { return l.needs == "w" }, runWorked), pattern)
	}
}

func TestGotWorseIsHarderThanWorked(t *testing.T) {
	j := &judge{}
	l := &look{open: true, trial: &trial{validA: make([]int, 30)}, risk: effect{pct: -30, low: -60, high: -5},
		riskFirm: effect{high: -2}, reduction: effect{pct: -40}, companion: companion{q: 0.2}}
	assert.True(t, j.worse(l))
	for name, spoil := range map[string]func(*look, *judge){
		"few nights":            func(l *look, _ *judge) { l.trial = &trial{validA: make([]int, 20)} },
		"not certain":           func(l *look, _ *judge) { l.riskFirm.high = 1 },
		"small":                 func(l *look, _ *judge) { l.reduction.pct = -10 },
		"hardly more at risk":   func(l *look, _ *judge) { l.risk.pct = -9 },
		"hours may have fallen": func(l *look, _ *judge) { l.reduction.high = 30 },
		"not in the readings":   func(l *look, _ *judge) { l.companion.q = 0 },
		"a logger exchanged":    func(_ *look, j *judge) { j.swapNear = true },
		"a gate shut":           func(l *look, _ *judge) { l.open = false },
	} {
		m, k := *l, *j
		spoil(&m, &k)
		assert.False(t, k.worse(&m), name)
	}
}

func TestAShutVoidNeverPassesForARepair(t *testing.T) {
	shut := 0.0
	world := roofworlds.Draw(31, roofsim.NightSkyCooling)
	for s := range world.Roof.VoidEavesMM {
		world.Roof.VoidEavesMM[s], world.Roof.VoidRidgeMM[s] = 25, 10
	}
	world.Roof.CeilingLeakMM2M2 = 500
	world.Roof.LoftEavesMM = 2
	at := world.Start.AddDate(0, 0, 40).Add(10 * time.Hour)
	w := roofsim.Run(world, roofsim.Options{Days: 100,
		Repairs: []roofsim.Repair{{At: at, VoidEavesMM: &shut, VoidRidgeMM: &shut}}})
	m := roofworlds.Kit{Interval: 30 * time.Minute, CaseID: "trial"}.Measure(w, 31)
	for i := range m.Case.Events {
		m.Case.Events[i].Changes, m.Case.Events[i].Treats = []roof.Change{roof.VoidVentilation}, []string{"void", "slate"}
	}
	rs := Assess(buildSet(t, m), Options{Draws: 80, NoSensitivity: true})
	require.Len(t, rs, 1)
	assert.NotEqual(t, Worked, rs[0].Verdict)
	var void *Factor
	for i := range rs[0].Mechanism {
		if strings.Contains(rs[0].Mechanism[i].What, "void") {
			void = &rs[0].Mechanism[i]
		}
	}
	require.NotNil(t, void, rs[0].Needs)
	assert.Less(t, void.Factor, 1.0, "the exchange fell")
}

func TestAnUndeclaredExchangeAwayFromTheRepairIsNoticed(t *testing.T) {
	step := func(m *roofsim.Measured) {
		at := m.Case.Events[0].At.AddDate(0, 0, -18)
		for i := range m.Readings {
			r := &m.Readings[i]
			l, _ := m.Case.Logger(r.Logger)
			if rh, ok := r.Values.Get(roof.RHPct); ok && l.Fitted[0].Position == "loft" && r.At.After(at) {
				r.Values.Set(roof.RHPct, rh-9)
			}
		}
	}
	noted := func(rs []Result) bool {
		for _, n := range rs[0].Notes {
			if strings.HasPrefix(n, "logger changed or moved?") {
				return true
			}
		}
		return false
	}
	kit := roofworlds.Kit{Interval: 30 * time.Minute}
	plain := Assess(kitted(t, 13, roofsim.Repair{}, kit, 75, nil), Options{Draws: 60, NoSensitivity: true})
	moved := Assess(kitted(t, 13, roofsim.Repair{}, kit, 75, step), Options{Draws: 60, NoSensitivity: true})
	assert.False(t, noted(plain), plain[0].Notes)
	assert.True(t, noted(moved), moved[0].Notes)
	assert.NotEqual(t, Worked, moved[0].Verdict)
	assert.NotEqual(t, GotWorse, moved[0].Verdict)
}

func TestRepairsOfOneWinterBoundEachOther(t *testing.T) {
	second := func(m *roofsim.Measured) {
		e := m.Case.Events[0]
		e.At, e.What = e.At.AddDate(0, 0, 30), "ridge opened"
		m.Case.Events = append([]roof.Event{e}, m.Case.Events...) // the file need not be in order
	}
	rs := Assess(kitted(t, 13, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute}, 95, second),
		Options{Draws: 60, NoSensitivity: true})
	require.Len(t, rs, 2)
	assert.True(t, rs[0].At.Before(rs[1].At), "in the order of the repairs")
	assert.LessOrEqual(t, rs[0].NightsAfter, 26, "the first ends where the second begins")
	assert.LessOrEqual(t, rs[1].NightsBefore, 26, "the second begins where the first ended")
	assert.Contains(t, strings.Join(rs[0].Notes, " "), "a later repair")
	assert.Contains(t, strings.Join(rs[1].Notes, " "), "an earlier repair")
}

func TestADoubtfulHourLeavesOutItsSpan(t *testing.T) {
	doubt := func(m *roofsim.Measured) { m.Case.Events[0].Uncertain = 5 * 24 * time.Hour }
	kit := roofworlds.Kit{Interval: 30 * time.Minute}
	sure := Assess(kitted(t, 13, strongVoid(), kit, 85, nil), Options{Draws: 60, NoSensitivity: true})
	unsure := Assess(kitted(t, 13, strongVoid(), kit, 85, doubt), Options{Draws: 60, NoSensitivity: true})
	assert.Equal(t, sure[0].NightsBefore-5, unsure[0].NightsBefore)
	assert.Equal(t, sure[0].NightsAfter-5, unsure[0].NightsAfter)
}

func TestNeedsAreWordsAPersonCanActOn(t *testing.T) {
	e, r := 3.0, 1.0
	known := regexp.MustCompile(`about \d+ more cold nights|second winter|next winter|more evenings running|no change of a size|cold, clear nights|as cold and as clear|well-observed night|usual physics`)
	for seed := uint64(40); seed < 44; seed++ {
		rs := Assess(kitted(t, seed, roofsim.Repair{VoidEavesMM: &e, VoidRidgeMM: &r},
			roofworlds.Kit{Interval: 30 * time.Minute}, 70, nil), Options{Draws: 60, NoSensitivity: true})
		for _, x := range rs {
			if x.Verdict == Worked || x.Verdict == GotWorse {
				continue
			}
			assert.Regexp(t, known, x.Needs)
			assert.NotEmpty(t, x.Reason)
		}
	}
}

func TestCreditIsDeclaredOrInferredAndSaid(t *testing.T) {
	c := &roof.Case{Positions: []roof.Position{{ID: "void", Place: roof.BattenVoidAir},
		{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"},
		{ID: "loft", Place: roof.LoftAir}, {ID: "deck", Place: roof.CoveringUnderside, Meets: "loft"},
		{ID: "room", Place: roof.IndoorAir}}}
	for name, x := range map[string]struct {
		e    roof.Event
		want [3]bool
		any  bool
	}{
		"declared": {roof.Event{Treats: []string{"loft"}, Changes: []roof.Change{roof.VoidVentilation}},
			[3]bool{false, false, true}, true},
		"covering over a void":    {roof.Event{Treats: []string{"slate"}}, [3]bool{false, false, true}, true},
		"covering without a void": {roof.Event{Treats: []string{"deck"}}, [3]bool{true, true, false}, true},
		"loft":                    {roof.Event{Treats: []string{"loft"}}, [3]bool{true, true, false}, true},
		"both":                    {roof.Event{Treats: []string{"loft", "slate"}}, [3]bool{true, true, true}, true},
		"nothing named":           {roof.Event{}, [3]bool{true, true, true}, true},
		"beyond the loggers":      {roof.Event{Changes: []roof.Change{roof.WaterEntry}}, [3]bool{}, false},
		"a known and an unknown thing": {roof.Event{Changes: []roof.Change{roof.UnderlayChange, roof.CeilingChange}},
			[3]bool{false, true, false}, true},
	} {
		got := credit(c, x.e)
		assert.Equal(t, x.want, got.modelled(), name)
		assert.Equal(t, x.any, got.any(), name)
		assert.Contains(t, got.Text, map[bool]string{true: "declares", false: "inferred"}[len(x.e.Changes) > 0], name)
	}
}

func TestEveryRepairAnswersForSomeSurface(t *testing.T) {
	c := &roof.Case{Positions: []roof.Position{{ID: "loft", Place: roof.LoftAir}, {ID: "void", Place: roof.BattenVoidAir},
		{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"},
		{ID: "void-e", Place: roof.BattenVoidAir, Untouched: true},
		{ID: "slate-e", Place: roof.CoveringUnderside, Meets: "void-e"},
		{ID: "membrane", Place: roof.UnderlayUnderside, Meets: "loft"}}}
	for treats, want := range map[string][]string{"": {"slate", "membrane"}, "slate": {"slate"}, "void": {"slate"},
		"loft": {"membrane"}, "slate-e": {"slate-e"}, "elsewhere": {"slate", "membrane"}} {
		e := roof.Event{}
		if treats != "" {
			e.Treats = []string{treats}
		}
		var got []string
		surfaces, said := treatedSurfaces(c, e)
		assert.Equal(t, treats != "" && treats != "elsewhere", said, treats)
		for _, p := range surfaces {
			got = append(got, p.ID)
		}
		assert.Equal(t, want, got, treats)
	}
}

func TestAFallIsCertainTo975OrWhereStrictTo995(t *testing.T) {
	at := func(firm, usual float64) *look {
		return &look{riskFirm: effect{low: firm}, risk: effect{low: usual}}
	}
	for name, x := range map[string]struct {
		l             *look
		usual, strict bool
	}{
		"to 99.5 %":  {at(1, 2), true, true},
		"to 97.5 %":  {at(-1, 2), true, false},
		"not at all": {at(-2, -1), false, false},
	} {
		assert.Equal(t, x.usual, (&judge{}).certain(x.l), name)
		assert.Equal(t, x.strict, (&judge{swapNear: true}).certain(x.l), name)
	}
}

// Only void work can wet a covering on clear nights while it takes away hours at
// risk.
func TestTheWetHoursMustKeepOffARiseWhereTheVoidWasWorkedOn(t *testing.T) {
	keeps := func(low, wetH float64, credit [3]bool) bool {
		l := &look{reduction: effect{low: low}}
		l.sample.without.wetH = wetH
		return (&judge{terms: terms{credit: credit}}).wetSide(l)
	}
	assert.True(t, keeps(-29, 100, [3]bool{false, false, true}))
	assert.False(t, keeps(-31, 100, [3]bool{false, false, true}))
	assert.False(t, keeps(-31, 100, [3]bool{true, false, true}))
	assert.True(t, keeps(-80, 100, [3]bool{true, false, false}))
	assert.True(t, keeps(-80, 100, [3]bool{false, true, false}))
	assert.False(t, keeps(-80, 5, [3]bool{false, true, false}), "hardly any wet hours to tell by")
}
