package roofworlds

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/roofsim"
)

var whole time.Time // the open end of a span

func TestSameSeedGivesTheSameWinter(t *testing.T) {
	w := Draw(5, roofsim.UnventedBattenVoid)
	a, b := roofsim.Run(w, roofsim.Options{Days: 20}), roofsim.Run(w, roofsim.Options{Days: 20})
	assert.Equal(t, a.LoftPa, b.LoftPa)
	assert.Equal(t, a.Slope[0].CoverFilmGM2, b.Slope[0].CoverFilmGM2)
	assert.NotEqual(t, a.OutdoorC, roofsim.Run(Draw(6, roofsim.UnventedBattenVoid), roofsim.Options{Days: 20}).OutdoorC)
}

// missingKg is the water that the balance does not account for.
func missingKg(b roofsim.Balance) float64 { return b.StartKg + b.InKg - b.AirKg - b.RunOffKg - b.EndKg }

// No water is made or lost: what the household and leaks bring is stored,
// carried off by air or run off.
func TestWaterIsConserved(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		seed := rapid.Uint64Range(1, 1e6).Draw(rt, "seed")
		cause := rapid.SampledFrom(Causes()).Draw(rt, "cause")
		x := roofsim.Run(Draw(seed, cause), roofsim.Options{Days: 8})
		require.InDelta(rt, 0, missingKg(x.Water), 1e-6*(x.Water.InKg+x.Water.StartKg), "%+v", x.Water)
	})
}

func TestTwinIsTheSameHouseUnrepaired(t *testing.T) {
	w := Draw(4, roofsim.UnventedBattenVoid)
	at := w.Start.AddDate(0, 0, 20)
	e, r := 25.0, 5.0
	x, twin := RunTwin(w, roofsim.Options{Days: 40, Repairs: []roofsim.Repair{{At: at, VoidEavesMM: &e, VoidRidgeMM: &r}}})
	bare := roofsim.Run(w, roofsim.Options{Days: 40})
	assert.Equal(t, bare.Slope[0].CoverC, twin.Slope[0].CoverC)
	assert.Equal(t, bare.LoftPa, twin.LoftPa)
	k := int(at.Sub(w.Start) / x.Step)
	assert.Equal(t, bare.LoftPa[:k], x.LoftPa[:k])
	assert.NotEqual(t, bare.LoftPa[k+1:], x.LoftPa[k+1:])
	assert.InDelta(t, 0, missingKg(twin.Water), 1e-6)
}

func TestRepairOfOneSlopeLeavesTheOtherVoidShut(t *testing.T) {
	w := Draw(4, roofsim.UnventedBattenVoid)
	at := w.Start.AddDate(0, 0, 20)
	e, r := 25.0, 5.0
	x, twin := RunTwin(w, roofsim.Options{Days: 50,
		Repairs: []roofsim.Repair{{At: at, Slopes: roofsim.OnlyA, VoidEavesMM: &e, VoidRidgeMM: &r}}})
	treated := Mean(x, x.Slope[roofsim.SlopeA].VoidACH, at, whole) /
		Mean(twin, twin.Slope[roofsim.SlopeA].VoidACH, at, whole)
	other := Mean(x, x.Slope[roofsim.SlopeB].VoidACH, at, whole) /
		Mean(twin, twin.Slope[roofsim.SlopeB].VoidACH, at, whole)
	assert.Greater(t, treated, 3.0)
	assert.InDelta(t, 1, other, 0.25)
}

// share counts over seeds how often a fact of the trade holds.
func share(n int, holds func(seed uint64) bool) float64 {
	c := 0
	for seed := range n {
		if holds(uint64(seed) + 100) {
			c++
		}
	}
	return float64(c) / float64(n)
}

