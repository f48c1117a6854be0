package words

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Change is a fall in per cent, below zero a rise, with its 95 % interval. From
// and Scale of its figures are kept for who prints the assessment's own figures.
type Change struct {
	What           string // "wet hours"
	Pct, Low, High *float64
	From           [3]string // paths of the three; "" none
}

// The quantities of a verdict.
const (
	WetHours  = "wet hours"
	RiskHours = "hours at risk"
	Water     = "condensed water"
)

// Known reports that the change and its interval could be had.
func (c Change) Known() bool { return c.Pct != nil && c.Low != nil && c.High != nil }

// Open reports that the interval takes in no change.
func (c Change) Open() bool { return c.Known() && *c.Low < ChangePct && *c.High > -ChangePct }

// amount is one figure of the change as printed, without its sign.
func (c Change) amount(i int, x float64) Run {
	scale := 1.0
	if x < 0 {
		scale = -1
	}
	return Run{Words: Whole(math.Abs(x)), From: c.From[i], Scale: scale}
}

// bound is one end of an interval that goes both ways.
func (c Change) bound(i int, x float64) Text {
	switch WayOf(x) {
	case Fell:
		return Say("a fall of %s %", c.amount(i, x))
	case Rose:
		return Say("a rise of %s %", c.amount(i, x))
	default:
		return Say("no change")
	}
}

// Way says what happened: fell by 71 %, did not change.
func (c Change) Way() Text {
	way := WayOf(*c.Pct)
	if way == Same {
		return Say(way.String())
	}
	return Say("%s by %s %", way.String(), c.amount(0, *c.Pct))
}

// Between is the interval: 39 and 93 %, or a rise of 1 % and a fall of 80 %.
func (c Change) Between() Text {
	switch low, high := WayOf(*c.Low), WayOf(*c.High); {
	case low == Fell && high == Fell && WayOf(*c.Pct) == Fell:
		return Say("%s and %s %", c.amount(1, *c.Low), c.amount(2, *c.High))
	case low == Rose && high == Rose && WayOf(*c.Pct) == Rose:
		return Say("%s and %s %", c.amount(2, *c.High), c.amount(1, *c.Low))
	}
	return Say("%s and %s", c.bound(1, *c.Low), c.bound(2, *c.High))
}

// bracketed is the way with its interval behind it: fell by 54 % (95 %: 31 to 69 %).
func (c Change) bracketed() string {
	between := strings.Replace(c.Between().String(), " and ", " to ", 1)
	if way := WayOf(*c.Pct); way != Same && WayOf(*c.Low) == way && WayOf(*c.High) == way {
		low, high := math.Abs(*c.Low), math.Abs(*c.High)
		between = Interval(min(low, high), max(low, high)) + " %"
	}
	return fmt.Sprintf("%s (95 %%: %s)", c.Way(), between)
}

// Clause is the whole change: wet hours fell by 71 % in like weather; with 95 %
// certainty between 39 and 93 %. Empty where it could not be had.
func (c Change) Clause() Text {
	if !c.Known() {
		return nil
	}
	t := Say("%s %s in like weather; with 95 % certainty between %s", c.What, c.Way(), c.Between())
	if c.Open() {
		t = append(t, Run{Words: ", which takes in no change"})
	}
	return t
}

// VerdictKind is the contract's verdict.
type VerdictKind string

// The four verdicts.
const (
	Worked        VerdictKind = "worked"
	NoChangeShown VerdictKind = "no_change_shown"
	GotWorse      VerdictKind = "got_worse"
	TooEarly      VerdictKind = "too_early"
)

// String is the verdict for a table.
func (k VerdictKind) String() string { return Key(string(k)) }

// Verdict is what one repair did at one surface.
type Verdict struct {
	Kind             VerdictKind
	At               time.Time
	Zone             *time.Location
	Where            string // in words: under the covering
	Wet, Risk, Water Change
	Needs            string // what would settle it, a clause
	Leak             *Leak  // where the verdict is on a leak
}

