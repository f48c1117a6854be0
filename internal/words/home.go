package words

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dewcase/internal/roof"
)

// Level says whose water it is that forms in a roof, as the alerts judge it.
type Level int

// The levels.
const (
	FromOutdoors Level = iota // dew on clear nights: no defect, nobody is rung
	NotTold                   // not told apart yet
	FromWithin                // from the house or the roof
)

// NightState is what one night was at a surface.
type NightState = roof.NightState

// The states of a night.
const (
	NotSeen    = roof.NotSeen
	DryNight   = roof.DryNight
	BrieflyWet = roof.BrieflyWet
	WetNight   = roof.WetNight
)

// Night is one night as a household reads it.
type Night struct {
	From  time.Time
	State NightState
	Frost bool // most of its water was frost
	WetH  float64
}

// Home says what the night was: wet for 3 hours, briefly wet, not seen.
func (n Night) Home() string {
	what := "wet"
	if n.Frost {
		what = "frost"
	}
	switch n.State {
	case WetNight:
		return what + " for " + DurationHours(math.Round(n.WetH))
	case BrieflyWet:
		if n.Frost {
			return "a little frost, for less than an hour"
		}
		return "briefly wet, for less than an hour"
	case DryNight:
		return "dry"
	}
	return "not seen"
}

// Consultant names a wet night for a table: wet, briefly wet, frost.
func (n Night) Consultant() string {
	what := "wet"
	if n.Frost {
		what = "frost"
	}
	if n.State == BrieflyWet {
		return "briefly " + what
	}
	return what
}

// Home is all that a household's page says of a roof: every sentence of the page
// is made of it, so that no two can contradict each other.
type Home struct {
	Zone   *time.Location
	Now    time.Time
	Heard  time.Time // newest reading, zero for none
	Where  string    // under the slates
	Wet    bool      // water or frost lies there now
	Frozen bool      // and it is frost
	Level  Level
	Chance *float64 // of water tonight, nil not known
	Nights []Night
	Cause  Cause
	Work   *Verdict // the latest repair, nil for none
	Held   bool     // its verdict was once that it worked
	Before []Night  // the last nights before the latest repair, as many as Nights
	Alerts []Alert  // in force, the most pressing first
}

// silentAfter is from how long without news the state of the roof is not known.
const silentAfter = 6 * time.Hour

// defect reports that the water comes from something wrong with the roof or the
// house, by the alerts' judgement or by the diagnosis.
func (h Home) defect() bool { return h.Level == FromWithin || h.Cause.Defect() }

func (h Home) news() bool { return !h.Heard.IsZero() && h.Now.Sub(h.Heard) <= silentAfter }

// past reports that none of the nights of the page lies within the record.
func (h Home) past() bool {
	return !h.Heard.IsZero() && h.Now.Sub(h.Heard) > 14*24*time.Hour
}

// what lies on the surface: frost, water, or dew where that is harmless.
func (h Home) what() string {
	switch {
	case h.Frozen:
		return "frost"
	case h.Level == FromOutdoors && !h.defect():
		return "dew"
	}
	return "water"
}

// Lead is the page's first sentence with what to do and to beware of now.
func (h Home) Lead() Saying {
	switch {
	case h.Heard.IsZero():
		return Saying{Lines: []string{"We have no news from your roof yet."}}
	case h.past():
		return Saying{Lines: []string{"We last heard from your roof on " + Date(h.Heard, h.Zone) + ".",
			"This page says what was known then."}, Do: []string{"Your roof consultant can see this too."}}
	case !h.news():
		return Saying{Lines: []string{"We have heard nothing from your roof for " + Duration(h.Now.Sub(h.Heard)) + "."},
			Do: []string{"Your roof consultant can see this too."}}
	}
	for _, a := range h.Alerts {
		switch a.Condition {
		case SuddenWetting, RepairFailing, FrostMelting:
			s := a.Home()
			s.Lines = s.Lines[:1]
			return s
		}
	}
	s := Saying{Lines: []string{"Your roof is dry now."}}
	if h.Wet {
		s.Lines = []string{"There is some " + h.what() + " " + h.where() + " now."}
		if h.Frozen {
			s.Lines[0] += " It may drip when it melts."
		}
	}
	switch {
	case h.defect() && (h.Wet || len(h.Alerts) > 0 || h.Cause.Repair.IsZero()):
		s.Do, s.Care = airing, care("loft", "electrics")
	case h.Wet && h.Level == NotTold, len(h.Alerts) > 0:
		s.Do, s.Care = airing, care("loft")
	default:
		s.Do = []string{nothingToDo}
	}
	return s
}

func (h Home) where() string {
	if h.Where == "" {
		return "in the roof"
	}
	return h.Where
}

// The hours of a house's clock between which the coming night is foretold: from
// the second on it has begun, and before the first the last one is not over.
const (
	foretoldFrom = 12
	foretoldTo   = 21
)

