package words

import (
	"math"
	"strings"
	"time"
)

// curves name the quantities that a chart can show, by their keys in its address.
var curves = map[string]string{
	"temp":              "temperature",
	"rh":                "relative humidity",
	"dew_point":         "dew point",
	"frost_point":       "frost point",
	"vapour_pressure":   "vapour pressure",
	"absolute_humidity": "absolute humidity",
	"margin":            "margin",
	"margin_unrepaired": "margin without the repair",
	"vapour_excess":     "vapour pressure over outdoors",
	"wood":              "wood moisture",
	"rain":              "rain",
	"wind":              "wind",
	"sun":               "sun",
}

// Curve names a quantity of a chart by its key.
func Curve(key string) string { return curves[key] }

// marked are the figures of the diagnosis as they stand in a chart, by the short
// names of the method; %s is the figure with its unit.
var marked = map[string]struct {
	words, unit string
	scale       float64
	decimals    int
}{
	"El":     {"mean: %s over outdoors", "Pa", 1, 0},
	"lflux":  {"the loft gives off about %s of moisture", "g/m³ a day", 1, 1},
	"src":    {"beyond what house air explains: %s of the house's excess", "%", 100, 0},
	"lHu":    {"wet under the underlay: %s", "h a month", 1, 0},
	"rh90":   {"above 90 %RH: %s", "h a month", 1, 0},
	"ElB":    {"mean: the loft %s over the batten void", "Pa", 1, 0},
	"wo":     {"the loft follows %s of a quick change outdoors", "%", 100, 0},
	"sb":     {"set by wet wood or a source of its own: %s of the loft's vapour", "%", 100, 0},
	"heat":   {"loft over underlay by house over loft, at night: %s", "", 1, 3},
	"wiZ":    {"the loft follows %s of a quick change indoors", "%", 100, 1},
	"vo":     {"the void follows %s of outdoor changes", "%", 100, 0},
	"lHc":    {"wet at the covering: %s", "h a month", 1, 0},
	"where":  {"wet at or below 0 K: at the covering against under the underlay", "", 0, 0},
	"uc":     {"on clear nights %s below outdoor air", "K", 1, 1},
	"rt":     {"rank correlation of the excess with time: %s", "", 1, 2},
	"decay":  {"at equal temperature %s a month", "%", 100, 0},
	"decayI": {"at equal temperature %s a month", "%", 100, 0},
}

// Marked is a figure of the diagnosis as it stands in a chart, with twice its
// standard uncertainty where that is known; "" for a short name of no figure. A
// rate of growth is told in per cent, as its line tells it.
func Marked(feature string, figure float64, accuracy *float64) string {
	m, ok := marked[feature]
	if !ok {
		return ""
	}
	switch feature {
	case "decay", "decayI":
		figure = math.Expm1(figure)
	case "wo", "vo": // less than nothing is followed by chance alone
		figure = math.Max(figure, 0)
	}
	s := strings.TrimSpace(signed(m.scale*figure, m.decimals) + " " + m.unit)
	if accuracy != nil {
		s += " (" + Give(m.scale**accuracy, m.decimals, "") + ")"
	}
	return strings.Replace(m.words, "%s", s, 1)
}

// NightCourse is the course of a quantity over like nights, before a repair and
// after it.
type NightCourse struct {
	Quantity      string
	Where         string
	Unit          string
	Lowest        bool // the figures are the lowest of the mean course, else its mean
	Before, After float64
	Nights        [2]int
	Decimals      int
}

// String says what the nights show.
func (c NightCourse) String() string {
	of := "mean"
	if c.Lowest {
		of = "lowest mean"
	}
	return "On nights of like weather, " + Int(c.Nights[0]) + " before and " + Int(c.Nights[1]) + " after, the " + of +
		" " +
		c.Quantity + " (" + c.Where + ") was " + signed(c.Before, c.Decimals) + " " + c.Unit + " before and " +
		signed(c.After, c.Decimals) + " " + c.Unit + " after."
}

// LeftOut says how much of a record a person left out of all evidence, in how
// many stretches.
func LeftOut(hours float64, stretches int) string {
	return Hours(hours) + " h of the record are left out by hand, in " + Count(stretches, "part") +
		": they are no data, and no figure rests on them."
}

// LeftOutStretch names one stretch left out, where "" is everywhere, with its
// reason.
func LeftOutStretch(from, to time.Time, zone *time.Location, where, reason string) string {
	if where == "" {
		where = "every position"
	}
	return "left out by hand: " + where + ", " + Moment(from, zone) + " to " + Moment(to, zone) + ": " + reason
}
