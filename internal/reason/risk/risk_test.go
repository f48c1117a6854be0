package risk_test

import (
	"encoding/csv"
	"iter"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/risk"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

var start = time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)

func ptr(x float64) *float64 { return &x }

// house is a surface "slate" that meets "void", with loggers of the stated
// accuracy.
func house(tempC, rhPct *float64, interval time.Duration) *roof.Case {
	fit := func(pos string) []roof.Fitting { return []roof.Fitting{{Position: pos, From: start.Add(-time.Hour)}} }
	return &roof.Case{ID: "larch-1", Property: roof.Property{Zone: time.UTC},
		Positions: []roof.Position{{ID: "void", Place: roof.BattenVoidAir},
			{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}},
		Loggers: []roof.Logger{
			{ID: "a", Interval: interval, Accuracy: roof.Accuracy{TempC: tempC, RHPct: rhPct}, Fitted: fit("void")},
			{ID: "s", Interval: interval, Accuracy: roof.Accuracy{TempC: tempC}, Fitted: fit("slate")},
		}}
}

type point struct {
	at       time.Time
	temp, rh float64 // rh < 0: not measured
}

func set(t require.TestingT, c *roof.Case, data map[string][]point) *series.Set {
	s, err := series.Build(c, 0, func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for _, p := range data[logger] {
				r := roof.Reading{Logger: logger, At: p.at}
				r.Values.Set(roof.TempC, p.temp)
				if p.rh >= 0 {
					r.Values.Set(roof.RHPct, p.rh)
				}
				if !yield(r, nil) {
					return
				}
			}
		}
	})
	require.NoError(t, err)
	return s
}

// The closed form for a sinusoidal surface over a constant dew point
// (testdata/tables/risk_hours_checks.csv, computed there from the definition).
func TestHoursAgreeWithTheClosedFormForASine(t *testing.T) {
	f, err := os.Open("../../../testdata/tables/risk_hours_checks.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	num := func(s string) float64 { x, err := strconv.ParseFloat(s, 64); require.NoError(t, err); return x }
	for _, r := range rows[1:] {
		mean, amp, dew, want := num(r[0]), num(r[1]), num(r[2]), num(r[3])
		if dew < 0 {
			continue // the limit is the frost point there, the table's is not
		}
		const airC = 12.0
		rh := 100 * psychro.SatWaterPa(dew) / psychro.SatWaterPa(airC)
		data := map[string][]point{}
		for m := 0; m <= 24*60; m++ {
			at := start.Add(time.Duration(m) * time.Minute)
			data["a"] = append(data["a"], point{at, airC, rh})
			data["s"] = append(data["s"], point{at, mean - amp*math.Cos(2*math.Pi*float64(m)/1440), -1})
		}
		s := set(t, house(nil, nil, time.Minute), data)
		c, err := risk.Margin(s, "slate")
		require.NoError(t, err)
		got := c.Sum(s.FromMS, s.UntilMS)
		assert.InDelta(t, want, got.CondensingMS/3.6e6, 0.002, "mean %g amplitude %g dew point %g", mean, amp, dew)
		assert.InDelta(t, 24, got.ObservedMS/3.6e6, 1e-9)
	}
}

func draw(t *rapid.T, label string, rh bool) []point {
	n := rapid.IntRange(0, 60).Draw(t, label+" n")
	at := start
	var out []point
	for range n {
		at = at.Add(time.Duration(rapid.IntRange(1, 40).Draw(t, "gap")) * time.Minute)
		p := point{at, rapid.Float64Range(-8, 12).Draw(t, "t"), -1}
		if rh {
			p.rh = rapid.Float64Range(40, 104).Draw(t, "rh")
		}
		out = append(out, p)
	}
	return out
}

func TestCondensingAndAtRiskAndDryAndUnobservedMakeUpTheElapsedTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := set(t, house(nil, nil, 5*time.Minute),
			map[string][]point{"a": draw(t, "air", true), "s": draw(t, "surface", false)})
		c, err := risk.Margin(s, "slate")
		if err != nil {
			return
		}
		const step = 20 * 60e3
		end := s.FromMS + ((s.UntilMS-s.FromMS)/step+1)*step
		var sum risk.Spell
		for _, b := range c.BinsUntil(s.FromMS, end, step) {
			require.LessOrEqual(t, b.FrostMS, b.CondensingMS+1e-6)
			require.LessOrEqual(t, b.CondensingMS, b.AtRiskMS+1e-6)
			require.LessOrEqual(t, b.AtRiskMS, b.ObservedMS+1e-6)
			require.LessOrEqual(t, b.ObservedMS, step+1e-6)
			sum.ObservedMS += b.ObservedMS
			sum.CondensingMS += b.CondensingMS
			sum.AtRiskMS += b.AtRiskMS
		}
		whole := c.Sum(s.FromMS, s.UntilMS)
		require.InDelta(t, whole.ObservedMS, sum.ObservedMS, 1e-3)
		require.InDelta(t, whole.CondensingMS, sum.CondensingMS, 1e-3)
		require.InDelta(t, whole.AtRiskMS, sum.AtRiskMS, 1e-3)
	})
}