// Tonight is what the coming night will bring; "" once it has begun, and while
// water lies there already.
func (h Home) Tonight() string {
	now := h.Now
	if h.Zone != nil {
		now = now.In(h.Zone)
	}
	switch {
	case now.Hour() < foretoldFrom || now.Hour() >= foretoldTo, h.news() && h.Wet:
		return ""
	case h.Chance == nil && h.past():
		return "We cannot say how tonight will be."
	case h.Chance == nil:
		return "We cannot say yet how tonight will be."
	}
	rate := " It does on " + Chance(*h.Chance) + "."
	switch p := *h.Chance; {
	case p < 0.2:
		return "Tonight will most likely stay dry. Water forms on " + Chance(p) + "."
	case p < 0.5:
		return "Water may form " + h.where() + " tonight." + rate
	case p < 0.8:
		return "Water is likely to form " + h.where() + " tonight." + rate
	}
	if *h.Chance < 0.9 {
		return "Water is very likely to form " + h.where() + " tonight." + rate
	}
	return "Water will almost surely form " + h.where() + " tonight." + rate
}

// Fortnight sums the last nights up, from the same nights as their list.
func (h Home) Fortnight() string {
	wet, frost, brief, seen := 0, 0, 0, 0
	least, most := math.Inf(1), 0.0
	for _, n := range h.Nights {
		switch n.State {
		case NotSeen:
			continue
		case BrieflyWet:
			brief++
		case WetNight:
			wet++
			least, most = min(least, math.Round(n.WetH)), max(most, math.Round(n.WetH))
			if n.Frost {
				frost++
			}
		}
		seen++
	}
	of := fmt.Sprintf("the last %s", Count(seen, "night"))
	if seen < len(h.Nights) {
		of = fmt.Sprintf("the %s that we saw", Count(seen, "night"))
	}
	span := fmt.Sprintf("%.0f to %.0f hours each", least, most)
	switch {
	case seen == 0 && h.past():
		return "We have not seen the last two weeks."
	case seen == 0:
		return "We have not seen a whole night yet."
	case wet == 0 && brief == 0:
		return "It stayed dry " + h.where() + " on " + of + "."
	case wet == 0:
		return fmt.Sprintf("It was briefly wet %s on %d of %s, for less than an hour.", h.where(), brief, of)
	case wet == 1:
		span = DurationHours(most)
	case least == most:
		span = DurationHours(most) + " each"
	}
	out := fmt.Sprintf("It was wet %s on %d of %s, for %s.", h.where(), wet, of, span)
	switch {
	case frost == wet:
		out += " It was frost each time."
	case frost > 0:
		out += fmt.Sprintf(" On %d of them it was frost.", frost)
	}
	if brief > 0 {
		out += fmt.Sprintf(" On %d more it was briefly wet.", brief)
	}
	return out
}

// Better sets the last nights before the work beside the last two weeks, each
// with its own count; "" without a work, or where one of the two was not seen.
func (h Home) Better() string {
	count := func(nights []Night) (said string, seen int) {
		wet, hours := 0, 0.0
		for _, n := range nights {
			switch n.State {
			case NotSeen:
				continue
			case WetNight:
				wet++
			}
			seen++
			hours += n.WetH
		}
		return fmt.Sprintf("it was wet on %d of %s, %s in all", wet, Count(seen, "night"),
			Count(int(math.Round(hours)), "hour")), seen
	}
	before, seen := count(h.Before)
	now, seenNow := count(h.Nights)
	if h.Work == nil || seen == 0 || seenNow == 0 {
		return ""
	}
	return "Before the work " + before + ". In the last two weeks " + now + ". The weather was not the same."
}

// Why is where the water comes from, no more and no less surely than the
// diagnosis says; "" while there is neither water nor a finding to explain.
func (h Home) Why() string {
	switch {
	case h.Cause.Finding == "":
		return ""
	case h.Level == FromWithin && !h.Cause.Defect():
		return Cause{Finding: Undetermined}.Home()
	}
	return h.Cause.Home()
}

// WorkDone is what the latest repair did; "" without one, or where an alert says
// it.
func (h Home) WorkDone() string {
	if h.Work == nil {
		return ""
	}
	failing := slices.ContainsFunc(h.Alerts, func(a Alert) bool { return a.Condition == RepairFailing })
	switch helped := h.Held || h.Work.Kind == Worked; {
	case helped && (failing && h.Work.Kind != GotWorse || h.Work.Kind == NoChangeShown):
		return "The work of " + Day(h.Work.At, h.Zone) + " helped at first. We cannot see that it still does."
	case failing && h.Work.Kind != GotWorse:
		return ""
	}
	return h.Work.Home()
}

// Found is one alert of the page in the household's words.
func (h Home) Found(a Alert) Saying {
	water := a.Condition == SurfaceWet || a.Condition == WetNights
	if water && h.Level == NotTold {
		return a.Note(h.Cause)
	}
	if a.Condition == SurfaceWet {
		a.Frozen = h.Frozen
	}
	return a.Home()
}

// Reached says how a household is reached: by its page, by mail.
func Reached(page, mail bool) string {
	switch {
	case page && mail:
		return "The household can open its page, and gets mail."
	case page:
		return "The household can open its page; it gets no mail."
	case mail:
		return "The household gets mail; it has no link to its page."
	}
	return "The household is not reached yet."
}