// Trade facts, common practice: each holds in nearly every house.
func TestTradeFacts(t *testing.T) {
	const n = 12
	days := roofsim.Options{Days: 60}
	worstCover := func(x *roofsim.Winter) float64 {
		return math.Max(CoverHours(x, roofsim.SlopeA, whole, whole).AtRisk,
			CoverHours(x, roofsim.SlopeB, whole, whole).AtRisk)
	}
	t.Run("a permeable underlay under a closed covering on single battens wets it more than a high-resistance one",
		func(t *testing.T) {
			assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
				lr := Draw(seed, roofsim.UnventedBattenVoid)
				hr := lr
				hr.Roof.UnderlaySdM = 20
				return worstCover(roofsim.Run(hr, days)) < 0.8*worstCover(roofsim.Run(lr, days))
			}), 0.85)
		})
	t.Run("counter-battens vented at both ends dry it", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			w := Draw(seed, roofsim.UnventedBattenVoid)
			return worstCover(roofsim.Run(withOpenVoid(w), days)) < 0.9*worstCover(roofsim.Run(w, days))
		}), 0.85)
	})
	t.Run("a leaking ceiling raises the loft's vapour and sealing lowers it", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			w := Draw(seed, roofsim.CeilingLeakage)
			x, y := roofsim.Run(w, days), roofsim.Run(withSealedCeiling(w), days)
			return ExcessPa(x, x.LoftPa, whole, whole) > 60 &&
				ExcessPa(y, y.LoftPa, whole, whole) < 0.8*ExcessPa(x, x.LoftPa, whole, whole)
		}), 0.85)
	})
	t.Run("opening shut eaves dries the loft", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			w := Draw(seed, roofsim.BlockedVentilation)
			x, y := roofsim.Run(w, days), roofsim.Run(withOpenLoft(w), days)
			return ExcessPa(y, y.LoftPa, whole, whole) < 0.75*ExcessPa(x, x.LoftPa, whole, whole)
		}), 0.85)
	})
	t.Run("the clear sky wets even a sound roof from outdoor air", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			x := roofsim.Run(Draw(seed, roofsim.NightSkyCooling), days)
			return CoverHours(x, roofsim.SlopeA, whole, whole).Condensing > 60 &&
				math.Abs(ExcessPa(x, x.LoftPa, whole, whole)) < 40
		}), 0.85)
	})
	t.Run("construction moisture fades", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			w := Draw(seed, roofsim.ConstructionMoisture)
			x, y := roofsim.Run(w, roofsim.Options{Days: 120}), roofsim.Run(withDryTimber(w), roofsim.Options{Days: 120})
			at := func(from, until int) float64 {
				a, b := w.Start.AddDate(0, 0, from), w.Start.AddDate(0, 0, until)
				return ExcessPa(x, x.LoftPa, a, b) - ExcessPa(y, y.LoftPa, a, b)
			}
			return at(0, 30) > 15 && at(90, 120) < 0.6*at(0, 30)
		}), 0.85)
	})
	t.Run("a leak feeds an aired loft", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			w := Draw(seed, roofsim.PlumbingLeak)
			x, y := roofsim.Run(w, roofsim.Options{Days: 90}), roofsim.Run(withoutLeak(w), roofsim.Options{Days: 90})
			return ExcessPa(x, x.LoftPa, whole, whole) > ExcessPa(y, y.LoftPa, whole, whole)+15
		}), 0.85)
	})
}

// Dwellings hold about 200 to 800 Pa more vapour than outdoors in winter (field
// range 0.24 to 1.07 kPa by room, 0.38 to 0.68 by house, physics section 3), a
// house changes its air 0.2 to 1 times an hour, a sound cold loft 1 to 10.
func TestHousesAreOrdinary(t *testing.T) {
	var excess, house, loft float64
	const n = 20
	for seed := range uint64(n) {
		x := roofsim.Run(Draw(seed+300, roofsim.WaterIngress), roofsim.Options{Days: 60})
		excess += ExcessPa(x, x.IndoorPa, whole, whole) / n
		house += Mean(x, x.HouseACH, whole, whole) / n
		loft += Mean(x, x.LoftACH, whole, whole) / n
	}
	assert.InDelta(t, 330, excess, 150)
	assert.InDelta(t, 0.5, house, 0.3)
	assert.InDelta(t, 4, loft, 3)
}

func TestJudgeFindsThatDrawnCausesMatter(t *testing.T) {
	for _, c := range Causes() {
		w, truth, ok := DrawProven(11, c, 120)
		require.True(t, ok, "no proven world of %s in 40 draws", c)
		assert.Equal(t, c, w.Cause)
		assert.True(t, truth.Matters)
	}
}

// The second kind of houses differs in its open coverings and in what counts as
// one cause, and in nothing else.
func TestSecondKindIsAirierAndPurer(t *testing.T) {
	open := 0
	for seed := range uint64(30) {
		a, b := Draw(seed, roofsim.WaterIngress), SecondKind.Draw(seed, roofsim.WaterIngress)
		if a.Survey.Covering.Air == "open" {
			open++
			assert.GreaterOrEqual(t, b.Roof.CoveringAirMM2M2, 1200.0)
			b.Roof.CoveringAirMM2M2 = a.Roof.CoveringAirMM2M2
		}
		assert.Equal(t, a.Roof, b.Roof)
		assert.Equal(t, a.House, b.House)
	}
	assert.Positive(t, open)
	mixed := Draw(1, roofsim.UnventedBattenVoid)
	mixed.Roof.CeilingLeakMM2M2 = 600
	assert.False(t, SecondKind.Judge(mixed, 60).Matters, "a leaking ceiling over a shut void is two causes")
	for _, c := range Causes() {
		_, _, ok := SecondKind.DrawProven(21, c, 120)
		assert.True(t, ok, c)
	}
}

func BenchmarkWinter150Days(b *testing.B) {
	w := Draw(1, roofsim.UnventedBattenVoid)
	b.ReportAllocs()
	for b.Loop() {
		roofsim.Run(w, roofsim.Options{})
	}
}
