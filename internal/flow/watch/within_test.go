package watch

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

func TestWhoseWaterItIs(t *testing.T) {
	healthy := func(p float64) *float64 { return &p }
	for _, c := range []struct {
		name string
		e    traces
		want alert.Level
	}{
		{"nothing but a wet covering in air as dry as outdoors", traces{outdoors: true, coverPa: -40}, alert.Dew},
		{"a loft 100 Pa above outdoors, in the first days", traces{outdoors: true, loftPa: 100}, alert.Unsure},
		{"however damp, nothing outright without a diagnosis",
			traces{outdoors: true, loftPa: 300, coverPa: 300, feltPa: 300}, alert.Unsure},
		{"a damp loft and a diagnosis of a defect", traces{outdoors: true, loftPa: 120, feltPa: 80, healthy: healthy(0.03)},
			alert.Damp},
		{"a damp loft that the diagnosis finds sound", traces{outdoors: true, loftPa: 40, healthy: healthy(0.9)},
			alert.Dew},
		{"no outdoor logger and no diagnosis", traces{}, alert.Unsure},
		{"no outdoor logger, a sound roof", traces{healthy: healthy(0.9)}, alert.Dew},
		{"no outdoor logger, a defect nearly certain", traces{healthy: healthy(0.02)}, alert.Unsure},
	} {
		t.Run(c.name, func(t *testing.T) { assert.Equal(t, c.want, c.e.level()) })
	}
}

func TestDamperAirAndLessSupportForASoundRoofNeverLowerTheOdds(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		pa := rapid.Float64Range(-500, 900)
		p := rapid.Float64Range(0, 1).Draw(r, "healthy")
		e := traces{outdoors: true, loftPa: pa.Draw(r, "loft"), coverPa: pa.Draw(r, "cover"), feltPa: pa.Draw(r, "felt"),
			healthy: &p}
		more, less := e, p*rapid.Float64Range(0, 1).Draw(r, "share")
		more.loftPa, more.coverPa, more.feltPa, more.healthy = e.loftPa+50, e.coverPa+50, e.feltPa+50, &less
		assert.GreaterOrEqual(t, more.logOdds(), e.logOdds()-1e-12)
	})
}

func TestOnlyTheWetHoursOfASurfaceSpeakForItsWater(t *testing.T) {
	nan := math.NaN()
	w := &record{n: 6, outPa: []float64{500, 500, 500, 500, nan, 500},
		airs: []air{{pos: roof.Position{Place: roof.LoftAir}, pa: []float64{600, 600, 600, 600, 600, nan}}}}
	s := surface{wet: []float64{0, 1, 0.5, 0, 1, 1}, airPa: []float64{900, 520, 550, 900, 900, nan}}
	pa, ok := w.wetExcess(s)
	assert.True(t, ok)
	assert.InDelta(t, (1*20+0.5*50)/1.5, pa, 1e-9)
	_, ok = w.wetExcess(surface{wet: make([]float64, 6), airPa: s.airPa})
	assert.False(t, ok, "a dry surface says nothing")
	assert.Zero(t, w.excess(roof.LoftAir), "four hours are too few")
}

func TestASurfaceThatARepairLeftAloneIsForTheConsultantOnly(t *testing.T) {
	repaired := time.Date(2026, 11, 20, 12, 0, 0, 0, time.UTC)
	c := &roof.Case{ID: "larch-3", Property: roof.Property{Zone: time.UTC}, Positions: []roof.Position{
		{ID: "void", Place: roof.BattenVoidAir}, {ID: "slate", Place: roof.CoveringUnderside, Meets: "void"},
		{ID: "void-e", Place: roof.BattenVoidAir, Untouched: true},
		{ID: "slate-e", Place: roof.CoveringUnderside, Meets: "void-e"}},
		Events: []roof.Event{{At: repaired, Kind: roof.Repair, What: "void opened"}}}
	quiet := func(now time.Time) map[string]bool {
		out := map[string]bool{}
		for _, s := range Look(Input{Case: c, Now: now}).Signs {
			if s.Condition == alert.SurfaceWet || s.Condition == alert.WetNights {
				out[s.Position] = s.Quiet
			}
		}
		return out
	}
	assert.Equal(t, map[string]bool{"slate": false, "slate-e": false}, quiet(repaired.Add(-time.Hour)))
	assert.Equal(t, map[string]bool{"slate": false, "slate-e": true}, quiet(repaired.Add(time.Hour)))
}
