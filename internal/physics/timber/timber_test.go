package timber_test

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/spell"
	"dewcase/internal/physics/timber"
	"dewcase/internal/testkit/tabletest"
)

// fahrenheit is the same equation in its degF form (Wood Handbook, older
// editions): an independent transcription to hold ours against.
func fahrenheit(f, rhPct float64) float64 {
	h := rhPct / 100
	w := 330 + 0.452*f + 0.00415*f*f
	k := 0.791 + 0.000463*f - 0.000000844*f*f
	k1 := 6.34 + 0.000775*f - 0.0000935*f*f
	k2 := 1.09 + 0.0284*f - 0.0000904*f*f
	a, b := k*h, k1*k*h
	return 1800 / w * (a/(1-a) + (b+2*b*k2*a)/(1+b+b*k2*a))
}

var number = regexp.MustCompile(`\d+(\.\d+)?`)

func TestEquilibriumMoistureTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "emc") {
		// Temperatures are printed in C to two decimals; the table's are whole F.
		at, rh := (r.Num("t_F")-32)/1.8, r.Num("rh_pct")
		got, err := timber.EquationPct(at, rh)
		require.NoError(t, err)
		r.Near("emc_equation_degC_pct", got, 0)
		r.Near("emc_equation_degF_pct", fahrenheit(r.Num("t_F"), rh), 0)
		if !r.Has("published_emc_pct") {
			continue
		}
		off := math.Abs(got - r.Num("published_emc_pct"))
		text := r.Text("tolerance_for_tests")
		if strings.Contains(text, "MISPRINT") {
			assert.Greaterf(t, off, 0.5, "%s says of itself that it is a misprint", r)
			continue
		}
		tolerance, err := strconv.ParseFloat(number.FindString(text), 64)
		require.NoError(t, err, r)
		assert.LessOrEqualf(t, off, tolerance, "%s: ours %.3f, published %s", r, got, r.Text("published_emc_pct"))
	}
}

func TestThresholdTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "timber_thresholds") {
		value := r.Text("value")
		switch r.Text("item") {
		case "temperature window": // of decay, which is not judged: moisture alone is shown
		case "RH equivalents at 5 C":
			for _, pair := range regexp.MustCompile(`(\d+) %(?: mc)? = ([\d.]+) %`).FindAllStringSubmatch(value, -1) {
				mc, _ := strconv.ParseFloat(pair[1], 64)
				rh, _ := strconv.ParseFloat(pair[2], 64)
				got, err := timber.EMCPct(5, rh)
				require.NoError(t, err)
				assert.InDeltaf(t, mc, got, 0.05, "%s: %g %% mc", r, mc)
			}
		case "service class 2 (Eurocode 5)":
			assert.Contains(t, value, "20 %")
			assert.Equal(t, 20.0, timber.CeilingPct)
		case "service class 3 (Eurocode 5)": // a definition without a figure
		case "fibre saturation point":
			mc, err := timber.EMCPct(21.11, 100)
			require.NoError(t, err)
			assert.InDelta(t, 28.8, mc, 0.05)
		}
	}
}

func TestColdWoodIsClampedNotExtrapolated(t *testing.T) {
	cold, err := timber.EMCPct(-20, 90)
	require.NoError(t, err)
	end, err := timber.EMCPct(timber.ColdestTableC, 90)
	require.NoError(t, err)
	assert.Equal(t, end, cold)
}

func TestEMCRisesWithHumidity(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		at := rapid.Float64Range(-40, 60).Draw(rt, "t")
		a := rapid.Float64Range(0, 99.9).Draw(rt, "a")
		b := rapid.Float64Range(a, 100).Draw(rt, "b")
		low, err := timber.EMCPct(at, a)
		require.NoError(rt, err)
		high, err := timber.EMCPct(at, b)
		require.NoError(rt, err)
		assert.LessOrEqual(rt, low, high)
	})
}

const hour = int64(3600e3)

func record(hours int, rh func(h int) float64) []spell.Spell {
	var out []spell.Spell
	for h := range hours {
		out = append(out, spell.Spell{FromMS: int64(h) * hour, UntilMS: int64(h+1) * hour, TempC: 8, RHPct: rh(h)})
	}
	return out
}

// crank solves the same diffusion on a fine grid, implicit, as the judge.
func crank(thicknessMM, d float64, start float64, emc []float64) float64 {
	const n = 100
	dx := thicknessMM / 1000 / n
	m := make([]float64, n+1)
	for i := range m {
		m[i] = start
	}
	const perHour = 4
	k := d * 3600 / perHour / (dx * dx)
	c, q := make([]float64, n+1), make([]float64, n+1)
	for _, e := range emc {
		for range perHour {
			m[0], m[n] = e, e
			c[0], q[0] = 0, e
			for i := 1; i < n; i++ { // Thomas
				den := 1 + 2*k + k*c[i-1]
				c[i] = -k / den
				q[i] = (m[i] + k*q[i-1]) / den
			}
			for i := n - 1; i > 0; i-- {
				m[i] = q[i] - c[i]*m[i+1]
			}
		}
	}
	var sum float64
	for i := range n {
		sum += (m[i] + m[i+1]) / 2
	}
	return sum / n
}

func TestTheBoardFollowsDiffusion(t *testing.T) {
	rh := func(h int) float64 { return 80 + 12*math.Sin(float64(h)/200) + 5*math.Sin(float64(h)/4) }
	spells := record(60*24, rh)
	var emc []float64
	var first float64
	for i, s := range spells {
		e, err := timber.EMCPct(s.TempC, s.RHPct)
		require.NoError(t, err)
		emc = append(emc, e)
		if i < 14*24 {
			first += e / (14 * 24)
		}
	}
	r, err := timber.Lag(spells, 25)
	require.NoError(t, err)
	want := crank(25, timber.DiffusionUsual, first, emc)
	assert.InDelta(t, want, r.Course[len(r.Course)-1].MCPct, 0.05)
}