// Falls are the quantities of a verdict, that which it rests on first.
func (v Verdict) Falls() []Change { return []Change{v.Risk, v.Wet, v.Water} }

// Headline is the verdict without its figures.
func (v Verdict) Headline() string {
	when := "the repair of " + Date(v.At, v.Zone)
	if v.Leak != nil {
		return v.Leak.said(when)
	}
	switch v.Kind {
	case Worked:
		return Upper(when + " worked " + v.Where)
	case GotWorse:
		return Upper(when + " made it worse " + v.Where)
	case NoChangeShown:
		return Upper(when + " has shown no change " + v.Where + " so far")
	}
	return "It is too early to say whether " + when + " worked " + v.Where
}

// lead is the quantity that stands first: the wet hours, unless their interval
// takes in no change. The verdict rests on the hours at risk.
func (v Verdict) lead() Change {
	if v.Risk.Known() && (!v.Wet.Known() || v.Kind != NoChangeShown && v.Wet.Open()) {
		return v.Risk
	}
	return v.Wet
}

// Sentence is the verdict with its figure and how sure it is.
func (v Verdict) Sentence() Text {
	head, first := Bold(v.Headline()), v.lead()
	switch {
	case v.Leak != nil:
		return Say("%s", v.Leak.Sentence())
	case v.Kind == TooEarly && v.Needs != "":
		return Say("%s. Needed: %s.", head, v.Needs)
	case v.Kind == TooEarly || !first.Known():
		return Say("%s.", head)
	case v.Kind == NoChangeShown && v.Wet.Known():
		return Say("%s; the best estimate is that %s.", head, v.Wet.Clause())
	}
	t := Say("%s: %s.", head, first.Clause())
	if wet := v.Wet; first.What != wet.What && wet.Known() {
		t = append(t, Say(" %s %s; with 95 % certainty between %s, which takes in no change.", Upper(wet.What), wet.Way(),
			wet.Between())...)
	}
	return t
}

// Brief is the verdict for a list: worked, wet hours fell by 71 %.
func (v Verdict) Brief() string {
	first := v.lead()
	if v.Kind == TooEarly || !first.Known() {
		return v.Kind.String()
	}
	return v.Kind.String() + ", " + first.What + " " + first.bracketed()
}

// Listed is the same with the nights that count before and after the repair.
func (v Verdict) Listed(before, after int) string {
	if v.Leak != nil {
		return v.Brief()
	}
	return fmt.Sprintf("%s; %s before and %d after count", v.Brief(), Count(before, "night"), after)
}

// Home is the verdict for the household, with the day of the work and its range
// in tenths.
func (v Verdict) Home() string {
	work := "The work of " + Day(v.At, v.Zone)
	if v.Leak != nil && v.Kind != TooEarly {
		return v.Leak.said(work) + "."
	}
	switch v.Kind {
	case Worked:
		if !v.Wet.Known() || WayOf(*v.Wet.Pct) != Fell {
			return work + " helped."
		}
		return fmt.Sprintf("%s helped: of ten wet hours it took away %s.", work, v.Wet.tenths())
	case GotWorse:
		return "The roof has got wetter since the work of " + Day(v.At, v.Zone) + ". Your roof consultant should look at it."
	case NoChangeShown:
		return work + " has made no change so far that we can see."
	}
	return "It is too early to say what the work of " + Day(v.At, v.Zone) + " has done. We need more cold nights."
}

// tenths is a fall out of ten as people count: about seven, about four to nine, about
// eight or more.
func (c Change) tenths() string {
	tenth := func(pct float64) int { return min(max(int(math.Round(pct/10)), 0), 10) }
	low, high := tenth(*c.Low), tenth(*c.High)
	switch {
	case high == 0:
		return "less than one"
	case low == high:
		return "about " + small[high]
	case low == 0:
		return "up to " + small[high]
	case high == 10:
		return "about " + small[low] + " or more"
	}
	return "about " + small[low] + " to " + small[high]
}

var small = [...]string{"none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"}
