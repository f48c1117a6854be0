package roofworlds

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
)

// lapseKPerM is the fall of temperature with height of the standard atmosphere.
const lapseKPerM = 0.0065

// StationOutdoors puts a weather station in the place of the outdoor logger: hourly,
// off by a standing error and by one that comes and goes with the weather over half
// a day, each about as large as package series takes a station to be.
func StationOutdoors(m *roofsim.Measured, r *rand.Rand) {
	km, up := 5+30*r.Float64(), 100*r.NormFloat64()
	id := ""
	for i := range m.Case.Loggers {
		if l := &m.Case.Loggers[i]; m.Case.At(roof.OutdoorAir)[0].ID == l.Fitted[0].Position {
			id, l.Station, l.Interval = l.ID, &roof.Station{DistanceKM: &km, HeightDifferenceM: &up}, time.Hour
		}
	}
	biasC, biasPct := 0.4*r.NormFloat64(), 3*r.NormFloat64()
	driftC, driftPct, hour := 0.0, 0.0, time.Time{}
	m.Readings = slices.DeleteFunc(m.Readings, func(x roof.Reading) bool {
		if x.Logger != id {
			return false
		}
		if h := x.At.Truncate(time.Hour); h.Equal(hour) {
			return true
		} else {
			hour = h
		}
		return false
	})
	for i := range m.Readings {
		x := &m.Readings[i]
		if x.Logger != id {
			continue
		}
		driftC += -driftC/12 + 0.6*math.Sqrt(2.0/12)*r.NormFloat64()
		driftPct += -driftPct/12 + 4*math.Sqrt(2.0/12)*r.NormFloat64()
		if t, ok := x.Values.Get(roof.TempC); ok {
			x.Values.Set(roof.TempC, t-lapseKPerM*up+biasC+driftC)
		}
		if rh, ok := x.Values.Get(roof.RHPct); ok {
			x.Values.Set(roof.RHPct, math.Min(math.Max(rh+biasPct+driftPct, 5), 100))
		}
	}
}
