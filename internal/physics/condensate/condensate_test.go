package condensate_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/condensate"
	"dewcase/internal/physics/psychro"
	"dewcase/internal/testkit/tabletest"
)

const hour = int64(3600e3)

var start = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC).UnixMilli()

// course samples two functions of time (hours) every step for the hours given.
func course(hours float64, step time.Duration, surfaceC, vapourPa func(h float64) float64) condensate.Course {
	var c condensate.Course
	n := int(math.Round(hours * float64(time.Hour) / float64(step)))
	for i := 0; i <= n; i++ {
		h := float64(i) * step.Hours()
		c.AtMS = append(c.AtMS, start+int64(i)*step.Milliseconds())
		c.SurfaceC = append(c.SurfaceC, surfaceC(h))
		c.VapourPa = append(c.VapourPa, vapourPa(h))
		c.Joined = append(c.Joined, i < n)
	}
	return c
}

func constant(x float64) func(float64) float64 { return func(float64) float64 { return x } }

func run(t require.TestingT, c condensate.Course, s condensate.Settings) *condensate.Result {
	r, err := condensate.Run(c, s, noonToNoon(time.UTC))
	require.NoError(t, err)
	return r
}

func TestRatesOfTheTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "condensation_rate") {
		hc, ts := r.Num("h_c_W_per_m2K"), r.Num("surface_t_C")
		one, err := condensate.BetaP(hc, 1, psychro.StandardPressurePa)
		require.NoError(t, err)
		le, err := condensate.BetaP(hc, 0.87, psychro.StandardPressurePa)
		require.NoError(t, err)
		assert.InEpsilonf(t, r.Num("beta_p_Lewis_Le1_kg_per_m2sPa"), one, 3e-4, "%s", r)
		assert.InEpsilonf(t, r.Num("beta_p_Lewis_Le0.87_kg_per_m2sPa"), le, 6e-4, "%s", r)
		assert.InEpsilonf(t, r.Num("beta_p_7e-9hc_kg_per_m2sPa"), 7e-9*hc, 1e-9, "%s", r)
		// The pressure difference is small beside the pressures, of which Magnus is
		// within 0.3 %, the same way at both ends.
		e, err := psychro.VapourPressurePa(r.Num("air_t_C"), r.Num("air_rh_pct"))
		require.NoError(t, err)
		d := r.Num("vapour_pressure_difference_Pa")
		assert.InDeltaf(t, d, e-psychro.SatSurfacePa(ts), 0.004*math.Abs(d)+0.003*e*math.Abs(r.Num("air_t_C")-ts)/20+0.06+
			0.001*e, "%s: difference", r)
		// From the printed difference on, to the printed digits.
		r.Near("rate_Le1_g_per_m2h", 3.6e6*one*d, 3e-4*math.Abs(r.Num("rate_Le1_g_per_m2h")))
		rate := 3.6e6 * 7e-9 * hc * d
		r.Near("rate_7e-9hc_g_per_m2h", rate, 2e-4*math.Abs(rate))
	}
}

// Closed form: at constant states the film grows and shrinks in a straight line.
func TestAConstantStateIsAStraightLine(t *testing.T) {
	e := psychro.SatWaterPa(5) * 0.9
	c := course(16, time.Hour, func(h float64) float64 {
		if h <= 8 {
			return 3
		}
		return 6
	}, constant(e))
	// A step between two nodes is a ramp: make it short.
	c.AtMS[9] = c.AtMS[8] + 1000
	r := run(t, c, condensate.Settings{})
	beta, err := condensate.BetaP(3, 0.87, psychro.StandardPressurePa)
	require.NoError(t, err)
	wet := rateGM2H(beta, e, 3)
	dry := -rateGM2H(beta, e, 6)
	assert.InDelta(t, 8*wet, r.PeakGM2, 0.001)
	assert.InDelta(t, 8*wet, r.CondensedGM2, 0.001)
	require.Len(t, r.Films, 1)
	drying, ok := r.Films[0].DryingH()
	require.True(t, ok)
	assert.InDelta(t, 8*wet/dry, drying, 0.001)
	assert.InDelta(t, 8+8*wet/dry, r.WetH, 0.001)
	assert.Zero(t, r.LeftGM2)
}

// rateGM2H is the plain definition of what condenses (above 0) or evaporates:
// g = beta_p (e - p_sat(Ts)), in g/(m2 h).
func rateGM2H(beta, vapourPa, surfaceC float64) float64 {
	return 3.6e6 * beta * (vapourPa - psychro.SatSurfacePa(surfaceC))
}

