package words

import (
	"fmt"
	"math"
)

// NeedKind says what is missing for a verdict on a repair.
type NeedKind int

// What a verdict can need.
const (
	NightsAfter    NeedKind = iota // none has passed
	OtherEvidence                  // beyond these loggers
	FittedLoggers                  // nothing was read
	ReadingsAfter                  // the record ends before the repair, on Day
	ReadingsBefore                 // it begins after it, on Day
	NoNightsBefore                 // none is usable
	MoreBefore                     // Least are wanted, Have are usable
	MoreAfter                      // Least are wanted, Have so far, the first Left count nothing
	AnyWeather                     // in which water forms: the unrepaired roof would have been dry as well
	ColdWeather                    // too little would have wetted the unrepaired roof: MeanH, of Least wanted
	UsualPhysics                   // the model does not fit
	LikeWeather                    // before and after hardly overlap
	LargerChange                   // too small for more nights to tell
	SecondWinter                   // more nights of this one will not do
	MoreEvenings                   // the same answer again
	NextWinter                     // the winter is over
	ColdNights                     // about Least more
	ColderLoft                     // the loft's temperature does not show the ceiling's change
)

// Need is what would settle the verdict on a repair.
type Need struct {
	Kind               NeedKind
	Least, Have, Left  int
	MeanH, LowH, HighH float64 // wet hours of the unrepaired roof since the repair, 95 %
	Day                string
	Exchanged          bool // a logger was, about the time of the repair
}

// String is the need as a clause.
func (n Need) String() string {
	if n.Exchanged {
		n.Exchanged = false
		return n.String() + "; check the old and new logger side by side"
	}
	switch n.Kind {
	case NightsAfter:
		return "nights after the repair"
	case OtherEvidence:
		return "another kind of evidence: this kind of work cannot be judged from these loggers; measured hours are shown"
	case FittedLoggers:
		return "readings of fitted loggers"
	case ReadingsAfter:
		return "readings after the repair: the record ends on " + n.Day + ", before it"
	case ReadingsBefore:
		return "nights before the repair, or a second roof or bay left untouched: the record begins on " + n.Day +
			", after it"
	case NoNightsBefore:
		return "nights before the repair, or a second roof or bay left untouched"
	case MoreBefore:
		are := "are"
		if n.Have == 1 {
			are = "is"
		}
		return fmt.Sprintf("at least %d well-observed nights before the repair (%s %s usable); without them a second "+
			"roof or "+
			"bay left untouched", n.Least, Count(n.Have, "night"), are)
	case MoreAfter:
		return fmt.Sprintf("%s after the repair (%d of %d so far; the first %d after the work are left out)",
			Count(n.Least-n.Have, "more well-observed night"), n.Have, n.Least, n.Left)
	case AnyWeather:
		return "cold, clear nights: there was no weather for water to form since the repair; unrepaired, the roof would " +
			"have been dry as well"
	case ColdWeather:
		return fmt.Sprintf("more cold, clear nights: since the repair the unrepaired roof would have been wet for %s h "+
			"(%s to %s h with 95 %% certainty), and the verdict asks for %d h", Hours(n.MeanH), Hours(n.LowH), Hours(n.HighH),
			n.Least)
	case UsualPhysics:
		return "the readings do not follow the usual physics of this roof: check logger places"
	case LikeWeather:
		return "nights after the repair as cold and as clear as those before it: the two periods hardly overlap"
	case ColderLoft:
		return "the same answer by the loft’s temperature: humidity shows a change of the ceiling, and the warmth that " +
			"comes through it does not yet"
	case LargerChange:
		return "no change of a size that more nights would make certain shows so far"
	case SecondWinter:
		return "more nights of this winter will not make it firm; a second winter, an untouched bay with loggers, or " +
			"loggers " +
			"checked against a salt would"
	case MoreEvenings:
		return "the same answer on more evenings running, with the counted hours agreeing"
	case NextWinter:
		return "the nights of next winter"
	case ColdNights:
		return fmt.Sprintf("about %d more cold nights", n.Least)
	}
	return ""
}

