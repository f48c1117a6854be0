package roofsim

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var whole time.Time // the open end of a span

func TestSameSeedGivesTheSameWinter(t *testing.T) {
	w := Draw(5, UnventedBattenVoid)
	a, b := Run(w, Options{Days: 20}), Run(w, Options{Days: 20})
	assert.Equal(t, a.LoftPa, b.LoftPa)
	assert.Equal(t, a.Slope[0].CoverFilmGM2, b.Slope[0].CoverFilmGM2)
	assert.NotEqual(t, a.OutdoorC, Run(Draw(6, UnventedBattenVoid), Options{Days: 20}).OutdoorC)
}

// No water is made or lost: what the household and leaks bring is stored,
// carried off by air or run off.
func TestWaterIsConserved(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		seed := rapid.Uint64Range(1, 1e6).Draw(rt, "seed")
		cause := rapid.SampledFrom(Causes()).Draw(rt, "cause")
		x := Run(Draw(seed, cause), Options{Days: 8})
		require.InDelta(rt, 0, x.Water.Missing(), 1e-6*(x.Water.InKg+x.Water.StartKg), "%+v", x.Water)
	})
}

// Nothing leaves what physics allows: no air over saturation by more than a
// passing step, no covering colder than the sky or hotter than a dark roof in
// the sun, no value that is not a number.
func TestStatesStayPhysical(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		seed := rapid.Uint64Range(1, 1e6).Draw(rt, "seed")
		cause := rapid.SampledFrom(Causes()).Draw(rt, "cause")
		x := Run(Draw(seed, cause), Options{Days: 12})
		for _, f := range x.series() {
			for k, v := range *f {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					rt.Fatalf("step %d is %v", k, v)
				}
			}
		}
		for k := range x.N {
			for s := range x.Slope {
				c := x.Slope[s].CoverC[k]
				require.GreaterOrEqual(rt, c, math.Min(x.SkyC[k], x.OutdoorC[k])-3)
				require.LessOrEqual(rt, c, x.OutdoorC[k]+55)
				require.GreaterOrEqual(rt, x.Slope[s].CoverFilmGM2[k], 0.0)
				require.Positive(rt, x.Slope[s].VoidPa[k])
			}
			require.Positive(rt, x.LoftPa[k])
			require.LessOrEqual(rt, x.WoodMeanPct[k], 90.0)
		}
	})
}

// With the heating off, no sun, no sky deficit and nobody home everything ends
// at outdoor temperature: no heat is made.
func TestNoHeatIsMade(t *testing.T) {
	w := Draw(3, NoneFound)
	x := newState(&w, 4000, 600)
	for k := range x.weather.tempC {
		x.weather.tempC[k], x.weather.skyC[k], x.weather.sunWM2[k] = 4, 4, 0
		x.weather.slopeSun[0][k], x.weather.slopeSun[1][k], x.weather.rainMM[k] = 0, 0, 0
		x.weather.vapourPa[k] = 500
		x.living.setC[k], x.living.gainsW[k], x.living.moistureKgS[k] = -50, 0, 0
	}
	for k := range 4000 {
		x.step(k, 600)
	}
	for i, v := range x.t {
		assert.InDelta(t, 4, v, 0.3, "node %d", i)
	}
	assert.InDelta(t, 4, x.indoorC, 0.5)
}

func TestTwinIsTheSameHouseUnrepaired(t *testing.T) {
	w := Draw(4, UnventedBattenVoid)
	at := w.Start.AddDate(0, 0, 20)
	e, r := 25.0, 5.0
	x := Run(w, Options{Days: 40, Twin: true, Repairs: []Repair{{At: at, VoidEavesMM: &e, VoidRidgeMM: &r}}})
	bare := Run(w, Options{Days: 40})
	assert.Equal(t, bare.Slope[0].CoverC, x.Twin.Slope[0].CoverC)
	assert.Equal(t, bare.LoftPa, x.Twin.LoftPa)
	k := int(at.Sub(w.Start) / x.Step)
	assert.Equal(t, bare.LoftPa[:k], x.LoftPa[:k])
	assert.NotEqual(t, bare.LoftPa[k+1:], x.LoftPa[k+1:])
	assert.InDelta(t, 0, x.Twin.Water.Missing(), 1e-6)
}