// brute steps the same balance every 5 s with the plain definition.
func brute(hours float64, surfaceC, vapourPa func(h float64) float64, s condensate.Settings) (peak, condensed,
	left float64) {
	beta, _ := condensate.BetaP(s.ConvectionWM2K, s.Lewis, psychro.StandardPressurePa)
	m := 0.0
	n := int(hours * 720)
	for i := range n {
		h := (float64(i) + 0.5) / 720
		g := rateGM2H(beta, vapourPa(h), surfaceC(h)) / 720
		condensed += math.Max(g, 0)
		m = math.Max(m+g, 0)
		if surfaceC(h) >= 0 {
			m = math.Min(m, s.RunOffGM2)
		}
		peak = math.Max(peak, m)
	}
	return peak, condensed, m
}

func TestAgainstTheFinelySteppedBalance(t *testing.T) {
	settings := condensate.Settings{ConvectionWM2K: 4, Lewis: 0.87, RunOffGM2: 30}
	rapid.Check(t, func(rt *rapid.T) {
		mean := rapid.Float64Range(-6, 8).Draw(rt, "mean")
		swing := rapid.Float64Range(0.5, 8).Draw(rt, "swing")
		rh := rapid.Float64Range(0.7, 1.05).Draw(rt, "rh")
		drift := rapid.Float64Range(-30, 30).Draw(rt, "drift")
		ts := func(h float64) float64 { return mean - swing*math.Cos(2*math.Pi*h/24) }
		e := func(h float64) float64 { return psychro.SatWaterPa(mean)*rh + drift*math.Sin(2*math.Pi*h/19) }
		r := run(rt, course(48, time.Minute, ts, e), settings)
		peak, condensed, left := brute(48, ts, e, settings)
		assert.InDelta(rt, peak, r.PeakGM2, 0.002*peak+0.003)
		assert.InDelta(rt, condensed, r.CondensedGM2, 0.002*condensed+0.003)
		assert.InDelta(rt, left, r.LeftGM2, 0.004*peak+0.004)
	})
}

// The nodes define the course, so inserting points on its straight lines changes
// nothing: the integration has no step of its own.
func TestRefiningTheStepsChangesNothing(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := drawCourse(rt)
		r := run(rt, c, condensate.Settings{})
		k := rapid.IntRange(2, 7).Draw(rt, "refined")
		var fine condensate.Course
		for i := range c.AtMS {
			parts := 1
			if c.Joined[i] {
				parts = k
			}
			for j := range parts {
				at, ts, e := c.AtMS[i], c.SurfaceC[i], c.VapourPa[i]
				if j > 0 {
					step := (c.AtMS[i+1] - at) * int64(j) / int64(parts)
					f := float64(step) / float64(c.AtMS[i+1]-at)
					at += step
					ts += f * (c.SurfaceC[i+1] - ts)
					e += f * (c.VapourPa[i+1] - e)
				}
				fine.AtMS = append(fine.AtMS, at)
				fine.SurfaceC = append(fine.SurfaceC, ts)
				fine.VapourPa = append(fine.VapourPa, e)
				fine.Joined = append(fine.Joined, c.Joined[i])
			}
		}
		q := run(rt, fine, condensate.Settings{})
		assert.InDelta(rt, r.CondensedGM2, q.CondensedGM2, 1e-4*r.CondensedGM2+1e-3)
		assert.InDelta(rt, r.PeakGM2, q.PeakGM2, 1e-4*r.PeakGM2+1e-3)
		assert.InDelta(rt, r.DrippedGM2, q.DrippedGM2, 1e-3*r.CondensedGM2+1e-2)
		assert.InDelta(rt, r.WetH, q.WetH, 1e-3*r.WetH+0.05)
	})
}

func drawCourse(rt *rapid.T) condensate.Course {
	n := rapid.IntRange(2, 80).Draw(rt, "nodes")
	var c condensate.Course
	at := start
	for i := range n {
		at += rapid.Int64Range(60e3, 7200e3).Draw(rt, "step")
		// Frost turns to water at 0 C and at once, so a node that rounding alone puts on one
		// side of 0 is left out: no logger tells a hundredth of a millikelvin.
		ts := rapid.Float64Range(-12, 14).Filter(func(x float64) bool { return math.Abs(x) > 1e-5 }).Draw(rt, "ts")
		c.AtMS = append(c.AtMS, at)
		c.SurfaceC = append(c.SurfaceC, ts)
		c.VapourPa = append(c.VapourPa, rapid.Float64Range(150, 1600).Draw(rt, "e"))
		c.Joined = append(c.Joined, i < n-1 && rapid.IntRange(0, 9).Draw(rt, "joined") > 0)
	}
	return c
}