// FewWet says why neither wet hours nor water are given beside the hours at risk.
func FewWet(unrepairedH float64, least int) string {
	return fmt.Sprintf("unrepaired, the roof would have been wet for only %s h since the repair: no fall of the wet "+
		"hours or of the water is given under %d h, only that of the hours at risk", Hours(unrepairedH), least)
}

// Moved says a fall on the hours at risk as the reason of a verdict: this came out
// on so many evenings running.
func (c Change) Moved(evenings int) string {
	return fmt.Sprintf("%s; this came out on the last %d evenings on which it was worked out", c.Clause(), evenings)
}

// Untold says that a change is not told from none.
func (c Change) Untold() string {
	if c.Open() {
		return c.Clause().String()
	}
	return c.Clause().String() + "; the rule asks for more than that"
}

// WaterAgainstHours says whether work moved the water or the hours; "" where both
// moved alike.
func WaterAgainstHours(water, hours Change) string {
	const apartPct = 15.0 // less is not worth a sentence
	w, h := *water.Pct, *hours.Pct
	said := ""
	switch rose := w < 0 && h < 0; {
	case w-h > apartPct && rose:
		said = fmt.Sprintf("%s %s, %s %s: the hours rose by more than the water", WetHours, hours.Way(), Water, water.Way())
	case h-w > apartPct && rose:
		said = fmt.Sprintf("%s %s, %s %s: the water rose by more than the hours", Water, water.Way(), WetHours, hours.Way())
	case w-h > apartPct:
		said = fmt.Sprintf("%s %s, %s %s: less water more than fewer hours", Water, water.Way(), WetHours, hours.Way())
	case h-w > apartPct:
		said = fmt.Sprintf("%s %s, %s %s: fewer hours more than less water (a better ventilated void also brings outdoor "+
			"moisture on clear nights)", WetHours, hours.Way(), Water, water.Way())
	default:
		return ""
	}
	if *water.Low <= h && h <= *water.High {
		said += fmt.Sprintf("; the interval of the water, between %s, is too wide to make sure of that", water.Between())
	}
	return said
}

// Companion says how many hours at risk were counted of a hundred that the model
// expected, before the repair and after it.
func Companion(before, after float64) string {
	return fmt.Sprintf("of every 100 hours at risk that the unrepaired roof was expected to have, %.0f were counted "+
		"before "+
		"the repair and %.0f after it", 100*before, 100*after)
}

// LikeNights compares nights without the model.
func LikeNights(n int, counted, model Change, agree bool) string {
	if !counted.Known() {
		return "the nights cannot be compared directly: " + Count(n, "night") + " after the repair had a like before it"
	}
	said := fmt.Sprintf("each of %s after the repair, set against the nights before most like it in temperature, sky, "+
		"outdoor and indoor vapour: measured %s", Count(n, "night"), counted.Clause())
	if agree {
		return said + "; the two intervals overlap"
	}
	return fmt.Sprintf("%s; the two disagree: by the model, which follows the drying of timber and the films too, they %s",
		said, model.Way())
}

// HouseholdAir says how the vapour of the rooms' air above outdoors, in Pa,
// changed with the repair.
func HouseholdAir(beforePa, afterPa float64) string {
	said := fmt.Sprintf("the household’s air carried %s Pa more vapour than outdoor air before the repair and %s Pa after",
		Whole(beforePa), Whole(afterPa))
	if beforePa > 0 {
		if change := 100 * (afterPa/beforePa - 1); math.Abs(change) >= ChangePct {
			more := "more"
			if change < 0 {
				more = "less"
			}
			said += fmt.Sprintf(" (%.0f %% %s)", math.Abs(change), more)
		}
	}
	return said + "; both runs of the model carry that"
}
