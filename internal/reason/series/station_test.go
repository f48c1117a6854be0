package series

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/roof"
)

func TestAStationIsBroughtToTheHouse(t *testing.T) {
	n := func(x float64) *float64 { return &x }
	var v roof.Values
	v.Set(roof.TempC, 4)
	v.Set(roof.RHPct, 80)
	v.Set(roof.WindMS, 3)
	for name, c := range map[string]struct {
		s     *roof.Station
		tempC float64
	}{
		"a logger of the house":           {nil, 4},
		"height not noted":                {&roof.Station{DistanceKM: n(10)}, 4},
		"a station 200 m above the house": {&roof.Station{HeightDifferenceM: n(200)}, 5.3}, // 6.5 K per km, ISO 2533
		"a station 200 m below":           {&roof.Station{HeightDifferenceM: n(-200)}, 2.7},
	} {
		got := Calibrated(roof.Logger{Station: c.s}, 0, v)
		temp, _ := got.Get(roof.TempC)
		assert.InDelta(t, c.tempC, temp, 1e-9, name)
		rh, _ := got.Get(roof.RHPct)
		assert.True(t, rh > 0 && rh <= 100, name)
		if c.s == nil || c.s.HeightDifferenceM == nil {
			assert.Equal(t, v, got, name)
			continue
		}
		here, err := psychro.VapourPressurePa(temp, rh)
		require.NoError(t, err)
		there, err := psychro.VapourPressurePa(4, 80)
		require.NoError(t, err)
		assert.InDelta(t, *c.s.HeightDifferenceM/6300, math.Log10(here/there), 1e-9, "Hann's vapour pressure, %s", name)
		wind, _ := got.Get(roof.WindMS)
		assert.Equal(t, 3.0, wind)
	}
}

// The further a station and the greater its height apart, the less it is believed.
func TestAStationFurtherOffIsBelievedLess(t *testing.T) {
	n := func(x float64) *float64 { return &x }
	own := roof.Accuracy{TempC: n(0.3), RHPct: n(2)}
	at := func(km, m float64) roof.Accuracy {
		return stationAccuracy(roof.Logger{Accuracy: own, Station: &roof.Station{DistanceKM: n(km), HeightDifferenceM: n(m)}})
	}
	assert.Equal(t, own, stationAccuracy(roof.Logger{Accuracy: own}))
	near, far, high, unknown := at(2, 0), at(60, 0), at(2, 400), stationAccuracy(roof.Logger{Station: &roof.Station{}})
	assert.Equal(t, 1.0, near.K, "standard uncertainties")
	assert.Greater(t, *near.TempC, 0.5)
	assert.Greater(t, *far.TempC, *near.TempC)
	assert.Greater(t, *far.RHPct, *near.RHPct)
	assert.Greater(t, *high.TempC, *near.TempC)
	assert.Greater(t, *unknown.TempC, *near.TempC)
	b := NewBuilder(&roof.Case{Positions: []roof.Position{{ID: "out", Place: roof.OutdoorAir}}}, 0)
	l := roof.Logger{ID: "st", Station: &roof.Station{DistanceKM: n(12)}, Fitted: []roof.Fitting{{Position: "out"}}}
	var v roof.Values
	v.Set(roof.TempC, 4)
	v.Set(roof.RHPct, 80)
	require.NoError(t, b.Add(l, func(yield func(roof.Reading, error) bool) {
		at := time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
		_ = yield(roof.Reading{Logger: "st", At: at, Values: v}, nil) &&
			yield(roof.Reading{Logger: "st", At: at.Add(time.Hour), Values: v}, nil)
	}))
	stint := b.Set().Courses[0].Stints[0]
	require.NotNil(t, stint.Station)
	assert.Equal(t, 12.0, *stint.Station.DistanceKM)
	assert.Greater(t, *stint.Accuracy.TempC, 0.5)
}