func TestNoWaterIsMadeOrLost(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := drawCourse(rt)
		zone, err := time.LoadLocation(rapid.SampledFrom([]string{"UTC", "Europe/London", "Asia/Kathmandu"}).Draw(rt, "zone"))
		require.NoError(rt, err)
		r, err := condensate.Run(c, condensate.Settings{ConvectionWM2K: 8}, noonToNoon(zone))
		require.NoError(rt, err)
		assert.InDelta(rt, r.CondensedGM2, r.EvaporatedGM2+r.DrippedGM2+r.ForgottenGM2+r.LeftGM2, 1e-6*(1+r.CondensedGM2))
		var observed, condensed, dripped, wet float64
		for _, n := range r.Nights {
			observed += n.ObservedH
			condensed += n.CondensedGM2
			dripped += n.DrippedGM2
			wet += n.WetH
			assert.LessOrEqual(rt, n.WetH, n.ObservedH+1e-6)
			assert.LessOrEqual(rt, n.PeakGM2, r.PeakGM2+1e-9)
		}
		assert.LessOrEqual(rt, r.FrostH, r.WetH+1e-9)
		for _, pair := range [][2]float64{{r.ObservedH, observed}, {r.CondensedGM2, condensed}, {r.DrippedGM2, dripped},
			{r.WetH, wet}} {
			assert.InDelta(rt, pair[0], pair[1], 1e-6*(1+pair[0]), "nights add up to the whole")
		}
		for i, m := range r.MassGM2 {
			assert.False(rt, math.IsNaN(m) || m < 0, "node %d", i)
		}
		points := r.Thin(c, 20)
		top := 0.0
		for i, p := range points {
			top = math.Max(top, p.MassGM2)
			if i > 0 {
				assert.Less(rt, points[i-1].AtMS, p.AtMS)
			}
		}
		highest := 0.0
		for _, m := range r.MassGM2 {
			highest = math.Max(highest, m)
		}
		assert.Equal(rt, highest, top, "thinning keeps the peak")
	})
}

func TestRunOffDripsAndTheFilmStays(t *testing.T) {
	c := course(40, time.Hour, constant(4), constant(psychro.SatWaterPa(4)+60))
	r := run(t, c, condensate.Settings{RunOffGM2: 20})
	assert.InDelta(t, 20, r.PeakGM2, 1e-9)
	assert.InDelta(t, 20, r.LeftGM2, 1e-9)
	assert.InDelta(t, r.CondensedGM2-20, r.DrippedGM2, 1e-9)
	assert.Greater(t, r.DrippedGM2, 100.0)
}

func TestFrostGrowsPastTheRunOffAndItsMeltIsAnEvent(t *testing.T) {
	ts := func(h float64) float64 {
		switch {
		case h < 30:
			return -4
		case h < 32:
			return -4 + (h-30)*4 // crosses 0 C at 31 h
		default:
			return 4
		}
	}
	r := run(t, course(60, 30*time.Minute, ts, constant(psychro.SatIcePa(-4)+60)), condensate.Settings{RunOffGM2: 40})
	assert.Greater(t, r.PeakFrostGM2, 100.0, "frost holds any mass")
	require.Len(t, r.Melts, 1)
	assert.InDelta(t, float64(start+31*hour), float64(r.Melts[0].AtMS), 60e3)
	assert.InDelta(t, r.Melts[0].MassGM2-40, r.Melts[0].DrippedGM2, 1e-9)
	assert.InDelta(t, r.DrippedGM2, r.Melts[0].DrippedGM2, 1e-9)
	assert.InDelta(t, 31, r.FrostH, 0.01)
}

func TestASurfaceHoveringAtZeroMeltsOnce(t *testing.T) {
	ts := func(h float64) float64 {
		if h < 24 {
			return -3
		}
		return 0.2 * math.Sin(2*math.Pi*(h-24)/0.7)
	}
	r := run(t, course(28, 3*time.Minute, ts, constant(560)), condensate.Settings{})
	assert.Len(t, r.Melts, 1)
}

