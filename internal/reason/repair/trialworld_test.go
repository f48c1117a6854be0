package repair

import (
	"iter"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/qc"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/abroad"
	"dewcase/internal/testkit/roofworlds"
)

// simulated is one winter of the independent simulator as its loggers saw it,
// with the truth of the unrepaired twin beside it.
type simulated struct {
	set      *series.Set
	winter   *roofsim.Winter
	twin     *roofsim.Winter
	slope    int
	surfaces []string // that the work treats
	at       time.Time
	event    roof.Event
}

// work is what was done to the simulated roof.
type work string

const (
	noWork      work = "none, void work declared"
	noCeiling   work = "none, ceiling work declared"
	noLoft      work = "none, loft vents declared"
	voidWork    work = "void"
	ceilingWork work = "ceiling"
	loftWork    work = "loft vents"
	noIndoor    work = "none, no indoor logger"
	noLoftAir   work = "none, no loft logger"
	voidBlind   work = "void, no indoor logger"
	noStation   work = "none, a station outdoors"
	voidStation work = "void, a station outdoors"
)

// Kits with a logger missing.
var lacks = map[work]roof.Place{noIndoor: roof.IndoorAir, noLoftAir: roof.LoftAir, voidBlind: roof.IndoorAir}

// simulate draws a house, lets it live through a winter with the work done on
// the 48th day or so, and reads it with rough loggers. Confounders come at
// random, several at once.
func simulate(t testing.TB, seed uint64, w work, days int, interval time.Duration) *simulated {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 0x7e9a17))
	cause := roofsim.UnventedBattenVoid
	switch w {
	case ceilingWork, noCeiling:
		cause = []roofsim.Cause{roofsim.CeilingLeakage, roofsim.MixedCeilingVoid, roofsim.UnventedBattenVoid}[r.IntN(3)]
	case loftWork, noLoft:
		cause = []roofsim.Cause{roofsim.BlockedVentilation, roofsim.CeilingLeakage, roofsim.UnventedBattenVoid}[r.IntN(3)]
	default:
		if r.IntN(3) == 0 {
			cause = roofsim.MixedCeilingVoid
		}
	}
	world := roofworlds.Draw(seed, cause)
	before := trialBefore()
	if r.Float64() < 0.4 {
		world.Climate.SecondHalfC, world.Climate.ShiftDay = r.Float64()*7-3, float64(before)+r.Float64()*10
	}
	if r.Float64() < 0.3 {
		world.Household.NewRoutineDay, world.Household.NewRoutineFactor = float64(before)+r.Float64()*30-5, 0.5+r.Float64()
		world.Household.NewSetC = r.Float64()*3 - 1.5
	}
	at := world.Start.AddDate(0, 0, before).Add(10 * time.Hour)
	rep := roofsim.Repair{At: at}
	oneSlope := r.Float64() < 0.4
	strength := r.IntN(3)
	slots := [3][2]float64{{2, 1}, {6, 3}, {25, 5}}[strength]
	declare := roof.VoidVentilation
	switch w {
	case voidWork, voidBlind, voidStation:
		rep.VoidEavesMM, rep.VoidRidgeMM = &slots[0], &slots[1]
		if oneSlope {
			rep.Slopes = roofsim.OnlyA
		}
	case ceilingWork:
		rep.CeilingLeakFactor = [3]float64{0.6, 0.3, 0.08}[strength]
		declare = roof.CeilingChange
	case loftWork:
		e, g := [3]float64{6, 12, 25}[strength], [3]float64{0, 3, 5}[strength]
		rep.LoftEavesMM, rep.LoftRidgeMM = &e, &g
		declare = roof.LoftVentilation
	case noCeiling:
		declare = roof.CeilingChange
	case noLoft:
		declare = roof.LoftVentilation
	}
	run := roofsim.Run
	if os.Getenv("TRIAL_ABROAD") != "" {
		run = abroad.Run
	}
	winter := run(world, roofsim.Options{Days: before + days, Repairs: []roofsim.Repair{rep}})
	twin := run(world, roofsim.Options{Days: before + days})
	kit := roofworlds.Kit{Interval: interval, SecondSlope: oneSlope, Faults: roofworlds.RoughFaults(), CaseID: "trial"}
	if r.Float64() < 0.3 {
		p := []string{"void", "slate", "loft"}[r.IntN(3)]
		kit.Swaps = append(kit.Swaps, roofsim.Swap{Position: p, At: at.Add(time.Duration(r.IntN(48)-24) * time.Hour),
			Declared: r.Float64() < 0.4})
	}
	if place, ok := lacks[w]; ok {
		kit.Without = []roof.Place{place}
	}
	if oneSlope {
		a := roofsim.SlopeA
		kit.MainSlope = &a
	}
	m := kit.Measure(winter, seed)
	var e *roof.Event
	for i := range m.Case.Events {
		if m.Case.Events[i].Kind == roof.Repair {
			e = &m.Case.Events[i]
		}
	}
	require.NotNil(t, e)
	e.Changes, e.Treats = []roof.Change{declare}, []string{"void", "slate"}
	if w == noStation || w == voidStation {
		roofworlds.StationOutdoors(m, r)
	}
	surfaces := []string{"slate"}
	if declare != roof.VoidVentilation {
		e.Treats, surfaces = []string{"loft", "underlay", "void", "slate"}, []string{"slate", "underlay"}
	}
	return &simulated{set: buildSet(t, m), winter: winter, twin: twin, slope: m.Slope, surfaces: surfaces, at: at,
		event: *e}
}

