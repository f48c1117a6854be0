package predict

import (
	"iter"
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/qc"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// lived is one simulated winter as its loggers saw it, with the same winter
// lived again with each work done on the first day.
type lived struct {
	set    *series.Set
	slope  int
	bare   *roofsim.Winter
	worked map[Work]*roofsim.Winter
	left   float64 // of the house's vapour over outdoors, in the drier house
}

// live draws a house of the second kind and lets it live through a winter,
// without and with each work. withWorks false leaves the works out.
func live(t testing.TB, seed uint64, withWorks bool) *lived {
	t.Helper()
	return liveBy(t, roofsim.Run, seed, withWorks)
}

// physics lets a house live through a winter.
type physics func(roofsim.World, roofsim.Options) *roofsim.Winter

func liveBy(t testing.TB, run physics, seed uint64, withWorks bool) *lived {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 0x9ed1c7))
	causes := roofworlds.Causes()
	w := roofworlds.SecondKind.Draw(seed, causes[seed%uint64(len(causes))])
	days := 25 + r.IntN(126)
	if !withWorks {
		days = 45
	}
	o := roofsim.Options{Days: days}
	l := &lived{bare: run(w, o), worked: map[Work]*roofsim.Winter{}}
	kit := roofworlds.Kit{Interval: 10 * time.Minute, Faults: roofsim.FieldFaults(), CaseID: "trial",
		Blur: roofworlds.Blur{UnknownShare: 0.2, WrongShare: 0.04}}
	if seed%2 == 1 {
		kit.Faults = roofworlds.RoughFaults()
	}
	switch r.IntN(8) {
	case 0:
		kit.Without = []roof.Place{roof.IndoorAir}
	case 1:
		kit.Without = []roof.Place{roof.LoftAir, roof.UnderlayUnderside}
	}
	m := kit.Measure(l.bare, seed)
	l.set, l.slope = buildSet(t, m), m.Slope
	cut := 0.08 + 0.6*r.Float64()
	if !withWorks {
		return l
	}
	at := w.Start
	most := func(a, b float64) *float64 { x := math.Max(a, b); return &x }
	p := DefaultPlan()
	le, lr := most(w.Roof.LoftEavesMM, p.LoftEavesMM), most(w.Roof.LoftRidgeMM, p.LoftRidgeMM)
	for work, x := range map[Work]roofsim.Repair{
		VoidVented: {At: at, VoidEavesMM: most(w.Roof.VoidEavesMM[0], p.VoidEavesMM),
			VoidRidgeMM: most(w.Roof.VoidRidgeMM[0], p.VoidRidgeMM)},
		LoftVented:      {At: at, LoftEavesMM: le, LoftRidgeMM: lr},
		CeilingSealed:   {At: at, CeilingLeakFactor: cut},
		VentsAndCeiling: {At: at, LoftEavesMM: le, LoftRidgeMM: lr, CeilingLeakFactor: cut},
	} {
		l.worked[work] = run(w, roofsim.Options{Days: days, Repairs: []roofsim.Repair{x}})
	}
	drier := w
	drier.Household.NewRoutineDay, drier.Household.NewRoutineFactor = 1e-6, 0.4+0.4*r.Float64()
	l.worked[DrierHouse] = run(drier, o)
	z := time.Time{}
	l.left = roofworlds.ExcessPa(l.worked[DrierHouse], l.worked[DrierHouse].IndoorPa, z, z) /
		roofworlds.ExcessPa(l.bare, l.bare.IndoorPa, z, z)
	return l
}

func buildSet(t testing.TB, m *roofsim.Measured) *series.Set {
	t.Helper()
	by := map[string][]roof.Reading{}
	for _, r := range m.Readings {
		by[r.Logger] = append(by[r.Logger], r)
	}
	flagged, err := qc.Flag(m.Case, func(logger string) iter.Seq2[roof.Reading, error] {
		rows := slices.DeleteFunc(slices.Clone(by[logger]),
			func(r roof.Reading) bool { return r.Arrived.Sub(r.At) > 48*time.Hour }) // flagged on arrival
		sort.SliceStable(rows, func(i, j int) bool { return rows[i].At.Before(rows[j].At) })
		return func(yield func(roof.Reading, error) bool) {
			for _, r := range rows {
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