func TestABattenLagsAWeekAndARafterMore(t *testing.T) {
	rh := func(h int) float64 { // two dry weeks, then wet
		if h < 14*24 {
			return 70
		}
		return 95
	}
	batten, err := timber.Lag(record(60*24, rh), 0)
	require.NoError(t, err)
	rafter, err := timber.Lag(record(60*24, rh), 47)
	require.NoError(t, err)
	assert.Equal(t, timber.DefaultThicknessMM, batten.ThicknessMM)
	at := func(r *timber.Result, day int) float64 { return r.Course[day*24-1].MCPct }
	assert.Greater(t, at(batten, 21), at(rafter, 21)+1)
	assert.Greater(t, batten.WeeksAbove, rafter.WeeksAbove)
	assert.LessOrEqual(t, batten.WeeksAboveLow, batten.WeeksAbove)
	assert.LessOrEqual(t, batten.WeeksAbove, batten.WeeksAboveHigh)
	assert.InDelta(t, 60*24, batten.ObservedH, 1e-9)
	assert.Len(t, batten.Weeks, 9)
	for _, p := range batten.Course {
		assert.LessOrEqual(t, p.LowPct, p.MCPct)
		assert.LessOrEqual(t, p.MCPct, p.HighPct)
	}
	assert.Contains(t, batten.Notes[len(batten.Notes)-1], "25 mm")
	assert.Contains(t, batten.Notes[len(batten.Notes)-1], "time constant of 7 days")
}

func TestAConstantAirIsItsEquilibrium(t *testing.T) {
	r, err := timber.Lag(record(100, func(int) float64 { return 90 }), 25)
	require.NoError(t, err)
	want, err := timber.EMCPct(8, 90)
	require.NoError(t, err)
	assert.InDelta(t, want, r.PeakPct, 1e-9)
	assert.InDelta(t, 100.0/168, r.WeeksAbove, 1e-9)
}

func TestALongGapStartsAnew(t *testing.T) {
	s := record(40*24, func(h int) float64 {
		if h < 20*24 {
			return 95
		}
		return 60
	})
	for i := range s[20*24:] {
		s[20*24+i].FromMS += 60 * 24 * hour
		s[20*24+i].UntilMS += 60 * 24 * hour
	}
	r, err := timber.Lag(s, 25)
	require.NoError(t, err)
	assert.Less(t, r.Course[20*24].MCPct, 13.0, "what it held two months ago is not known any more")
	assert.False(t, r.Course[20*24].Joined)
	assert.Contains(t, r.Notes[0], "1 long gap")
}

func TestMeasuredWood(t *testing.T) {
	// 18 to 24 % over 6 h and back: above 20 for 4/6 of each leg.
	r, err := timber.Measured([]int64{0, 6 * hour, 12 * hour, 30 * hour}, []float64{18, 24, 18, 18},
		[]bool{true, true, false, false})
	require.NoError(t, err)
	assert.InDelta(t, 8.0/168, r.WeeksAbove, 1e-9)
	assert.InDelta(t, 24, r.PeakPct, 1e-9)
	assert.InDelta(t, 12, r.ObservedH, 1e-9)
	assert.InDelta(t, 21, r.MeanPct, 1e-9)
	_, err = timber.Measured([]int64{0, 1}, []float64{18, math.NaN()}, []bool{true, false})
	require.ErrorIs(t, err, timber.ErrRange)
	_, err = timber.Measured([]int64{0}, nil, nil)
	require.ErrorIs(t, err, timber.ErrRange)
}

func TestWhatTheFormulaRefuses(t *testing.T) {
	e := func(_ any, err error) error { return err }
	for name, err := range map[string]error{
		"NaN":             e(timber.EquationPct(math.NaN(), 50)),
		"humidity":        e(timber.EMCPct(10, 101)),
		"cold":            e(timber.EMCPct(-100, 50)),
		"thickness":       e(timber.Lag(record(2, func(int) float64 { return 80 }), 1000)),
		"diffusion":       e(timber.TimeConstantH(25, 1)),
		"thickness alone": e(timber.TimeConstantH(-1, 1e-10)),
	} {
		assert.ErrorIs(t, err, timber.ErrRange, name)
	}
	r, err := timber.Lag(nil, 25)
	require.NoError(t, err)
	assert.Zero(t, r.ObservedH)
}

// Two parts of a record hold its hours between them, and neither more water in
// the wood than the whole.
func TestTwoPartsOfAWoodsCourseAddUpToTheWhole(t *testing.T) {
	spells := record(60*24, func(h int) float64 { return 70 + 28*math.Sin(float64(h)/200) })
	whole, err := timber.Lag(spells, 25)
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		cut := spells[rapid.IntRange(1, len(spells)-1).Draw(t, "hour")].FromMS
		a, b := whole.Within(spells, math.MinInt64, cut), whole.Within(spells, cut, math.MaxInt64)
		assert.InDelta(t, whole.ObservedH, a.ObservedH+b.ObservedH, 1e-9)
		assert.InDelta(t, whole.WeeksAbove, a.WeeksAbove+b.WeeksAbove, 1e-9)
		assert.InDelta(t, whole.MeanPct*whole.ObservedH, a.MeanPct*a.ObservedH+b.MeanPct*b.ObservedH, 1e-6)
		assert.Equal(t, whole.PeakPct, max(a.PeakPct, b.PeakPct))
	})
}
