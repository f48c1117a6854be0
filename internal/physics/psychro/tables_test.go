package psychro_test

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/testkit/tabletest"
)

func must(t testing.TB) func(float64, error) float64 {
	return func(x float64, err error) float64 { t.Helper(); require.NoError(t, err); return x }
}

func TestEveryColumnOfTheSaturationTable(t *testing.T) {
	iso := func(c float64) float64 { return must(t)(psychro.ISO13788SatPa(c)) }
	columns := map[string]formula{
		"p_water_ref_Pa": referenceWater, "p_ice_ref_Pa": sublimation, "p_water_IF97_Pa": if97,
		"p_water_HylandWexler_Pa": hylandWexlerWater, "p_ice_HylandWexler_Pa": hylandWexlerIce,
		"p_water_GoffGratch_Pa": goffGratchWater, "p_ice_GoffGratch_Pa": goffGratchIce,
		"p_water_Sonntag1990_Pa": sonntagWater, "p_ice_Sonntag1990_Pa": sonntagIce,
		"p_water_MagnusWMO8_Pa": psychro.SatWaterPa, "p_ice_MagnusWMO8_Pa": psychro.SatIcePa,
		"p_water_AERK_Pa": aerk.sat, "p_ice_AERKi_Pa": aerki.sat, "p_ISO13788_Pa": iso,
		"p_water_Buck1981_Pa": buck81.sat, "p_ice_Buck1981_Pa": buck81i.sat,
		"p_water_Buck1996_Pa": buck96Water, "p_ice_Buck1996_Pa": buck96Ice,
		"p_water_MurphyKoop2005_Pa": murphyKoopWater, "p_ice_MurphyKoop2005_Pa": murphyKoopIce,
		"psychrolib111_GetSatVapPres_Pa": ashrae,
	}
	for _, r := range tabletest.Read(t, "psat") {
		at := r.Num("t_C")
		for column, f := range columns {
			if r.Has(column) {
				// Six significant figures are printed; a cell may have lost its
				// trailing zeros, so the printed decimals cannot say more.
				want := r.Num(column)
				assert.InDeltaf(t, want, f(at), math.Max(5.1e-6*want, 1e-9), "%s: %s", r, column)
			}
		}
		// Stated accuracy of the production pair.
		want, tolerance := r.Num("p_water_ref_Pa"), 0.0040
		if at < -20 {
			tolerance = 0.0060
		}
		assert.InEpsilonf(t, want, psychro.SatWaterPa(at), tolerance, "%s: water against the reference", r)
		if r.Has("p_ice_ref_Pa") {
			assert.InEpsilonf(t, r.Num("p_ice_ref_Pa"), psychro.SatIcePa(at), 0.0007, "%s: ice against the reference", r)
		}
	}
}

func TestPublishedSaturationPressures(t *testing.T) {
	for _, r := range tabletest.Read(t, "psat_published") {
		at, published := r.Num("t_C"), r.Num("published_Pa")
		judge := referenceWater
		switch source := r.Text("source"); {
		case r.Text("phase") == "ice" && strings.Contains(source, "Goff-Gratch"):
			judge = goffGratchIce
		case r.Text("phase") == "ice":
			judge = sublimation
		case strings.Contains(source, "R7-97"):
			judge = if97
		case strings.Contains(source, "Goff-Gratch"):
			judge = goffGratchWater
		}
		tolerance := relativeTolerance(t, r)
		assert.InEpsilonf(t, published, judge(at), tolerance, "%s: judge", r)
		assert.InEpsilonf(t, r.Num("recomputed_here_Pa"), judge(at), 5.1e-6, "%s: judge as recomputed there", r)
		if at >= -45 && at <= 60 {
			ours := psychro.SatWaterPa(at)
			if r.Text("phase") == "ice" {
				ours = psychro.SatIcePa(at)
			}
			assert.InEpsilonf(t, published, ours, tolerance+0.004, "%s: Magnus", r)
		}
	}
}

var firstNumber = regexp.MustCompile(`[-+]?\d+(\.\d+)?(e[-+]?\d+)?`)

func relativeTolerance(t *testing.T, r tabletest.Row) float64 {
	text := r.Text("tolerance_for_tests")
	x, err := strconv.ParseFloat(firstNumber.FindString(text), 64)
	require.NoError(t, err, r)
	switch {
	case strings.Contains(text, "ppm"):
		return x * 1e-6
	case strings.Contains(text, "%"):
		return x / 100
	default:
		return x
	}
}

