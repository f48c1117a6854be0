//go:build trials

package mechanism

import (
	"iter"
	"math/rand/v2"
	"os"
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

// work is what was done to a simulated roof, and what is declared to have been.
type work string

const (
	noWork       work = "none"
	voidWork     work = "void"
	ceilingWork  work = "ceiling"
	loftWork     work = "loft vents"
	blockedVents work = "loft vents blocked"
)

// simulated is one winter of the independent simulator as cheap loggers saw it.
type simulated struct {
	set    *series.Set
	event  roof.Event
	winter *roofsim.Winter
	twin   *roofsim.Winter // without the work; the winter itself where nothing was done
	slope  int
	factor map[roof.Change]float64 // true change, in like weather
}

const (
	trialBefore = 60 // days
	trialAfter  = 62
)

// simulate draws a house of any kind and lets it live through a winter with the
// work done after 60 days. Confounders come at random, several at once: a warmer
// or colder second half, a new routine and set-points, exchanged loggers.
func simulate(t testing.TB, seed uint64, w work, declare roof.Change) *simulated {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 0x3ec4a1))
	causes := roofworlds.Causes()
	switch w {
	case voidWork:
		causes = []roofsim.Cause{roofsim.UnventedBattenVoid, roofsim.MixedCeilingVoid, roofsim.CeilingLeakage,
			roofsim.BlockedVentilation}
	case ceilingWork:
		causes = []roofsim.Cause{roofsim.CeilingLeakage, roofsim.MixedCeilingVoid, roofsim.UnventedBattenVoid}
	case loftWork:
		causes = []roofsim.Cause{roofsim.BlockedVentilation, roofsim.CeilingLeakage, roofsim.UnventedBattenVoid}
	}
	world := roofworlds.SecondKind.Draw(seed, causes[r.IntN(len(causes))])
	if r.Float64() < 0.4 {
		world.Climate.SecondHalfC, world.Climate.ShiftDay = r.Float64()*7-3, trialBefore+r.Float64()*10
	}
	if r.Float64() < 0.3 {
		world.Household.NewRoutineDay, world.Household.NewRoutineFactor = trialBefore+r.Float64()*30-5, 0.5+r.Float64()
		world.Household.NewSetC = r.Float64()*3 - 1.5
	}
	at := world.Start.AddDate(0, 0, trialBefore).Add(10 * time.Hour)
	rep := roofsim.Repair{At: at}
	strength := r.IntN(3)
	switch w {
	case voidWork:
		slots := [3][2]float64{{2, 1}, {6, 3}, {25, 5}}[strength]
		rep.VoidEavesMM, rep.VoidRidgeMM = &slots[0], &slots[1]
	case ceilingWork:
		rep.CeilingLeakFactor = [3]float64{0.6, 0.3, 0.08}[strength]
	case loftWork:
		e, g := [3]float64{6, 12, 25}[strength], [3]float64{0, 3, 5}[strength]
		rep.LoftEavesMM, rep.LoftRidgeMM = &e, &g
	case blockedVents:
		e, g := [3]float64{3, 1, 0.3}[strength], 0.0
		rep.LoftEavesMM, rep.LoftRidgeMM = &e, &g
	}
	o := roofsim.Options{Days: trialBefore + trialAfter, Repairs: []roofsim.Repair{rep}}
	s := &simulated{factor: map[roof.Change]float64{}}
	run := roofsim.Run
	if os.Getenv("TRIAL_ABROAD") != "" {
		run = abroad.Run
	}
	s.winter = run(world, o)
	s.twin = s.winter
	if o.Repairs = nil; w != noWork {
		s.twin = run(world, o)
	}
	kit := roofworlds.Kit{Interval: 20 * time.Minute, Faults: roofworlds.RoughFaults(), CaseID: "trial"}
	if r.Float64() < 0.3 {
		p := []string{"void", "slate", "loft", "underlay", "outside"}[r.IntN(5)]
		kit.Swaps = append(kit.Swaps, roofsim.Swap{Position: p, At: at.Add(time.Duration(r.IntN(48)-24) * time.Hour),
			Declared: r.Float64() < 0.4})
	}
	if p := os.Getenv("TRIAL_WITHOUT"); p != "" {
		kit.Without = []roof.Place{roof.Place(p)}
	}
	m := kit.Measure(s.winter, seed)
	if os.Getenv("TRIAL_STATION") != "" {
		roofworlds.StationOutdoors(m, r)
	}
	s.slope = m.Slope
	for i := range m.Case.Events {
		if e := &m.Case.Events[i]; e.Kind == roof.Repair {
			e.Changes, e.Treats = []roof.Change{declare}, []string{"void", "slate", "loft"}
			s.event = *e
		}
	}
	require.Equal(t, roof.Repair, s.event.Kind)
	s.set = built(t, m)
	since := at.AddDate(0, 0, 1)
	ratio := func(with, without []float64) float64 {
		return roofworlds.Mean(s.winter, with, since, time.Time{}) / roofworlds.Mean(s.twin, without, since, time.Time{})
	}
	s.factor[roof.VoidVentilation] = ratio(s.winter.Slope[s.slope].VoidACH, s.twin.Slope[s.slope].VoidACH)
	s.factor[roof.LoftVentilation] = ratio(s.winter.LoftACH, s.twin.LoftACH)
	s.factor[roof.CeilingChange] = ratio(s.winter.CeilingM3H, s.twin.CeilingM3H)
	return s
}

func built(t testing.TB, m *roofsim.Measured) *series.Set {
	t.Helper()
	byLogger := map[string][]roof.Reading{}
	for _, r := range m.Readings {
		byLogger[r.Logger] = append(byLogger[r.Logger], r)
	}
	flagged, err := qc.Flag(m.Case, func(id string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			last := time.Time{}
			for _, r := range byLogger[id] {
				if !last.IsZero() && !r.At.After(last) {
					continue
				}
				if last = r.At; !yield(r, nil) {
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