func buildSet(t testing.TB, m *roofsim.Measured) *series.Set {
	t.Helper()
	byLogger := map[string][]roof.Reading{}
	for _, r := range m.Readings {
		byLogger[r.Logger] = append(byLogger[r.Logger], r)
	}
	flagged, err := qc.Flag(m.Case, func(id string) iter.Seq2[roof.Reading, error] {
		rs := byLogger[id]
		return func(yield func(roof.Reading, error) bool) {
			last := time.Time{}
			for _, r := range rs {
				if !r.At.After(last) && !last.IsZero() {
					continue
				}
				last = r.At
				if !yield(r, nil) {
					return
				}
			}
		}
	})
	require.NoError(t, err)
	set, err := series.Build(m.Case, 0, flagged)
	require.NoError(t, err)
	return set
}

// truth is what the work did to a surface over the nights that a trial counts.
func (s *simulated) truth(surface string, nights [][2]int64) (wet, risk, water float64) {
	with, twin := s.hours(surface, nights)
	f := func(a, b, c float64) float64 { return 1 - (a+c)/(b+c) }
	return f(with.Condensing, twin.Condensing, fewHours), f(with.AtRisk, twin.AtRisk, fewHours),
		f(with.DepositGM2, twin.DepositGM2, 2)
}

// hours are those of a surface, and of its unrepaired twin.
func (s *simulated) hours(surface string, nights [][2]int64) (with, twin roofworlds.Hours) {
	get := roofworlds.CoverHours
	if surface == "underlay" {
		get = roofworlds.UnderlayHours
	}
	for _, n := range nights {
		a, b := time.UnixMilli(n[0]), time.UnixMilli(n[1])
		h, o := get(s.winter, s.slope, a, b), get(s.twin, s.slope, a, b)
		with.Condensing += h.Condensing
		with.AtRisk += h.AtRisk
		with.DepositGM2 += h.DepositGM2
		twin.Condensing += o.Condensing
		twin.AtRisk += o.AtRisk
		twin.DepositGM2 += o.DepositGM2
	}
	return with, twin
}

// usedNights are the same from an answer.
func usedNights(r Result) (out [][2]int64) {
	for _, n := range r.Nights {
		if n.Used && n.Period == "after" {
			out = append(out, [2]int64{n.FromMS, n.FromMS + 24*3600*1000})
		}
	}
	return out
}

// nightsOf are the nights after the repair that a trial counts.
func nightsOf(t *trial) (out [][2]int64) {
	for _, i := range t.validA {
		out = append(out, [2]int64{t.s.nights[i].FromMS, t.s.nights[i].UntilMS})
	}
	return out
}

// trialBefore is the day of the work, from the start of the record.
func trialBefore() int {
	if n, err := strconv.Atoi(os.Getenv("TRIAL_BEFORE")); err == nil {
		return n
	}
	return 47
}
