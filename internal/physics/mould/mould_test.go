package mould_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/mould"
	"dewcase/internal/physics/spell"
	"dewcase/internal/testkit/tabletest"
)

func class(r tabletest.Row) mould.Class {
	return mould.Class(strings.ReplaceAll(r.Text("class"), " ", "_"))
}

func parameters(t require.TestingT, c mould.Class) mould.Parameters {
	p, err := mould.ParametersOf(c)
	require.NoError(t, err)
	return p
}

func TestClassConstantsOfTheTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "mould_parameters") {
		p := parameters(t, class(r))
		for column, got := range map[string]float64{"k1_for_M_below_1": p.K1Below, "k1_for_M_from_1": p.K1From, "A": p.A,
			"B": p.B, "C": p.C, "RHmin_pct": p.MinRHPct} {
			assert.Equalf(t, r.Num(column), got, "%s: %s", r, column)
		}
	}
}

func TestCriticalHumidityTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "mould_rhcrit") {
		at := r.Num("t_C")
		r.Near("RHcrit_RHmin80_pct", parameters(t, mould.Sensitive).CriticalRHPct(at), 0)
		r.Near("RHcrit_RHmin85_pct", parameters(t, mould.Resistant).CriticalRHPct(at), 0)
		if r.Has("raw_polynomial_pct") {
			r.Near("raw_polynomial_pct", mould.Cubic(at), 0)
		}
	}
}

var classes = []mould.Class{mould.VerySensitive, mould.Sensitive, mould.MediumResistant, mould.Resistant}

// grown runs the index in steps of hours, to show that the step does not matter.
func grown(p mould.Parameters, days, stepH, at, rh float64) float64 {
	m := 0.0
	for range int(math.Round(days * 24 / stepH)) {
		m = p.Grow(m, stepH/24, at, rh)
	}
	return m
}

func TestGrowthTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "mould") {
		p, at, rh := parameters(t, class(r)), r.Num("t_C"), r.Num("rh_pct")
		r.Near("RHcrit_pct", p.CriticalRHPct(at), 0)
		if r.Has("t_m_weeks_pine_SQ0") {
			r.Near("t_m_weeks_pine_SQ0", mould.WeeksToOne(at, rh), 0)
		}
		if r.Has("M_max") {
			r.Near("M_max", p.LargestIndex(at, rh), 0)
		} else {
			assert.Zero(t, p.Grow(0, 30, at, rh), r.String())
		}
		for column, index := range map[string]float64{"days_to_M1": 1, "days_to_M3": 3} {
			days, ok := p.DaysTo(index, at, rh)
			assert.Equalf(t, r.Has(column), ok, "%s: %s is reached", r, column)
			if ok {
				r.Near(column, days, 0)
			}
		}
		for column, days := range map[string]float64{"M_30d": 30, "M_60d": 60, "M_90d": 90, "M_180d": 180} {
			r.Near(column, p.Grow(0, days, at, rh), 0)
			r.Near(column, grown(p, days, 1, at, rh), 0)
			if strings.Contains(r.Text("note"), "no growth") {
				assert.Zero(t, p.Grow(0, days, at, rh), r.String())
			}
		}
	}
}

func TestDeclineTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "mould_decline") {
		p := parameters(t, mould.VerySensitive)
		start := p.Grow(0, 30, 20, 95)
		r.Near("M_at_start", start, 0)
		hours, c := r.Num("dry_hours"), r.Num("C_mat")
		r.Near("change", -mould.Declined(0, hours, c), 0)
		r.Near("M_after", start-mould.Declined(0, hours, c), 0)
		split := hours / 3
		assert.InDeltaf(t, mould.Declined(0, hours, c), mould.Declined(0, split, c)+mould.Declined(split, hours, c), 1e-12,
			"%s", r)
	}
}

func TestRulesTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "mould_rules") {
		value := r.Text("value")
		switch r.Text("item") {
		case "decline of M on untreated pine":
			per := map[string]float64{"0-6 h dry": mould.Declined(2, 3, 1), "6-24 h dry": mould.Declined(10, 11, 1),
				">24 h dry": mould.Declined(30, 31, 1)}
			rate, known := per[r.Text("case")]
			require.Truef(t, known, "%s", r)
			if value == "0" {
				assert.Zero(t, rate)
			} else {
				assert.Containsf(t, value, map[bool]string{true: "-0.00133 per h", false: "-0.000667 per h"}[rate > 0.001], "%s", r)
			}
		case "relative decline coefficient C_mat":
			var found bool
			for _, c := range classes {
				found = found || parameters(t, c).Decline == r.Num("value")
			}
			assert.Truef(t, found, "%s", r)
		case "criterion":
			if r.Text("case") == "ASHRAE 160-2016" {
				assert.Contains(t, value, "3.0")
				assert.Equal(t, 3.0, mould.Limit)
			}
		case "index scale":
			i := r.Num("case")
			words := mould.Words(i)
			for key, in := range map[string]string{"microscope only": "microscope only", "no growth": "no growth",
				"heavy": "heavy"} {
				if strings.Contains(value, key) {
					assert.Containsf(t, words, in, "%s", r)
				}
			}
		default:
			t.Errorf("%s: no check is written for %q", r, r.Text("item"))
		}
	}
}

