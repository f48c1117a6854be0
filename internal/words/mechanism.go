package words

import (
	"fmt"
	"math"
	"time"
)

// ExchangeKind is the contract's verdict on one quantity that a repair can have
// changed.
type ExchangeKind string

// The three verdicts on an exchange.
const (
	Changed         ExchangeKind = "changed"
	ExchangeUnshown ExchangeKind = "no_change_shown"
	ExchangeEarly   ExchangeKind = "too_early"
)

// String is the verdict for a table.
func (k ExchangeKind) String() string { return Key(string(k)) }

// ExchangeWant says why nothing can be said of an exchange yet.
type ExchangeWant int

// Why an exchange is not judged.
const (
	WantNothing       ExchangeWant = iota
	WantPlace                      // no temperatures of Place
	WantHoursBefore                // Have usable hours, Least wanted
	WantHoursAfter                 // the same after
	WantAfter                      // no day has passed
	WantLikeWeather                // outdoor air was ColderK colder (warmer below 0) than before
	WantCold                       // it is too warm outdoors for the loft's balance
	WantLoggerInPlace              // the void's logger was moved
	WantWordOnLogger               // the covering was lifted: nobody says that the logger kept its place
	WantSecondWitness              // humidity and temperature do not agree, or one is silent
	WantModel                      // the humidity model cannot be fitted
	WantMore                       // nothing shown so far, and not excluded either
	WantWetSpot                    // water coming in
)

// Exchange is what a repair changed of a roof's exchange of air, or of water
// coming in. Where a figure could not be had it is nil.
type Exchange struct {
	What     string // the contract's: void_ventilation, loft_ventilation, ceiling, water_entry
	Place    string // in words where there are several: of the batten void (void-2)
	Kind     ExchangeKind
	Credited bool
	Noticed  bool // met its condition without being credited
	At       time.Time
	Zone     *time.Location

	Factor, Low, High *float64
	Before, After     *float64 // outdoor air's share in the void's temperature
	Since             int      // evenings after the repair at which it became sure
	Nights            int      // looked at
	From              string   // path of the figures in the assessment; "" none
	Together          bool     // loft and ceiling were changed at one time
	LessHeat          bool     // the ceiling lets less heat through; whether less air is not shown

	Want        ExchangeWant
	Have, Least int
	ColderK     float64
	Missing     string // the place that is not logged, in words
	Leak        *Leak  // of water coming in
	Blind       bool   // changed, by void, covering and loft alone: the way is known, not how far
	More        bool   // of a blind change: it exchanges more air than before
}

// Outdoors is the place that a station's series can fill.
const Outdoors = "outdoors"

// Subject is what exchanges: the void, the loft, the ceiling.
func (x Exchange) Subject() string {
	switch x.What {
	case "void_ventilation":
		if x.Place != "" {
			return x.Place
		}
		return "the void"
	case "loft_ventilation":
		return "the loft"
	case "ceiling":
		return "the ceiling"
	}
	return "the roof"
}

// Figure is what is measured: the exchange of the void with outdoor air.
func (x Exchange) Figure() string {
	switch x.What {
	case "ceiling":
		return "air through the ceiling"
	case "water_entry":
		return "water coming in"
	}
	return "exchange of " + x.Subject() + " with outdoor air"
}

// known reports that the factor and its interval could be had.
func (x Exchange) known() bool { return x.Factor != nil && x.Low != nil && x.High != nil }

// times is a factor as people count: 15, 2.4, 0.3.
func (x Exchange) times(i int, v float64) Run {
	path := [...]string{"factor", "low", "high"}[i]
	if x.From == "" {
		return Run{Words: Times(v)}
	}
	return Run{Words: Times(v), From: x.From + "." + path, Scale: 1}
}

// FactorText is the factor for a table: 15.
func (x Exchange) FactorText() Text {
	if !x.known() {
		return Say("–")
	}
	return Text{x.times(0, *x.Factor)}
}