func TestAGapIsNoDataAndNotInterpolated(t *testing.T) {
	wet := func(m int) point { return point{start.Add(time.Duration(m) * time.Minute), 5, 99} }
	cold := func(m int) point { return point{start.Add(time.Duration(m) * time.Minute), 2, -1} }
	data := map[string][]point{}
	for m := 0; m <= 60; m += 5 {
		data["a"], data["s"] = append(data["a"], wet(m)), append(data["s"], cold(m))
	}
	for m := 240; m <= 300; m += 5 {
		data["a"], data["s"] = append(data["a"], wet(m)), append(data["s"], cold(m))
	}
	s := set(t, house(nil, nil, 5*time.Minute), data)
	c, err := risk.Margin(s, "slate")
	require.NoError(t, err)
	got := c.Sum(s.FromMS, s.UntilMS)
	assert.InDelta(t, 2, got.ObservedMS/3.6e6, 1e-9)
	assert.InDelta(t, 2, got.CondensingMS/3.6e6, 1e-9)
}

// winter is a synthetic course that crosses the limit often: what the loggers
// would read without error.
func winter(days int, rng *rand.Rand) (air, surface []point) {
	slow := 0.0
	for m := 0; m < days*1440; m += 30 {
		slow = 0.995*slow + 0.12*rng.NormFloat64()
		at := start.Add(time.Duration(m) * time.Minute)
		day := math.Cos(2 * math.Pi * float64(m) / 1440)
		temp := 5 + 2.5*slow - 2*day
		rh := math.Min(99.5, math.Max(55, 86+5*slow+7*day+1.5*rng.NormFloat64()))
		air = append(air, point{at, temp, rh})
		surface = append(surface, point{at, temp - 1.2 + 1.6*math.Cos(2*math.Pi*float64(m)/1440+2.6) - 0.4*slow, -1})
	}
	return air, surface
}

func shifted(p []point, dT, dRH float64) []point {
	out := make([]point, len(p))
	for i, x := range p {
		out[i] = point{x.at, x.temp + dT, x.rh}
		if x.rh >= 0 {
			out[i].rh = math.Min(100, math.Max(0, x.rh+dRH))
		}
	}
	return out
}

func hours(t require.TestingT, air, surface []point) float64 {
	s := set(t, house(ptr(0), ptr(0), 30*time.Minute), map[string][]point{"a": air, "s": surface})
	c, err := risk.Margin(s, "slate")
	require.NoError(t, err)
	e, ok := c.Expected([]risk.Span{{FromMS: s.FromMS, UntilMS: s.UntilMS}}, 0)
	require.True(t, ok)
	require.InDelta(t, c.Sum(s.FromMS, s.UntilMS).CondensingMS/3.6e6, e.MeanH, 1e-9,
		"with accuracy 0 the expectation is the plain count")
	return e.MeanH
}

func TestExpectedHoursAgreeWithDrawingOffsetsAndRecounting(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	air, surface := winter(40, rng)
	s := set(t, house(ptr(0.3), ptr(2), 30*time.Minute), map[string][]point{"a": air, "s": surface})
	c, err := risk.Margin(s, "slate")
	require.NoError(t, err)
	spans := []risk.Span{{FromMS: s.FromMS, UntilMS: s.UntilMS}}
	got, ok := c.Expected(spans, 0)
	require.True(t, ok)
	var draws []float64
	for range 1500 {
		u := func(limit float64) float64 { return limit * (2*rng.Float64() - 1) }
		draws = append(draws, hours(t, shifted(air, u(0.3), u(2)), shifted(surface, u(0.3), 0)))
	}
	mean, low, high := describe(draws)
	observed := float64(s.UntilMS-s.FromMS) / 3.6e6
	t.Logf("fast %.1f [%.1f, %.1f] h, brute force %.1f [%.1f, %.1f] h of %.0f h", got.MeanH, got.LowH, got.HighH, mean,
		low, high, observed)
	assert.InDelta(t, mean, got.MeanH, 0.005*observed)
	assert.InDelta(t, low, got.LowH, 0.008*observed)
	assert.InDelta(t, high, got.HighH, 0.008*observed)
	_, shares, _ := c.ExpectedAndShares(spans, 0)
	require.Len(t, shares, 3)
	assert.InDelta(t, 1, shares[0].Part+shares[1].Part+shares[2].Part, 1e-9)
	for _, sh := range shares {
		assert.LessOrEqual(t, sh.CheckedHigh-sh.CheckedLow, (got.HighH-got.LowH)*1.02,
			"knowing a logger better never widens the interval")
	}
}