const hour = int64(3600e3)

var start = time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC).UnixMilli()

func hourly(n int, at, rh func(h int) float64) []spell.Spell {
	var out []spell.Spell
	for h := range n {
		out = append(out, spell.Spell{FromMS: start + int64(h)*hour, UntilMS: start + int64(h+1)*hour, TempC: at(h),
			RHPct: rh(h)})
	}
	return out
}

func always(x float64) func(int) float64 { return func(int) float64 { return x } }

func TestARecordGrowsDriesAndDeclines(t *testing.T) {
	rh := func(h int) float64 {
		if h < 30*24 {
			return 95
		}
		return 60
	}
	r, err := mould.Run(hourly(60*24, always(20), rh), mould.VerySensitive)
	require.NoError(t, err)
	assert.InDelta(t, 3.318112, r.Peak, 1e-6)
	assert.InDelta(t, 3.318112-mould.Declined(0, 30*24, 1), r.End, 1e-6)
	assert.Equal(t, mould.Fail, r.ASHRAE160)
}

func TestADryRecordPasses(t *testing.T) {
	r, err := mould.Run(hourly(60*24, always(10), always(60)), mould.Sensitive)
	require.NoError(t, err)
	assert.Zero(t, r.Peak)
	assert.Equal(t, mould.Pass, r.ASHRAE160)
	assert.NotEmpty(t, r.Notes, "a winter is not a year")
}

func TestColdIsNoGrowthAndAShortRecordSaysNothing(t *testing.T) {
	r, err := mould.Run(hourly(48, always(-2), always(100)), mould.VerySensitive)
	require.NoError(t, err)
	assert.Zero(t, r.Peak)
	assert.Equal(t, mould.CannotSay, r.ASHRAE160)
}

func TestInAGapTheIndexStandsStill(t *testing.T) {
	s := hourly(20*24, always(20), always(97))
	for i := range s[10*24:] {
		s[10*24+i].FromMS += 100 * hour
		s[10*24+i].UntilMS += 100 * hour
	}
	broken, err := mould.Run(s, mould.VerySensitive)
	require.NoError(t, err)
	whole, err := mould.Run(hourly(20*24, always(20), always(97)), mould.VerySensitive)
	require.NoError(t, err)
	assert.InDelta(t, whole.End, broken.End, 1e-9)
	assert.InDelta(t, 100, broken.UnobservedH, 1e-9)
}

func TestTheIndexStaysOnItsScaleAndTheStepDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := rapid.SampledFrom(classes).Draw(rt, "class")
		n := rapid.IntRange(1, 60).Draw(rt, "spells")
		var coarse, fine []spell.Spell
		ms := start
		for range n {
			s := spell.Spell{FromMS: ms, UntilMS: ms + hour*rapid.Int64Range(1, 200).Draw(rt, "hours"),
				TempC: rapid.Float64Range(-10, 60).Draw(rt, "t"), RHPct: rapid.Float64Range(30, 100).Draw(rt, "rh")}
			mid := s.FromMS + (s.UntilMS-s.FromMS)/3
			a, b := s, s
			a.UntilMS, b.FromMS = mid, mid
			coarse, fine = append(coarse, s), append(fine, a, b)
			ms = s.UntilMS
		}
		r, err := mould.Run(coarse, c)
		require.NoError(rt, err)
		q, err := mould.Run(fine, c)
		require.NoError(rt, err)
		assert.InDelta(rt, r.End, q.End, 1e-6)
		for _, p := range r.Course {
			assert.False(rt, math.IsNaN(p.Index) || p.Index < 0 || p.Index > 6)
		}
	})
}

func TestWhatTheModelRefuses(t *testing.T) {
	_, err := mould.Run(nil, "oak")
	require.ErrorIs(t, err, mould.ErrRange)
	_, err = mould.Run([]spell.Spell{{FromMS: 1, UntilMS: 0}}, mould.Sensitive)
	require.ErrorIs(t, err, spell.ErrInput)
	r, err := mould.Run(nil, mould.Sensitive)
	require.NoError(t, err)
	assert.Equal(t, mould.CannotSay, r.ASHRAE160)
}