func TestFrostPointAndDewPointBranch(t *testing.T) {
	// Between saturation over ice and over water a cold surface frosts.
	e := (psychro.SatIcePa(-10) + psychro.SatWaterPa(-10)) / 2
	assert.Positive(t, run(t, course(5, time.Hour, constant(-10), constant(e)), condensate.Settings{}).PeakFrostGM2)
}

func TestAGapForgetsTheFilmAndSaysSo(t *testing.T) {
	c := course(24, time.Hour, constant(3), constant(psychro.SatWaterPa(3)+50))
	c.Joined[10] = false
	r := run(t, c, condensate.Settings{})
	assert.Equal(t, 1, r.Gaps)
	assert.Equal(t, 1, r.GapsWet)
	assert.InDelta(t, 23, r.ObservedH, 1e-9)
	assert.InDelta(t, r.MassGM2[10], r.ForgottenGM2, 1e-9)
	assert.Zero(t, r.MassGM2[11], "starts again from dry")
	assert.InDelta(t, r.MassGM2[23-0]-r.MassGM2[11], r.MassGM2[12]*12, 0.01)
	require.Len(t, r.Films, 2)
	assert.Equal(t, condensate.EndGap, r.Films[0].End)
	_, known := r.Films[0].DryingH()
	assert.False(t, known)
	assert.Contains(t, r.Notes[len(r.Notes)-1], "1 of 1 gaps began with a film")
	for _, p := range r.Thin(c, 8) {
		if p.AtMS == c.AtMS[10] {
			assert.False(t, p.Joined, "no line is drawn over the gap")
		}
	}
}

func TestNightsRunNoonToNoonLocalAndMorningsAreJudged(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	// Three nights: wet from 20:00 to 06:00; the first two dry by noon, then the
	// third stays damp and cold.
	ts := func(h float64) float64 {
		clock, day := math.Mod(h, 24), int(h/24)
		if clock >= 20 || clock < 6 {
			return 2
		}
		if day == 3 {
			return 3.05
		}
		return 7
	}
	e := constant(psychro.SatWaterPa(3))
	c := course(4*24, 10*time.Minute, ts, e)
	r, err := condensate.Run(c, condensate.Settings{}, noonToNoon(london))
	require.NoError(t, err)
	require.Len(t, r.Nights, 5, "midnight to midnight over four days touches five nights")
	for _, n := range r.Nights {
		assert.Equal(t, 12, time.UnixMilli(n.FromMS).In(london).Hour())
	}
	assert.Equal(t, condensate.MorningDried, r.Nights[1].Morning)
	assert.Equal(t, condensate.MorningDried, r.Nights[2].Morning)
	assert.Equal(t, condensate.MorningWet, r.Nights[3].Morning)
	assert.Equal(t, condensate.MorningUnknown, r.Nights[4].Morning, "the record ends before noon")
	assert.Equal(t, 5, r.NightsWetted)
	assert.Equal(t, 3, r.MorningsDried, "the first half night included")
	assert.Equal(t, 1, r.MorningsWet)
	assert.True(t, r.DryingKnown)
}

func TestNightsOverAClockChange(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	begin := time.Date(2026, 10, 24, 12, 0, 0, 0, london).UnixMilli()
	c := course(25, time.Hour, constant(10), constant(600))
	for i := range c.AtMS {
		c.AtMS[i] += begin - start
	}
	r, err := condensate.Run(c, condensate.Settings{}, noonToNoon(london))
	require.NoError(t, err)
	require.Len(t, r.Nights, 1)
	assert.InDelta(t, 25, r.Nights[0].ObservedH, 1e-9)
}

