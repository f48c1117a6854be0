package words

import "fmt"

// OutdoorMissing is the cheapest thing that opens what nothing outdoors shuts.
const OutdoorMissing = "outdoor air: hourly temperature and humidity of the nearest weather station, imported on the " +
	"page Files as a logger outdoors with its key station (its past readings count too), or an outdoor logger in the " +
	"shade"

// StationStandsIn says whose outdoor air an answer rests on; nil is not noted.
func StationStandsIn(km, aboveM *float64) string {
	where := "a weather station"
	if km != nil {
		where += " " + Figure(*km) + " km away"
	}
	switch {
	case aboveM == nil:
		where += " (its height is not noted, so its temperature is used as it is)"
	case *aboveM > 0:
		where += fmt.Sprintf(", %s m above the house", Whole(*aboveM))
	case *aboveM < 0:
		where += fmt.Sprintf(", %s m below the house", Whole(-*aboveM))
	}
	said := where + " stands in for outdoor air: the interval is wider and the bar higher for it"
	if km == nil {
		said += "; note its distance (key station.distance_km)"
	}
	return said
}
