package corrosion_test

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/corrosion"
	"dewcase/internal/physics/spell"
	"dewcase/internal/testkit/tabletest"
)

var numbers = regexp.MustCompile(`\d+(\.\d+)?`)

func TestCategoriesOfTheTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "corrosion_tow") {
		text := r.Text("hours_per_year")
		var bounds []float64
		for _, s := range numbers.FindAllString(text, -1) {
			x, err := strconv.ParseFloat(s, 64)
			require.NoError(t, err)
			bounds = append(bounds, x)
		}
		check := func(hours float64, want string) {
			c, err := corrosion.CategoryOf(hours)
			require.NoError(t, err)
			assert.Equalf(t, want, c.String(), "%s: %g h", r, hours)
		}
		name := r.Text("category")
		switch {
		case strings.HasPrefix(text, "<="):
			check(0, name)
			check(bounds[0], name)
		case strings.HasPrefix(text, ">"):
			check(bounds[0]+0.001, name)
			check(corrosion.HoursPerYear, name)
		default:
			check(bounds[0]+0.001, name)
			check(bounds[1], name)
		}
		// The shares of the year say the same, as rounded as they are printed.
		for i, s := range numbers.FindAllString(r.Text("percent_of_year"), -1) {
			x, err := strconv.ParseFloat(s, 64)
			require.NoError(t, err)
			assert.InDeltaf(t, bounds[i], x/100*corrosion.HoursPerYear, 0.15*bounds[i], "%s", r)
		}
	}
}

const hour = int64(3600e3)

// spellsOf reads "12 h -1 C 99 %, 12 h 1 C 81 %".
func spellsOf(t *testing.T, text string) []spell.Spell {
	var out []spell.Spell
	var ms int64
	for _, m := range regexp.MustCompile(`(\d+) h (?:at )?(-?[\d.]+) C ([\d.]+)`).FindAllStringSubmatch(text, -1) {
		n, err := strconv.ParseInt(m[1], 10, 64)
		require.NoError(t, err)
		at, err := strconv.ParseFloat(m[2], 64)
		require.NoError(t, err)
		rh, err := strconv.ParseFloat(m[3], 64)
		require.NoError(t, err)
		out = append(out, spell.Spell{FromMS: ms, UntilMS: ms + n*hour, TempC: at, RHPct: rh})
		ms += n * hour
	}
	return out
}

func TestWetHoursOfTheChecks(t *testing.T) {
	scaling := regexp.MustCompile(`scaling: (\d+) h wet in (\d+) h logged`)
	for _, r := range tabletest.Read(t, "corrosion_tow_checks") {
		if m := scaling.FindStringSubmatch(r.Text("case")); m != nil {
			wet, _ := strconv.ParseFloat(m[1], 64)
			logged, _ := strconv.ParseFloat(m[2], 64)
			got, err := corrosion.PerYear(wet, logged)
			require.NoError(t, err)
			r.Near("wet_hours", got, 0)
			continue
		}
		spells := spellsOf(t, r.Text("case"))
		require.NotEmptyf(t, spells, "%s: cannot read %q", r, r.Text("case"))
		got, err := corrosion.WetHours(spells)
		require.NoError(t, err)
		r.Near("wet_hours", got, 0)
	}
}

func TestAWinterIsNotAYear(t *testing.T) {
	var s []spell.Spell
	for h := range int64(180 * 24) {
		s = append(s, spell.Spell{FromMS: h * hour, UntilMS: (h + 1) * hour, TempC: 4, RHPct: 85})
	}
	r, err := corrosion.Assess(s, true, "galvanised")
	require.NoError(t, err)
	assert.InDelta(t, corrosion.HoursPerYear, r.PerYearH, 1e-6)
	assert.Equal(t, corrosion.Tau5, r.Category)
	assert.Equal(t, corrosion.Tau4, r.Low, "4320 h if the summer were dry throughout")
	assert.Equal(t, corrosion.Tau5, r.High)
	assert.Contains(t, r.Remark, "galvanised")
	assert.Contains(t, r.Notes[0], "49 %")
}

func TestDryAirAndEveryFixing(t *testing.T) {
	s := []spell.Spell{{FromMS: 0, UntilMS: int64(corrosion.HoursPerYear) * hour, TempC: 15, RHPct: 50}}
	for _, f := range []string{"galvanised", "stainless", "copper", "aluminium", ""} {
		r, err := corrosion.Assess(s, false, f)
		require.NoError(t, err)
		assert.Equal(t, corrosion.Tau1, r.Category)
		assert.NotContains(t, strings.Join(r.Notes, " "), "of a year was observed")
		assert.Contains(t, r.Remark, "common practice")
		assert.Equal(t, r.Low, r.High)
	}
}

func TestNothingObservedIsNotDry(t *testing.T) {
	r, err := corrosion.Assess(nil, true, "")
	require.NoError(t, err)
	assert.Zero(t, r.ObservedH)
	assert.Equal(t, corrosion.Unknown, r.Category)
	assert.Equal(t, "unknown", r.Category.String())
}

func TestHoursThatCannotBeAreErrors(t *testing.T) {
	_, err := corrosion.CategoryOf(math.NaN())
	require.Error(t, err)
	_, err = corrosion.PerYear(5, 0)
	require.Error(t, err)
	_, err = corrosion.PerYear(6, 5)
	require.Error(t, err)
	_, err = corrosion.WetHours([]spell.Spell{{FromMS: 5, UntilMS: 5}})
	require.ErrorIs(t, err, spell.ErrInput)
}