func TestDewAndFrostPointTable(t *testing.T) {
	ok := must(t)
	for _, r := range tabletest.Read(t, "dewpoint") {
		at, rh := r.Num("t_C"), r.Num("rh_pct")
		eRef := referenceWater(at) * rh / 100
		assert.InEpsilonf(t, r.Num("vapour_pressure_ref_Pa"), eRef, 5.1e-5, "%s: reference pressure", r)
		r.Near("dewpoint_over_water_ref_C", referenceDew(eRef), 0)
		if r.Has("frostpoint_over_ice_ref_C") {
			r.Near("frostpoint_over_ice_ref_C", referenceFrost(eRef), 0)
		}
		e := ok(psychro.VapourPressurePa(at, rh))
		dew := ok(psychro.DewPointC(e))
		r.Near("dewpoint_MagnusWMO8_C", dew, 0)
		assert.InDeltaf(t, r.Num("dewpoint_over_water_ref_C"), dew, dewBar(at, rh), "%s: dew point against the reference", r)
		if r.Has("frostpoint_MagnusWMO8_C") {
			frost := ok(psychro.FrostPointC(e))
			r.Near("frostpoint_MagnusWMO8_C", frost, 0)
			assert.InDeltaf(t, r.Num("frostpoint_over_ice_ref_C"), frost, 0.05, "%s: frost point against the reference", r)
		}
		r.Near("dewpoint_AERK_C", invert(aerk.sat, aerk.sat(at)*rh/100, -110, 99), 0)
		if r.Has("psychrolib111_TDewPoint_C") {
			// psychrolib iterates to 0.001 K and takes RH over ice below 0 C.
			r.Near("psychrolib111_TDewPoint_C", invert(ashrae, ashrae(at)*rh/100, -100, 99), 0.002)
		}
	}
}

// dewBar is the stated accuracy of the dew point.
func dewBar(tempC, rhPct float64) float64 {
	switch {
	case tempC < -30:
		return 0.15 // outside the stated range
	case rhPct >= 25:
		return 0.05
	default:
		return 0.105
	}
}

func TestPublishedDewPoints(t *testing.T) {
	ok := must(t)
	for _, r := range tabletest.Read(t, "dewpoint_published") {
		at, rh := r.Num("t_C"), r.Num("rh_pct")
		e := ok(psychro.VapourPressurePa(at, rh))
		r.Near("recomputed_dewpoint_over_water_C", ok(psychro.DewPointC(e)), dewBar(at, rh))
		if at < 0 && strings.Contains(r.Text("source"), "RH of this table is relative to ice") {
			e = psychro.SatIcePa(at) * rh / 100
		}
		dew, frost := ok(psychro.DewPointC(e)), ok(psychro.FrostPointC(e))
		comparable, ours := r.Num("recomputed_comparable_C"), dew
		if r.Text("kind") == "frost" || r.Text("kind") == "dew or frost" &&
			math.Abs(frost-comparable) < math.Abs(dew-comparable) {
			// A table that prints "dew or frost" does not say which; the row tells
			// by what it was compared with where it was taken down.
			ours = frost
		}
		r.Near("recomputed_comparable_C", ours, dewBar(at, rh))
		off := math.Abs(ours - r.Num("published_C"))
		text := r.Text("tolerance_K_for_tests")
		limit, err := strconv.ParseFloat(firstNumber.FindString(text), 64)
		require.NoError(t, err, r)
		if strings.Contains(text, "REJECT") {
			assert.Greaterf(t, off, limit-0.06, "%s says of itself that it is off by more than %g K", r, limit)
			continue
		}
		assert.LessOrEqualf(t, off, limit+0.05, "%s: ours %.2f, published %s", r, ours, r.Text("published_C"))
	}
}

func TestPublishedPressuresAtAltitude(t *testing.T) {
	ok := must(t)
	altitude := regexp.MustCompile(`altitude (-?\d+) m`)
	checked := 0
	for _, r := range tabletest.Read(t, "psychrometrics_published") {
		quantity := r.Text("quantity")
		if !altitude.MatchString(quantity) || strings.Contains(quantity, "temperature") {
			continue
		}
		checked++
		z, err := strconv.ParseFloat(altitude.FindStringSubmatch(quantity)[1], 64)
		require.NoError(t, err)
		text := r.Text("tolerance")
		tolerance, err := strconv.ParseFloat(firstNumber.FindString(text), 64)
		require.NoError(t, err, r)
		switch {
		case strings.Contains(text, "%"):
			tolerance *= r.Num("published") / 100
		case strings.Contains(text, "relative"):
			tolerance *= r.Num("published")
		}
		assert.InDeltaf(t, r.Num("published"), ok(psychro.PressureAtAltitudePa(z)), tolerance, "%s: %s", r, quantity)
	}
	assert.Greater(t, checked, 2)
}

func TestSurfaceStates(t *testing.T) {
	ok := must(t)
	for _, r := range tabletest.Read(t, "surface") {
		at, rh, ts := r.Num("air_t_C"), r.Num("air_rh_pct"), r.Num("surface_t_C")
		e := ok(psychro.VapourPressurePa(at, rh))
		r.Near("e_Pa", e, 0.004*e)
		r.Near("dewpoint_C", ok(psychro.DewPointC(e)), 0.05)
		r.Near("margin_to_dew_K", ts-ok(psychro.DewPointC(e)), 0.05)
		if r.Has("frostpoint_C") {
			frost := ok(psychro.FrostPointC(e))
			r.Near("frostpoint_C", frost, 0.05)
			assert.InDelta(t, psychro.LimitC(e), frost, 1e-12)
			if r.Has("margin_to_frost_K") {
				r.Near("margin_to_frost_K", ts-frost, 0.05)
			}
		}
		// The state: wet exactly where the surface lies at or under the limit,
		// but for states nearer to it than the stated accuracy.
		wet := ts <= psychro.LimitC(e)
		state := r.Text("state")
		if math.Abs(ts-psychro.LimitC(e)) < 0.01 {
			wet = strings.Contains(state, "condensation") || strings.Contains(state, "frost")
		}
		assert.Equalf(t, strings.Contains(state, "condensation") || strings.Contains(state, "frost"), wet, "%s: %s", r, state)
	}
}
