package words

import "fmt"

// OutdoorMissing is the cheapest thing that opens what nothing outdoors shuts.
const OutdoorMissing = "outdoor air: hourly temperature and humidity of the nearest weather station, imported on the " +
	"page Files and said there to be a station (its past readings count too), or an outdoor logger in the shade"

// The answers to whether a file is of a weather station, and what is asked then.
const (
	StationQuestion = "Is this a weather station that stands elsewhere?"
	StationNo       = "no: a logger at this house"
	StationYes      = "yes: it stands in for the air outdoors here"
	StationWrong    = "Of a weather station, the distance is in kilometres from 0 to 500, the height in metres " +
		"from -4000 to 4000; leave empty what is not known."
)

// StationNoted says that a logger was noted in the case file as a weather station.
func StationNoted(logger, position string, source string, km, aboveM *float64) string {
	return fmt.Sprintf("logger %s stands in the case file as %s, at the position %s from its first reading on",
		logger, Station(source, km, aboveM), position)
}

// StationKeep says that the author's own case file does not say what the kept one
// now says.
func StationKeep(file, logger, written string) string {
	return fmt.Sprintf(" (in the store; write station: %s at %s into %s too, or the next import takes it back)", written,
		logger, file)
}

// StationOnce says that a logger counts as a weather station in one assessment, whose
// case file does not say so.
func StationOnce(logger, position string, source string, km, aboveM *float64, written string) string {
	return fmt.Sprintf("logger %s counts here as %s, at the position %s from its first reading on; the case file is left "+
		"as it is: write station: %s at %s into it, or give the same flags again", logger, Station(source, km, aboveM),
		position, written, logger)
}

// StationOfSeveral says why a file cannot be a weather station's.
func StationOfSeveral(loggers int) string {
	return fmt.Sprintf("has %s, and a weather station is one", Count(loggers, "logger"))
}

// StationIndoors says why a logger cannot be a weather station.
func StationIndoors(logger string) string {
	return fmt.Sprintf("is of logger %s, which the case file has at a place that is not outdoors", logger)
}

// StationIndoorsRemedy says what to do then.
const StationIndoorsRemedy = "give the station a name of its own with -logger NAME"

// StationOfSeveralRemedy says what to do then.
const StationOfSeveralRemedy = "leave the flags -station-... out, and note in the case file which logger is a " +
	"station, as station: {distance_km: 12, height_difference_m: 80}"

// Station names a weather station by what is noted of it.
func Station(source string, km, aboveM *float64) string {
	where := "a weather station"
	if source != "" {
		where += fmt.Sprintf(" (%s)", source)
	}
	if km != nil {
		where += " " + Figure(*km) + " km away"
	}
	switch {
	case aboveM == nil:
	case *aboveM > 0:
		where += fmt.Sprintf(", %s m above the house", Whole(*aboveM))
	case *aboveM < 0:
		where += fmt.Sprintf(", %s m below the house", Whole(-*aboveM))
	}
	return where
}

// StationStandsIn says whose outdoor air an answer rests on; "" and nil are not
// noted.
func StationStandsIn(source string, km, aboveM *float64) string {
	where := Station(source, km, aboveM)
	if aboveM == nil {
		where += " (its height is not noted, so its temperature is used as it is)"
	}
	said := where + " stands in for outdoor air: the interval is wider and the bar higher for it"
	if km == nil {
		said += "; note its distance (key station.distance_km)"
	}
	return said
}