// IntervalText is its interval: 4.0 to 57.
func (x Exchange) IntervalText() Text {
	if !x.known() {
		return Say("–")
	}
	return Say("%s to %s", x.times(1, *x.Low), x.times(2, *x.High))
}

// RoundTimes keeps of a factor what it is known to: two figures.
func RoundTimes(v float64) float64 {
	p := math.Pow10(timesDecimals(v))
	if v >= 9.5 {
		p = math.Pow10(1 - int(math.Log10(max(v, 10))))
	}
	return math.Round(v*p) / p
}

func timesDecimals(v float64) int {
	switch {
	case v < 0.995:
		return 2
	case v < 9.5:
		return 1
	}
	return 0
}

// Times is a factor as printed: 15, 2.4, 0.31.
func Times(v float64) string {
	if v < 0.01 {
		return "under 0.01"
	}
	return Fixed(RoundTimes(v), timesDecimals(v))
}

// part is a share of 0..1 with two decimals; nothing is printed as 0.00.
func part(x float64) string {
	if x < 0.005 {
		return "under 0.01"
	}
	return Fixed(x, 2)
}

// Sentence is the verdict with its figure and how sure it is. It says nothing of
// wet hours but that they are another question.
func (x Exchange) Sentence() Text {
	switch {
	case x.Leak != nil:
		return Say("%s", x.Leak.Sentence())
	case x.Noticed:
		return Say("Noticed, not caused: %s The case file does not credit the work with it, so it may have come of the "+
			"weather, the household or another change.", x.change())
	case x.Kind == Changed:
		t := Say("%s Whether fewer hours are wet is another question.", x.change())
		if x.Together {
			t = append(t, Say(" Loft and ceiling were changed at one time: read the two together.")...)
		}
		if x.What == "void_ventilation" {
			t = append(t, Say(" It holds if the void's logger sits where it sat before.")...)
		}
		return t
	case x.Kind == ExchangeUnshown:
		return x.unshown()
	}
	return Say("It is too early to say what the work of %s did to the %s: %s.", Date(x.At, x.Zone), x.Figure(),
		x.want())
}

// change is the sentence on a change that is sure.
func (x Exchange) change() Text {
	if x.Blind {
		return Say("Since the work of %s %s exchanges %s air with outdoors than before, sure since night %s, by the "+
			"temperatures of void, covering and loft alone; how much %s cannot be told without outdoor air.",
			Date(x.At, x.Zone), x.Subject(), map[bool]string{true: "more", false: "less"}[x.More], fmt.Sprint(x.Since),
			map[bool]string{true: "more", false: "less"}[x.More])
	}
	if !x.known() {
		return Say("The %s changed with the work of %s, sure since night %s.", x.Figure(), Date(x.At, x.Zone),
			fmt.Sprint(x.Since))
	}
	up := *x.Factor > 1
	if x.What == "loft_ventilation" || *x.Low < 1 && *x.High > 1 {
		more := map[bool]string{true: "more", false: "less"}[up]
		t := Say("Since the work of %s %s exchanges %s air with outdoors than "+
			"before", Date(x.At, x.Zone), x.Subject(), more)
		if x.What == "ceiling" {
			t = Say("Since the work of %s the ceiling lets %s air through than before", Date(x.At, x.Zone), more)
		}
		return append(t, Say(", sure since night %s; how much %s is known only roughly (about %s times, 95 %: %s to %s).",
			fmt.Sprint(x.Since), more, x.times(0, *x.Factor), x.times(1, *x.Low), x.times(2, *x.High))...)
	}
	bound := Say("at least %s times", x.times(1, *x.Low))
	if !up {
		bound = Say("at most %s times", x.times(2, *x.High))
	}
	verb := map[bool]string{true: "exchanges", false: "exchanges only"}[up]
	with := " with outdoors as before"
	if x.What == "ceiling" {
		verb, with = map[bool]string{true: "lets through", false: "lets through only"}[up], " as before"
	}
	t := Say("Since the work of %s %s %s about %s times as much air%s (%s), sure since night %s", Date(x.At, x.Zone),
		x.Subject(), verb, x.times(0, *x.Factor), with, bound, fmt.Sprint(x.Since))
	if x.Before != nil && x.After != nil {
		t = append(t, Say(": outdoor air's share in the void's temperature went from %s to %s", part(*x.Before),
			part(*x.After))...)
	}
	return append(t, Run{Words: "."})
}