func TestInputThatCannotBeIsAnError(t *testing.T) {
	good := course(3, time.Hour, constant(5), constant(700))
	bad := map[string]func(c *condensate.Course, s *condensate.Settings){
		"lengths":         func(c *condensate.Course, _ *condensate.Settings) { c.SurfaceC = c.SurfaceC[1:] },
		"time order":      func(c *condensate.Course, _ *condensate.Settings) { c.AtMS[2] = c.AtMS[1] },
		"NaN":             func(c *condensate.Course, _ *condensate.Settings) { c.SurfaceC[1] = math.NaN() },
		"infinite vapour": func(c *condensate.Course, _ *condensate.Settings) { c.VapourPa[1] = math.Inf(1) },
		"coefficient":     func(_ *condensate.Course, s *condensate.Settings) { s.ConvectionWM2K = -1 },
		"Lewis number":    func(_ *condensate.Course, s *condensate.Settings) { s.Lewis = 9 },
		"pressure":        func(_ *condensate.Course, s *condensate.Settings) { s.PressurePa = 1 },
		"run-off":         func(_ *condensate.Course, s *condensate.Settings) { s.RunOffGM2 = math.NaN() },
	}
	for name, spoil := range bad {
		c := course(3, time.Hour, constant(5), constant(700))
		var s condensate.Settings
		spoil(&c, &s)
		_, err := condensate.Run(c, s, noonToNoon(time.UTC))
		assert.ErrorIs(t, err, condensate.ErrInput, name)
	}
	_, err := condensate.Run(good, condensate.Settings{}, noonToNoon(time.UTC))
	require.NoError(t, err)
	r, err := condensate.Run(condensate.Course{}, condensate.Settings{}, noonToNoon(time.UTC))
	require.NoError(t, err, "no data is no water, not a fault")
	assert.Zero(t, r.ObservedH)
}

// BenchmarkWinter keeps the balance of one surface over 180 days at one minute
// (bar: well under 100 ms).
func BenchmarkWinter(b *testing.B) {
	c := course(180*24, time.Minute, func(h float64) float64 { return 3 - 5*math.Cos(2*math.Pi*h/24) + 3*math.Sin(h/50) },
		func(h float64) float64 { return 700 + 100*math.Sin(h/30) })
	b.ReportAllocs()
	for b.Loop() {
		if _, err := condensate.Run(c, condensate.Settings{}, noonToNoon(time.UTC)); err != nil {
			b.Fatal(err)
		}
	}
}

// noonToNoon gives the nights of a zone.
func noonToNoon(zone *time.Location) func(ms int64) (fromMS, untilMS int64) {
	return func(ms int64) (int64, int64) {
		t := time.UnixMilli(ms).In(zone)
		day := t.Day()
		if t.Hour() < 12 {
			day--
		}
		return time.Date(t.Year(), t.Month(), day, 12, 0, 0, 0, zone).UnixMilli(),
			time.Date(t.Year(), t.Month(), day+1, 12, 0, 0, 0, zone).UnixMilli()
	}
}

// The parts of a record and the night that is cut between them add up to the
// whole, wherever it is cut.
func TestTwoPartsOfARecordAddUpToTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		damp, swing := rapid.Float64Range(500, 900).Draw(t, "Pa"), rapid.Float64Range(1, 8).Draw(t, "K")
		whole := run(t, course(24*6, 10*time.Minute, func(h float64) float64 { return 4 + swing*math.Cos(h/24*2*math.Pi) },
			constant(damp)), condensate.Settings{})
		cut := start + int64(rapid.IntRange(0, 24*6).Draw(t, "hours"))*hour
		a, b := whole.Within(math.MinInt64, cut), whole.Within(cut, math.MaxInt64)
		var between condensate.Night
		for _, n := range whole.Nights {
			if n.FromMS < cut && n.UntilMS > cut {
				between = n
			}
		}
		assert.InDelta(t, whole.CondensedGM2, a.CondensedGM2+b.CondensedGM2+between.CondensedGM2, 1e-9)
		assert.InDelta(t, whole.DrippedGM2, a.DrippedGM2+b.DrippedGM2+between.DrippedGM2, 1e-9)
		assert.InDelta(t, whole.WetH, a.WetH+b.WetH+between.WetH, 1e-9)
		assert.InDelta(t, whole.ObservedH, a.ObservedH+b.ObservedH+between.ObservedH, 1e-9)
		assert.Equal(t, whole.PeakGM2, max(a.PeakGM2, b.PeakGM2, between.PeakGM2))
		for _, p := range []*condensate.Result{a, b} {
			assert.LessOrEqual(t, p.MorningsDried+p.MorningsWet, p.NightsWetted)
			assert.LessOrEqual(t, p.NightsWetted, p.NightsSeen)
		}
		all := whole.Within(math.MinInt64, math.MaxInt64)
		assert.Equal(t, []any{whole.NightsWetted, whole.NightsSeen, whole.PeakMS, whole.MedianDryingH, len(whole.Melts)},
			[]any{all.NightsWetted, all.NightsSeen, all.PeakMS, all.MedianDryingH, len(all.Melts)})
	})
}
