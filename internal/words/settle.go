package words

import "dewcase/internal/roof"

// Settle is what further loggers, or a look at the house, would do for the name of
// the cause.
type Settle struct {
	Places []roof.Place // loggers there; nil: a look
	Look   string       // key of the case file that the look fills
	Now    float64      // chance that a true cause is named as it stands
	Then   float64      // and with that over the same nights
}

var settlePlace = map[roof.Place]string{
	roof.OutdoorAir: "outdoors in the shade", roof.IndoorAir: "in an upstairs room", roof.LoftAir: "in the loft",
	roof.BattenVoidAir: "in the batten void", roof.CoveringUnderside: "under the covering",
	roof.UnderlayUnderside: "under the underlay",
}

var settleLook = map[string]string{
	"openings_mm.loft_eaves": "How far the loft is open at the eaves, seen from inside",
	"underlay.class":         "The underlay’s class, from its label or a maker’s sheet",
	"covering.air":           "Whether the covering lets air through",
	"completed":              "The day the building was handed over",
}

// SettlePlaces lists places for loggers: in the batten void and outdoors.
func SettlePlaces(places []roof.Place) string {
	var at []string
	for _, p := range places {
		at = append(at, settlePlace[p])
	}
	return List(at)
}

// Check is what to fit or to see.
func (s Settle) Check() string {
	switch len(s.Places) {
	case 0:
		return settleLook[s.Look]
	case 1:
		return "A logger " + SettlePlaces(s.Places)
	}
	return "Loggers " + SettlePlaces(s.Places)
}

// Sentence is the check and its gain.
func (s Settle) Sentence() Text {
	when := " over nights like these"
	if len(s.Places) == 0 {
		when = ""
	}
	return Say("%s: the cause would be named, and rightly, in %s such houses%s; as it stands in %s.", s.Check(),
		Bold(InTen(s.Then)), when, InTen(s.Now))
}

// Narrower is what a check of one logger does for the hours wet at a surface: from
// and to are the 95 % interval as it is and after the check, h.
type Narrower struct {
	Surface, Logger             string
	Humidity                    bool // over a salt solution; else a temperature in ice water
	FromLow, FromHigh           float64
	CheckedLow, CheckedHigh     float64
	AtFrom, AtTo, AtLow, AtHigh string // paths of the figures
}

// Sentence is the check and how far it narrows the interval.
func (n Narrower) Sentence() Text {
	check := "A check of " + n.Logger + " in ice water"
	if n.Humidity {
		check = "A salt check of " + n.Logger
	}
	h := func(x float64, at string) Run { return Run{Words: Hours(x), From: at} }
	return Say("%s would narrow the 95 % interval of the wet hours %s from %s to %s h to %s to %s h: %s.", check,
		n.Surface, h(n.FromLow, n.AtFrom), h(n.FromHigh, n.AtTo), h(n.CheckedLow, n.AtLow), h(n.CheckedHigh, n.AtHigh),
		narrowed(n.Share()))
}

// Share is the width that is left of the interval.
func (n Narrower) Share() float64 { return (n.CheckedHigh - n.CheckedLow) / (n.FromHigh - n.FromLow) }

func narrowed(share float64) string {
	switch {
	case share <= 0.38:
		return "a third of it or less is left"
	case share <= 0.55:
		return "half of it is left"
	case share <= 0.8:
		return "about " + Percent(share) + " % of it is left"
	}
	return "little is gained"
}

// Kit is what loggers at the places tell of the cause in one winter.
func Kit(places []roof.Place, right float64) string { return fitted(places) + named(right) }

// KitBeside is the same with further loggers beside those named.
func KitBeside(places []roof.Place, right float64) string {
	return fitted(places) + " as well" + named(right)
}

// KitEnough says that no further logger is worth its price for the cause.
const KitEnough = "No further logger would raise that by one house in ten; what is still unknown of the roof may, " +
	"once somebody looks."

func fitted(places []roof.Place) string { return Settle{Places: places}.Check() }

func named(right float64) string {
	return ": the cause would be named, and rightly, in " + InTen(right) + " houses."
}
