package sky_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/psychro"
	"dewcase/internal/sky"
	"dewcase/internal/tabletest"
)

const daily = -1

func dewOf(t require.TestingT, r tabletest.Row) float64 {
	e, err := psychro.VapourPressurePa(r.Num("air_t_C"), r.Num("air_rh_pct"))
	require.NoError(t, err)
	d, err := psychro.DewPointC(e)
	require.NoError(t, err)
	return d
}

func TestClearSkyTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "sky") {
		at, dew := r.Num("air_t_C"), dewOf(t, r)
		r.Near("dewpoint_C", dew, 0.05)
		// 0.05 K of dew point is 0.0003 of emissivity and 0.03 K of sky.
		temp := func(m sky.Model, hour float64) float64 {
			c, err := sky.Clear(m, at, dew, hour)
			require.NoError(t, err)
			return c
		}
		eps := func(m sky.Model, hour float64) float64 {
			e, err := sky.Emissivity(m, at, dew, hour)
			require.NoError(t, err)
			return e
		}
		r.Near("Tsky_Swinbank_C", temp(sky.Swinbank, daily), 0)
		r.Near("eps_BerdahlMartin_daily", eps(sky.BerdahlMartin, daily), 0.0003)
		r.Near("Tsky_BerdahlMartin_daily_C", temp(sky.BerdahlMartin, daily), 0.03)
		r.Near("eps_BerdahlMartin_midnight", eps(sky.BerdahlMartin, 0), 0.0003)
		r.Near("Tsky_BerdahlMartin_midnight_C", temp(sky.BerdahlMartin, 24), 0.03)
		r.Near("eps_Brunt", eps(sky.Brunt, daily), 0.0004)
		r.Near("Tsky_Brunt_C", temp(sky.Brunt, daily), 0.05)
		r.Near("eps_Brutsaert", eps(sky.Brutsaert, daily), 0.0004)
		r.Near("Tsky_Brutsaert_C", temp(sky.Brutsaert, daily), 0.05)
		r.Near("Tsky_ISO52016_C", temp(sky.ISO52016, daily), 0)
		r.Near("Tsky_Whiller_C", temp(sky.Whiller, daily), 0)
	}
}

func TestUndercoolingTable(t *testing.T) {
	for _, r := range tabletest.Read(t, "roof_undercooling") {
		at, dew := r.Num("air_t_C"), dewOf(t, r)
		r.Near("dewpoint_C", dew, 0.05)
		eps, err := sky.Emissivity(sky.BerdahlMartin, at, dew, 0)
		require.NoError(t, err)
		cloud, err := sky.CloudFactor(r.Num("cloud_fraction"))
		require.NoError(t, err)
		above := sky.Temperature(at, math.Min(1, eps*cloud))
		r.Near("Tsky_C", above, 0.03)
		h, err := sky.ConvectionWM2K(r.Num("wind_m_per_s"))
		require.NoError(t, err)
		r.Near("hc_W_per_m2K", h, 0)
		got, err := sky.Covering(sky.Roof{PitchDeg: 35, UToLoftWM2: r.Num("U_to_loft_W_per_m2K"), LoftAboveK: 2}, at, above, r.Num("wind_m_per_s"))
		require.NoError(t, err)
		r.Near("T_covering_C", got, 0.015)
		r.Near("covering_minus_air_K", got-at, 0.015)
		r.Near("covering_minus_outdoor_dewpoint_K", got-dew, 0.05)
	}
}

// A public package gives 339 K here; the printed law gives 276.9 K.
func TestSwinbankAt293K(t *testing.T) {
	c, err := sky.Clear(sky.Swinbank, 20, 10, daily)
	require.NoError(t, err)
	assert.InDelta(t, 276.9, c+273.15, 0.3)
}

func TestTheCoveringLiesBetweenItsSurroundings(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		air := rapid.Float64Range(-20, 20).Draw(rt, "air")
		above := rapid.Float64Range(-60, 20).Draw(rt, "sky")
		wind := rapid.Float64Range(0, 20).Draw(rt, "wind")
		r := sky.Roof{PitchDeg: rapid.Float64Range(0, 90).Draw(rt, "pitch"), UToLoftWM2: rapid.Float64Range(0, 5).Draw(rt, "u"), LoftAboveK: rapid.Float64Range(-5, 15).Draw(rt, "loft")}
		got, err := sky.Covering(r, air, above, wind)
		require.NoError(rt, err)
		low := math.Min(air, math.Min(above, air+r.LoftAboveK))
		high := math.Max(air, math.Max(above, air+r.LoftAboveK))
		assert.True(rt, got >= low-1e-6 && got <= high+1e-6, "%g not in %g..%g", got, low, high)
	})
}

func TestWhatTheSkyRefuses(t *testing.T) {
	e := func(_ float64, err error) error { return err }
	for name, err := range map[string]error{
		"NaN air":               e(sky.Clear(sky.Swinbank, math.NaN(), 0, 0)),
		"dew point above":       e(sky.Clear(sky.Brunt, 5, 6, 0)),
		"unknown model":         e(sky.Clear("guess", 5, 2, 0)),
		"cloud":                 e(sky.CloudFactor(2)),
		"wind":                  e(sky.ConvectionWM2K(-1)),
		"covering in a furnace": e(sky.Covering(sky.Roof{}, 100, 0, 0)),
		"pitch":                 e(sky.Covering(sky.Roof{PitchDeg: 100}, 5, 0, 0)),
		"storm":                 e(sky.Covering(sky.Roof{}, 5, 0, 90)),
	} {
		assert.Error(t, err, name)
	}
}
