package roofworlds

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
)

func shortWinter() *roofsim.Winter {
	return roofsim.Run(Draw(9, roofsim.UnventedBattenVoid), roofsim.Options{Days: 30})
}

func TestPerfectLoggersReportTheTruth(t *testing.T) {
	w := shortWinter()
	m := Kit{Interval: 10 * time.Minute, SecondSlope: true}.Measure(w, 1)
	require.Len(t, m.Case.Loggers, 8)
	for _, l := range m.Case.Loggers {
		require.Len(t, m.Of(l.ID), w.N, l.ID)
	}
	for k, r := range m.Of("k2-loft") {
		temp, _ := r.Values.Get(roof.TempC)
		rh, _ := r.Values.Get(roof.RHPct)
		require.InDelta(t, w.LoftC[k], temp, 1e-9)
		require.InDelta(t, math.Min(w.LoftPa[k], psychro.SatWaterPa(w.LoftC[k])), psychro.SatWaterPa(temp)*rh/100, 1e-6)
	}
	slate := m.Of("k5-slate")
	assert.False(t, slate[0].Values.Has(roof.RHPct), "a covering probe reports temperature only")
	temp, _ := slate[700].Values.Get(roof.TempC)
	assert.InDelta(t, w.Slope[m.Slope].CoverC[700], temp, 1e-9)
}

func TestErrorsStayWithinWhatTheMakerStates(t *testing.T) {
	w := shortWinter()
	f := roofsim.Faults{TempLimitC: 0.4, RHLimitPct: 3}
	var sum, n float64
	for seed := range uint64(60) {
		m := Kit{Interval: time.Hour, Faults: f}.Measure(w, seed)
		r := m.Of("k1-landing")[100]
		temp, _ := r.Values.Get(roof.TempC)
		d := temp - w.IndoorC[int(100*time.Hour/w.Step)]
		require.LessOrEqual(t, math.Abs(d), 0.4+1e-9)
		sum += d * d
		n++
	}
	assert.InEpsilon(t, 0.4/math.Sqrt(3), math.Sqrt(sum/n), 0.25, "a rectangular distribution has limits/sqrt 3")
}

func TestRoughLoggersHaveGapsStuckProbesAndWrongClocks(t *testing.T) {
	w := roofsim.Run(Draw(2, roofsim.CeilingLeakage), roofsim.Options{Days: 100})
	gaps, stuck, early := 0, 0, 0
	for seed := range uint64(6) {
		m := Kit{Faults: RoughFaults()}.Measure(w, seed)
		for _, l := range m.Case.Loggers {
			rs := m.Of(l.ID)
			run := 0
			for k := 1; k < len(rs); k++ {
				if rs[k].At.Before(w.Start.AddDate(0, 0, -30)) {
					early++
				}
				if d := rs[k].At.Sub(rs[k-1].At); d > time.Hour && d < 24*time.Hour*20 {
					gaps++
				}
				a, ok := rs[k].Values.Get(roof.RHPct)
				b, _ := rs[k-1].Values.Get(roof.RHPct)
				if ok && a == b && a < 98.5 {
					run++
				} else {
					if run > 96 {
						stuck++
					}
					run = 0
				}
			}
		}
	}
	assert.Greater(t, gaps, 50)
	assert.Positive(t, stuck)
	assert.Positive(t, early)
}

func TestSwapsAreDeclaredOrNot(t *testing.T) {
	w := shortWinter()
	at := w.Start.AddDate(0, 0, 15)
	kit := Kit{Interval: time.Hour, Faults: roofsim.FieldFaults(),
		Swaps: []roofsim.Swap{{Position: "void", At: at, Declared: true}, {Position: "loft", At: at}}}
	m := kit.Measure(w, 3)
	old, ok := m.Case.Logger("k4-void")
	require.True(t, ok)
	assert.True(t, old.Fitted[0].To.Equal(at))
	_, ok = m.Case.Logger("k4-voidb")
	assert.True(t, ok)
	assert.NotEmpty(t, m.Of("k4-voidb"))
	_, ok = m.Case.Logger("k2-loftb")
	assert.False(t, ok)
}

func TestCaseTellsTheRepairAndTheUntouchedSlope(t *testing.T) {
	w := Draw(4, roofsim.UnventedBattenVoid)
	e := 25.0
	x := roofsim.Run(w, roofsim.Options{Days: 30,
		Repairs: []roofsim.Repair{{At: w.Start.AddDate(0, 0, 15), Slopes: roofsim.OnlyB, VoidEavesMM: &e}}})
	m := Kit{Interval: time.Hour, SecondSlope: true}.Measure(x, 1)
	assert.Equal(t, roofsim.SlopeB, m.Slope)
	require.Len(t, m.Case.Events, 1)
	assert.Equal(t, []string{"void", "slate"}, m.Case.Events[0].Treats)
	assert.Equal(t, []roof.Change{roof.VoidVentilation}, m.Case.Events[0].Changes)
	p, _ := m.Case.Position("slate-2")
	assert.True(t, p.Untouched)
	assert.Equal(t, "void-2", p.Meets)
}

func TestKitWithoutAPlaceLeavesTheSurfaceNotComputable(t *testing.T) {
	m := Kit{Interval: time.Hour, Without: []roof.Place{roof.BattenVoidAir}}.Measure(shortWinter(), 1)
	p, ok := m.Case.Position("slate")
	require.True(t, ok)
	assert.Empty(t, p.Meets)
	_, ok = m.Case.Position("void")
	assert.False(t, ok)
}

func TestBlurForgetsTheSurvey(t *testing.T) {
	w := shortWinter()
	known := Kit{Interval: time.Hour}.Measure(w, 1).Case
	lost := Kit{Interval: time.Hour, Blur: Blur{UnknownShare: 1}}.Measure(w, 1).Case
	assert.NotNil(t, known.Roof.Openings.LoftEavesMM)
	assert.Nil(t, lost.Roof.Openings.LoftEavesMM)
	assert.Empty(t, lost.Roof.Underlay.Class)
	assert.NotNil(t, w.World.Survey.Openings.LoftEavesMM, "the world's own survey is left alone")
}
