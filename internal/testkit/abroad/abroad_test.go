package abroad

import (
	"math"
	"reflect"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/testkit/roofworlds"
	"dewcase/internal/testkit/tabletest"
)

var ever time.Time

func TestWaterIsNeitherLostNorMade(t *testing.T) {
	for i, cause := range roofworlds.Causes() {
		for _, run := range []func(roofsim.World, roofsim.Options) *roofsim.Winter{Run, RunVaried} {
			b := run(roofworlds.Draw(uint64(4000+i), cause), roofsim.Options{Days: 25}).Water
			assert.InDelta(t, b.StartKg+b.InKg, b.EndKg+b.AirKg+b.RunOffKg, 2e-3*b.InKg, "%s: %+v", cause, b)
		}
	}
}

func TestEveryHouseHasConstantsOfItsOwn(t *testing.T) {
	a, b := drawn(1), drawn(2)
	assert.Equal(t, a, drawn(1))
	x, y, z := reflect.ValueOf(a), reflect.ValueOf(b), reflect.ValueOf(usual)
	for i := range x.NumField() {
		name := x.Type().Field(i).Name
		assert.NotEqual(t, x.Field(i).Float(), y.Field(i).Float(), name)
		assert.InDelta(t, 0, math.Log(x.Field(i).Float()/z.Field(i).Float()), math.Log(3.1), name)
	}
}

func TestTheSameSeedGivesTheSameWinter(t *testing.T) {
	w := roofworlds.Draw(4100, roofsim.MixedRainBlocked)
	assert.Equal(t, Run(w, roofsim.Options{Days: 5}), Run(w, roofsim.Options{Days: 5}))
}

// What is done to a house moves what it should, in the same weather.
func TestWorkMovesWhatItShould(t *testing.T) {
	base := roofworlds.Draw(4200, roofsim.CeilingLeakage)
	plain := Run(base, roofsim.Options{Days: 30})
	at := base.Start.AddDate(0, 0, 10)
	zero, wide := 0.0, 25.0
	excess := func(w *roofsim.Winter) float64 { return roofworlds.ExcessPa(w, w.LoftPa, at, ever) }
	for name, r := range map[string]roofsim.Repair{
		"ceiling sealed": {CeilingLeakFactor: 0.1},
		"loft vented":    {LoftEavesMM: &wide},
	} {
		r.At = at
		w := Run(base, roofsim.Options{Days: 30, Repairs: []roofsim.Repair{r}})
		k := int(at.Sub(base.Start) / w.Step)
		assert.Equal(t, plain.LoftPa[:k], w.LoftPa[:k], "%s: nothing moves before it", name)
		assert.Less(t, excess(w), 0.8*excess(plain), name)
	}
	void := roofsim.Repair{At: at, VoidEavesMM: &wide, VoidRidgeMM: &wide}
	vented := Run(base, roofsim.Options{Days: 30, Repairs: []roofsim.Repair{void}})
	ach := func(w *roofsim.Winter) float64 { return roofworlds.Mean(w, w.Slope[0].VoidACH, at, ever) }
	assert.Greater(t, ach(vented), 5*ach(plain))
	leak := roofworlds.Draw(4201, roofsim.PlumbingLeak)
	leak.Roof.PlumbingFrom = 0
	mended := Run(leak, roofsim.Options{Days: 40, Repairs: []roofsim.Repair{{At: leak.Start, LeakFactor: &zero}}})
	assert.Greater(t, excess(Run(leak, roofsim.Options{Days: 40})), excess(mended)+5)
}

// Levels that handbooks and the trade give for ordinary houses in winter.
func TestLevelsAreThoseOfOrdinaryHouses(t *testing.T) {
	for i, cause := range []roofsim.Cause{roofsim.NoneFound, roofsim.NightSkyCooling, roofsim.CeilingLeakage} {
		for s := range uint64(2) {
			w := Run(roofworlds.Draw(4300+10*uint64(i)+s, cause), roofsim.Options{Days: 60})
			mean := func(v []float64) float64 { return roofworlds.Mean(w, v, ever, ever) }
			fall := 0.0
			for k := range w.N {
				fall = math.Max(fall, w.OutdoorC[k]-w.Slope[0].CoverC[k])
			}
			indoors := roofworlds.ExcessPa(w, w.IndoorPa, ever, ever)
			loft := roofworlds.ExcessPa(w, w.LoftPa, ever, ever)
			assert.True(t, indoors > 100 && indoors < 900, "%s: house %.0f Pa above outdoors", cause, indoors)
			assert.True(t, fall > 3 && fall < 10, "%s: the covering falls %.1f K below the air", cause, fall)
			if a := mean(w.HouseACH); a < 0.15 || a > 1.5 {
				t.Errorf("%s: house %.2f air changes an hour", cause, a)
			}
			if cause == roofsim.CeilingLeakage {
				assert.Greater(t, loft, 25.0)
				assert.Less(t, mean(w.LoftACH), 1.5)
				continue
			}
			assert.Less(t, math.Abs(loft), 35.0, cause)
			assert.Greater(t, mean(w.LoftACH), 1.0, cause)
		}
	}
}

func TestWoodFollowsTheHandbook(t *testing.T) {
	for _, row := range tabletest.Read(t, "emc") {
		rh, temp := row.Num("rh_pct"), row.Num("t_C")
		if rh < 50 || rh > 90 || temp > 11 || !row.Has("published_emc_pct") {
			continue
		}
		x := rh / 100
		assert.InDelta(t, row.Num("published_emc_pct"), 100*usual.oswinA*math.Pow(x/(1-x), usual.oswinB), 1.5, row.String())
		assert.InDelta(t, x, usual.humidity(usual.oswinA*math.Pow(x/(1-x), usual.oswinB)), 1e-9)
	}
}

// Prata's clear sky at 10 C and 10 hPa is 0.778 of a black body; cloud closes it.
func TestTheSkyIsColdWhenClear(t *testing.T) {
	clear := skyC(10, 1000, 0, usual.cloudSky)
	assert.InDelta(t, math.Pow(0.778, 0.25)*283.15-kelvin, clear, 0.1)
	assert.Greater(t, skyC(10, 1000, 1, usual.cloudSky), 7.0)
	for c := 0.1; c <= 1; c += 0.1 {
		assert.Greater(t, skyC(10, 1000, c, usual.cloudSky), skyC(10, 1000, c-0.1, usual.cloudSky))
	}
}

func TestADayIsColdestAtSunriseAndWarmestAfterNoon(t *testing.T) {
	const half = 4.5
	low, high := 0.0, 0.0
	for h := 0.0; h < 24; h += 0.1 {
		if dayCurve(h, half, 0, 10) < dayCurve(low, half, 0, 10) {
			low = h
		}
		if dayCurve(h, half, 0, 10) > dayCurve(high, half, 0, 10) {
			high = h
		}
	}
	assert.InDelta(t, 12-half, low, 0.2)
	assert.InDelta(t, 12+1.8, high, 0.2)
	require.InDelta(t, 0, dayCurve(low, half, 0, 10), 0.2)
}