func TestTheIntervalHoldsTheTrueHours(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	const runs = 1000
	held := 0
	for range runs {
		air, surface := winter(20, rng)
		truth := hours(t, air, surface)
		u := func(limit float64) float64 { return limit * (2*rng.Float64() - 1) }
		s := set(t, house(ptr(0.3), ptr(2), 30*time.Minute),
			map[string][]point{"a": shifted(air, u(0.3), u(2)), "s": shifted(surface, u(0.3), 0)})
		c, err := risk.Margin(s, "slate")
		require.NoError(t, err)
		e, ok := c.Expected([]risk.Span{{FromMS: s.FromMS, UntilMS: s.UntilMS}}, 0)
		require.True(t, ok)
		if e.LowH <= truth+1e-9 && truth-1e-9 <= e.HighH {
			held++
		}
	}
	t.Logf("95 %% interval held the true hours in %.1f %% of %d runs", 100*float64(held)/runs, runs)
	assert.GreaterOrEqual(t, held, 930)
	assert.LessOrEqual(t, held, 970)
}

func describe(x []float64) (mean, low, high float64) {
	s := append([]float64(nil), x...)
	for i := 1; i < len(s); i++ {
		for j := i; j > 0 && s[j] < s[j-1]; j-- {
			s[j], s[j-1] = s[j-1], s[j]
		}
	}
	for _, v := range s {
		mean += v / float64(len(s))
	}
	return mean, s[int(0.025*float64(len(s)))], s[int(0.975*float64(len(s)))]
}

func TestASurfaceThatCannotBeJudgedSaysWhy(t *testing.T) {
	c := house(nil, nil, time.Minute)
	c.Positions[1].Meets = ""
	s := set(t, c, nil)
	_, err := risk.Margin(s, "slate")
	require.ErrorIs(t, err, risk.ErrNotComputable)
	assert.Contains(t, err.Error(), "meets")
	c.Positions[1].Meets = "void"
	_, err = risk.Margin(set(t, c, map[string][]point{"s": {{start, 1, -1}, {start.Add(time.Minute), 1, -1}}}), "slate")
	require.ErrorIs(t, err, risk.ErrNotComputable)
	assert.Contains(t, err.Error(), "humidity")
}

// Hours that one offset in fifty brings about have both quantiles at 0 and their
// mean above it; hours that nearly every offset brings about the other way round.
func TestTheExpectationLiesWithinItsInterval(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tempC, rhPct := rapid.SampledFrom([]float64{0, 0.2, 0.5}).Draw(t, "temp"), 3.0
		k := 0.0
		if rapid.Bool().Draw(t, "normal") {
			k = 2
		}
		h := house(&tempC, &rhPct, 0)
		for i := range h.Loggers {
			h.Loggers[i].Accuracy.K = k
		}
		data := map[string][]point{}
		rh := rapid.Float64Range(70, 100).Draw(t, "rh")
		above := rapid.Float64Range(-2.5, 2.5).Draw(t, "margin")
		wave := rapid.SampledFrom([]float64{0, 0.05, 2}).Draw(t, "wave")
		limit, err := psychro.DewPointC(rh / 100 * psychro.SatWaterPa(8))
		require.NoError(t, err)
		for m := 0; m < 2880; m += 30 {
			at := start.Add(time.Duration(m) * time.Minute)
			data["a"] = append(data["a"], point{at, 8, rh})
			data["s"] = append(data["s"], point{at, limit + above + wave*math.Cos(float64(m)/229), -1})
		}
		s := set(t, h, data)
		c, err := risk.Margin(s, "slate")
		require.NoError(t, err)
		e, ok := c.Expected([]risk.Span{{FromMS: s.FromMS, UntilMS: s.UntilMS}}, 0)
		require.True(t, ok)
		require.LessOrEqual(t, e.LowH, e.MeanH)
		require.LessOrEqual(t, e.MeanH, e.HighH)
	})
}

// The contract's limits: wet at a margin of 0 K and below, at risk up to 1 K.
// Air at 10 C and 80 %RH has its dew point at 6.71 C (testdata/tables/dewpoint.csv
// holds the neighbouring rows).
func TestAtRiskEndsOneKelvinAboveTheDewPoint(t *testing.T) {
	dew, err := psychro.DewPointC(0.8 * psychro.SatWaterPa(10))
	require.NoError(t, err)
	for name, c := range map[string]struct {
		marginK     float64
		wet, atRisk bool
	}{
		"just above one kelvin":  {1.02, false, false},
		"just under one kelvin":  {0.98, false, true},
		"just above the limit":   {0.02, false, true},
		"just below the limit":   {-0.02, true, true},
		"three kelvin above it":  {3, false, false},
		"half a kelvin above it": {0.5, false, true},
	} {
		t.Run(name, func(t *testing.T) {
			var air, surface []point
			for m := 0; m <= 60; m += 5 {
				at := start.Add(time.Duration(m) * time.Minute)
				air, surface = append(air, point{at, 10, 80}), append(surface, point{at, dew + c.marginK, -1})
			}
			s := set(t, house(nil, nil, 5*time.Minute), map[string][]point{"a": air, "s": surface})
			course, err := risk.Margin(s, "slate")
			require.NoError(t, err)
			whole := course.Sum(s.FromMS, s.UntilMS)
			assert.Equal(t, c.wet, whole.CondensingMS > 0, "wet")
			assert.Equal(t, c.atRisk, whole.AtRiskMS > 0, "at risk")
		})
	}
}