func TestRepairOfOneSlopeLeavesTheOtherVoidShut(t *testing.T) {
	w := Draw(4, UnventedBattenVoid)
	at := w.Start.AddDate(0, 0, 20)
	e, r := 25.0, 5.0
	x := Run(w, Options{Days: 50, Twin: true,
		Repairs: []Repair{{At: at, Slopes: OnlyA, VoidEavesMM: &e, VoidRidgeMM: &r}}})
	treated := x.Mean(x.Slope[SlopeA].VoidACH, at, whole) / x.Twin.Mean(x.Twin.Slope[SlopeA].VoidACH, at, whole)
	other := x.Mean(x.Slope[SlopeB].VoidACH, at, whole) / x.Twin.Mean(x.Twin.Slope[SlopeB].VoidACH, at, whole)
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
	days := Options{Days: 60}
	worstCover := func(x *Winter) float64 {
		return math.Max(x.CoverHours(SlopeA, whole, whole).AtRisk, x.CoverHours(SlopeB, whole, whole).AtRisk)
	}
	t.Run("a permeable underlay under a closed covering on single battens wets it more than a high-resistance one",
		func(t *testing.T) {
			assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
				lr := Draw(seed, UnventedBattenVoid)
				hr := lr
				hr.Roof.UnderlaySdM = 20
				return worstCover(Run(hr, days)) < 0.8*worstCover(Run(lr, days))
			}), 0.85)
		})
	t.Run("counter-battens vented at both ends dry it", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			w := Draw(seed, UnventedBattenVoid)
			return worstCover(Run(w.withOpenVoid(), days)) < 0.9*worstCover(Run(w, days))
		}), 0.85)
	})
	t.Run("a leaking ceiling raises the loft's vapour and sealing lowers it", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			w := Draw(seed, CeilingLeakage)
			x, y := Run(w, days), Run(w.withSealedCeiling(), days)
			return x.ExcessPa(x.LoftPa, whole, whole) > 60 &&
				y.ExcessPa(y.LoftPa, whole, whole) < 0.8*x.ExcessPa(x.LoftPa, whole, whole)
		}), 0.85)
	})
	t.Run("opening shut eaves dries the loft", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			w := Draw(seed, BlockedVentilation)
			x, y := Run(w, days), Run(w.withOpenLoft(), days)
			return y.ExcessPa(y.LoftPa, whole, whole) < 0.75*x.ExcessPa(x.LoftPa, whole, whole)
		}), 0.85)
	})
	t.Run("the clear sky wets even a sound roof from outdoor air", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			x := Run(Draw(seed, NightSkyCooling), days)
			return x.CoverHours(SlopeA, whole, whole).Condensing > 60 && math.Abs(x.ExcessPa(x.LoftPa, whole, whole)) < 40
		}), 0.85)
	})
	t.Run("construction moisture fades", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			w := Draw(seed, ConstructionMoisture)
			x, y := Run(w, Options{Days: 120}), Run(w.withDryTimber(), Options{Days: 120})
			at := func(from, until int) float64 {
				a, b := w.Start.AddDate(0, 0, from), w.Start.AddDate(0, 0, until)
				return x.ExcessPa(x.LoftPa, a, b) - y.ExcessPa(y.LoftPa, a, b)
			}
			return at(0, 30) > 15 && at(90, 120) < 0.6*at(0, 30)
		}), 0.85)
	})
	t.Run("a leak feeds an aired loft", func(t *testing.T) {
		assert.GreaterOrEqual(t, share(n, func(seed uint64) bool {
			w := Draw(seed, PlumbingLeak)
			x, y := Run(w, Options{Days: 90}), Run(w.withoutLeak(), Options{Days: 90})
			return x.ExcessPa(x.LoftPa, whole, whole) > y.ExcessPa(y.LoftPa, whole, whole)+15
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
		x := Run(Draw(seed+300, WaterIngress), Options{Days: 60})
		excess += x.ExcessPa(x.IndoorPa, whole, whole) / n
		house += x.Mean(x.HouseACH, whole, whole) / n
		loft += x.Mean(x.LoftACH, whole, whole) / n
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
		a, b := Draw(seed, WaterIngress), SecondKind.Draw(seed, WaterIngress)
		if a.Survey.Covering.Air == "open" {
			open++
			assert.GreaterOrEqual(t, b.Roof.CoveringAirMM2M2, 1200.0)
			b.Roof.CoveringAirMM2M2 = a.Roof.CoveringAirMM2M2
		}
		assert.Equal(t, a.Roof, b.Roof)
		assert.Equal(t, a.House, b.House)
	}
	assert.Positive(t, open)
	mixed := Draw(1, UnventedBattenVoid)
	mixed.Roof.CeilingLeakMM2M2 = 600
	assert.False(t, SecondKind.Judge(mixed, 60).Matters, "a leaking ceiling over a shut void is two causes")
	for _, c := range Causes() {
		_, _, ok := SecondKind.DrawProven(21, c, 120)
		assert.True(t, ok, c)
	}
}

func BenchmarkWinter150Days(b *testing.B) {
	w := Draw(1, UnventedBattenVoid)
	b.ReportAllocs()
	for b.Loop() {
		Run(w, Options{})
	}
}