func (x Exchange) unshown() Text {
	heat := ""
	if x.LessHeat {
		heat = " Less heat comes through the ceiling; whether less air does is not shown."
	}
	switch x.What {
	case "loft_ventilation":
		return Say("No change of the %s is shown after %s. Of vents that gave a loft four times the air or more this "+
			"method finds about half, of blocked ones hardly any.", x.Figure(), Count(x.Nights, "night"))
	case "ceiling":
		return Say("No change of the %s is shown after %s: a change by a factor of four or more is excluded.%s", x.Figure(),
			Count(x.Nights, "night"), heat)
	}
	return Say("No change of the %s is shown after %s: a change by a factor of five or more is excluded. If the work "+
		"was meant to open it, look whether it is cut through.", x.Figure(), Count(x.Nights, "night"))
}

// Question asks after an opening that does not show in the air, a clause.
func (x Exchange) Question() string {
	if x.What == "void_ventilation" {
		return fmt.Sprintf("%s after the work of %s the exchange of %s with outdoor air shows no change, and one by a "+
			"factor of five or more is excluded: is the void cut through?", Count(x.Nights, "night"), Date(x.At, x.Zone),
			x.Subject())
	}
	return fmt.Sprintf("%s after the work of %s the vents do not air %s as far as humidity and temperature tell (about "+
		"half of good vents are not found this way): are they cut through?", Count(x.Nights, "night"), Date(x.At, x.Zone),
		x.Subject())
}

// want is what is missing, a clause.
func (x Exchange) want() string {
	switch x.Want {
	case WantPlace:
		if x.Missing == Outdoors {
			return "needed is outdoor temperature, which the imported series of a weather station gives as well (page Files), " +
				"for the past too"
		}
		return "needed is a temperature logger " + x.Missing
	case WantHoursBefore:
		return fmt.Sprintf("only %s before the work can be used, and %d are needed", Count(x.Have, "hour"), x.Least)
	case WantHoursAfter:
		return fmt.Sprintf("only %s since the work can be used, and %d are needed", Count(x.Have, "hour"), x.Least)
	case WantAfter:
		return "the first nights have to pass"
	case WantLikeWeather:
		way, k := "colder", x.ColderK
		if k < 0 {
			way, k = "warmer", -k
		}
		return fmt.Sprintf("outdoor air has been %s K %s than before the work; it can be told after weather like before",
			Whole(k), way)
	case WantCold:
		return "it is too warm outdoors; nights under 10 °C on both sides of the work are needed"
	case WantLoggerInPlace:
		return "the void's logger was taken out or moved, and a logger a little nearer the slot reads like a new " +
			"opening; " +
			"needed is the void's logger at its old place, or a second look at the other slope"
	case WantWordOnLogger:
		return "the covering was lifted for the work, and a logger put back a little nearer the slot reads like a new " +
			"opening; needed is the word that the void's logger sits exactly where it sat (key kept_in_place of the " +
			"repair), or a second look at the other slope"
	case WantSecondWitness:
		return "humidity and temperature must both show it, and only one of the two does or can"
	case WantModel:
		return "the model of the roof's moisture cannot be fitted to these readings: needed are outdoor air, indoor " +
			"air and " +
			"the loft's air, and 14 well-observed nights before the work"
	case WantWetSpot:
		return "loggers of air cannot tell whether a leak was stopped; needed is a wood-moisture reading at the wet spot " +
			"before and after, or a look after heavy rain"
	}
	text := "no change is shown so far, and a large one is not excluded either"
	if x.LessHeat {
		text += "; less heat comes through the ceiling, and whether less air does is not shown"
	}
	return text
}
