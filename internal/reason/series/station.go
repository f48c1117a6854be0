package series

import (
	"math"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/roof"
)

// What a weather station's series is taken to be off by at the house, as standard
// uncertainties (a judgement: stations a few kilometres apart differ by half a
// kelvin in the mean of a winter, and by more on clear nights in hollows; gridded
// series miss stations that were left out by about 1 K a day): a part that any
// distance has, one that grows with its square root, and one with the height.
const (
	stationK         = 0.5
	stationPerRootKM = 0.11
	stationPerM      = 0.0025
	stationRHPct     = 3.0
	stationRHPerRoot = 0.7
	unknownKM        = 30.0 // where the distance is not noted
	unknownM         = 100.0
)

// LapseKPerM is the fall of the air's temperature with height of the standard
// atmosphere (ISO 2533).
const LapseKPerM = 0.0065

// vapourFallM is the height over which vapour pressure falls to a tenth (Hann
// 1874): e(z) = e(0) 10^(-z/6300).
const vapourFallM = 6300.0

// atHouse brings a station's reading to the height of the house: the temperature by
// the standard lapse rate, the vapour pressure after Hann, the humidity by both.
func atHouse(s *roof.Station, v roof.Values) roof.Values {
	t, ok := v.Get(roof.TempC)
	if s == nil || s.HeightDifferenceM == nil || *s.HeightDifferenceM == 0 || !ok {
		return v
	}
	there := t + LapseKPerM**s.HeightDifferenceM
	if rh, ok := v.Get(roof.RHPct); ok {
		if pa, err := psychro.VapourPressurePa(t, rh); err == nil {
			pa *= math.Pow(10, *s.HeightDifferenceM/vapourFallM)
			v.Set(roof.RHPct, math.Min(100*pa/psychro.SatWaterPa(there), 100))
		}
	}
	v.Set(roof.TempC, there)
	return v
}

// stationAccuracy is what a logger's series is taken to be good to at the house, as
// standard uncertainties: its maker's accuracy and, of a station, its distance and
// height.
func stationAccuracy(l roof.Logger) roof.Accuracy {
	if l.Station == nil {
		return l.Accuracy
	}
	km, m := unknownKM, unknownM
	if l.Station.DistanceKM != nil {
		km = *l.Station.DistanceKM
	}
	if l.Station.HeightDifferenceM != nil {
		m = *l.Station.HeightDifferenceM
	}
	own := func(limit *float64) float64 {
		switch {
		case limit == nil:
			return 0
		case l.Accuracy.K > 0:
			return *limit / l.Accuracy.K
		}
		return *limit / math.Sqrt(3)
	}
	temp := math.Hypot(math.Hypot(stationK, stationPerM*m), math.Hypot(stationPerRootKM*math.Sqrt(km),
		own(l.Accuracy.TempC)))
	rh := math.Hypot(math.Hypot(stationRHPct, stationRHPerRoot*math.Sqrt(km)), own(l.Accuracy.RHPct))
	return roof.Accuracy{TempC: &temp, RHPct: &rh, K: 1}
}
