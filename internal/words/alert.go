package words

import (
	"fmt"
	"math"
	"time"
)

// The conditions that alerts are raised for, by their keys.
const (
	SurfaceWet    = "surface_wet"
	WetNights     = "wet_nights"
	FrostMelting  = "frost_melting"
	MouldRising   = "mould_rising"
	TimberWet     = "timber_wet"
	SuddenWetting = "sudden_wetting"
	RepairFailing = "repair_not_holding"
	WorkUnseen    = "work_not_seen"
	LoggerSilent  = "logger_silent"
	BatteryLow    = "battery_low"
	Implausible   = "readings_implausible"
	ClockWrong    = "clock_wrong"
	DaemonTrouble = "daemon_trouble"
)

var titles = map[string]string{SurfaceWet: "surface wet now", WetNights: "run of wet nights",
	FrostMelting: "frost melting, drip likely", MouldRising: "mould may be growing", TimberWet: "timber damp",
	SuddenWetting: "sudden damp that the cold does not explain, possibly a leak", RepairFailing: "repair not holding",
	WorkUnseen:   "an opening that was made does not show in the air",
	LoggerSilent: "logger silent", BatteryLow: "battery low", Implausible: "readings that can hardly be right",
	ClockWrong: "logger’s clock wrong", DaemonTrouble: "trouble with this program"}

// tasks say who should do what about each condition.
var tasks = map[string]string{
	SurfaceWet:    "You: look by day whether water has run or dripped. The household: keep bath and kitchen doors shut.",
	WetNights:     "You: read what the cause is and what would help, and plan the work.",
	FrostMelting:  "The household: look at the ceilings for wet spots. You: ask whether it dripped.",
	MouldRising:   "You: look for mould at the place, and leave it unbrushed.",
	TimberWet:     "You: measure the wood at the place with a meter, and look for water getting in.",
	SuddenWetting: "The household: look for a leak now. You: call them, and send a plumber or a roofer.",
	RepairFailing: "You: look at the work together with the contractor.",
	WorkUnseen:    "The contractor: look whether the openings are cut through and clear.",
	LoggerSilent:  "You: look whether the logger is in its place, in range and has a battery, or have the household look.",
	BatteryLow:    "You: change the battery at the next visit.",
	Implausible:   "You: look at the probe, then set the logger beside another.",
	ClockWrong:    "You: set the logger’s clock.",
	DaemonTrouble: "Your administrator: put right what it says; the log has more.",
}

// AlertTask says who should do what about a condition.
func AlertTask(condition string) string { return tasks[condition] }

// AlertTitle names a condition for the consultant.
func AlertTitle(condition string) string { return titles[condition] }

// Alert is one thing that somebody is told of.
type Alert struct {
	Condition    string
	Position     string
	Where        string // for a household: under the slates; "" in the roof
	Spot         string // for the consultant, with its id
	Detail       string // for the consultant, with figures
	Frozen       bool   // what lies there now is frost
	WetHours     float64
	Nights, Seen int     // wet nights of the last seven, and nights seen
	WoodPct      float64 // of a damp timber
	Since        time.Time
	Zone         *time.Location
}

// Line says an alert in one sentence for the consultant. The time is that of a
// wetting's or a silence's beginning, but of what builds up over nights only when
// it had gone far enough.
func (a Alert) Line() string {
	out := AlertTitle(a.Condition)
	switch {
	case a.Spot != "":
		out += ", " + a.Spot
	case a.Position != "":
		out += " (" + a.Position + ")"
	}
	if a.Detail != "" {
		out += ": " + a.Detail
	}
	if !a.Since.IsZero() {
		began := ", since "
		if a.Condition == WetNights || a.Condition == MouldRising {
			began = ", raised "
		}
		out += began + at(a.Since, a.Zone, "Mon 2 Jan 2006 15:04")
	}
	return Upper(out) + "."
}

// Saying is what a household reads: what is so, what to do, what to beware of.
type Saying struct {
	Subject         string
	Lines, Do, Care []string
}

// HomeCautions are a household's cautions, each with the hazard of the trade's
// list (internal/roof/caution) that it puts into plain words.
var HomeCautions = map[string]struct{ Hazard, Words string }{
	"loft": {"loft footing", "Do not go into the loft in the dark or when it is wet."},
	"roof": {"falls", "Never climb on the roof."},
	"electrics": {"electrics", "If water is near a light or a wire, switch the power off first. Then call an " +
		"electrician."},
	"ceiling": {"structure", "Stay away from a ceiling that hangs down. Call a builder."},
}

func care(keys ...string) (out []string) {
	for _, k := range keys {
		out = append(out, HomeCautions[k].Words)
	}
	return out
}

var airing = []string{"Keep bath and kitchen doors shut and run the fans.", "Keep the loft hatch shut."}

const nothingToDo = "There is nothing you need to do."

func (a Alert) where() string {
	if a.Where == "" {
		return "in the roof"
	}
	return a.Where
}

func (a Alert) what() string {
	if a.Frozen {
		return "frost"
	}
	return "water"
}

// notBegun is from how many hours on a wetting has no longer just begun.
const notBegun = 6

// Home says what the alert means for the household.
func (a Alert) Home() Saying {
	at := a.where()
	switch a.Condition {
	case SurfaceWet:
		s := Saying{Subject: "water forms in the roof", Do: airing, Care: care("loft", "electrics"),
			Lines: []string{Upper(a.what()) + " has begun to form " + at + "."}}
		if a.WetHours >= notBegun {
			s.Lines = []string{"There is " + a.what() + " " + at + " now."}
		}
		if a.Frozen {
			s.Lines = append(s.Lines, "It may drip when it melts.")
		}
		return s
	case WetNights:
		return Saying{Subject: "wet nights in the roof",
			Lines: []string{fmt.Sprintf("Water formed %s on %d of the last %d nights.", at, a.Nights, max(a.Seen, a.Nights)),
				"It will come back on cold nights until the roof is put right."},
			Do: append([]string{"Tell your roof consultant."}, airing...), Care: care("loft", "electrics")}
	case FrostMelting:
		return Saying{Subject: "frost melts in the roof and may drip",
			Lines: []string{"Frost " + at + " is melting.", "It may drip for some hours.",
				"It may do so after each hard frost."},
			Do:   []string{"Look at the ceilings below for wet spots.", "Put a bowl under a drip."},
			Care: care("loft", "electrics", "ceiling")}
	case MouldRising:
		return Saying{Subject: "mould may be growing in the roof",
			Lines: []string{"It has been damp and mild " + at + " for so long that mould may grow there."},
			Do:    []string{"Ask your roof consultant to look."}, Care: care("loft")}
	case TimberWet:
		return Saying{Subject: "the roof timber is damp",
			Lines: []string{"The wood in the roof holds about " + Whole(a.WoodPct) + " % water.",
				"Over 20 % for long can harm it."},
			Do: []string{"Ask your roof consultant to look."}, Care: care("loft")}
	case SuddenWetting:
		return Saying{Subject: "sudden damp in the roof: it may be a leak",
			Lines: []string{"The air in the roof got much damper at once.", "The cold does not explain it.",
				"It may be a leak from a pipe, a tank or the rain."},
			Do: []string{"Look at the ceilings for wet spots.", "If you see water, turn the water off.",
				"Then call a plumber or a roofer."}, Care: care("electrics", "ceiling", "loft")}
	case RepairFailing:
		return Saying{Subject: "the repair may not hold", Lines: []string{"The roof has got wetter again since the work."},
			Do: []string{"Tell your roof consultant and the builder."}, Care: care("roof", "loft")}
	}
	return Saying{Subject: "a note on the loggers",
		Lines: []string{"One of the loggers needs a look.", "Your roof consultant knows."}}
}

// Over says that an alert is over.
func (a Alert) Over() Saying {
	switch a.Condition {
	case SuddenWetting:
		return Saying{Subject: "the roof is drying", Lines: []string{"The damp that came at once has gone down."},
			Do: []string{"Ask your roof consultant what it was."}}
	case RepairFailing:
		return Saying{Subject: "the repair looks better again", Lines: []string{"The roof stays drier again since the work."}}
	}
	return Saying{Subject: "the wet nights are over", Lines: []string{"The last nights were dry " + a.where() + ".",
		"Some water may come again on a cold night.", "We will write if it is more than that.", nothingToDo}}
}

// Standing says that water goes on forming, twice or three times a winter, and
// where it comes from as surely as the diagnosis does.
func (a Alert) Standing(c Cause) Saying {
	s := Saying{Subject: "water still forms in the roof at night",
		Lines: []string{"Water still forms " + a.where() + " on cold nights."},
		Do:    append([]string{"Ask your roof consultant when it will be put right."}, airing...),
		Care:  care("loft", "electrics")}
	if c.Defect() {
		s.Lines = append(s.Lines, c.Home())
	}
	s.Lines = append(s.Lines, "It will go on until the roof is put right.", "We will not write each time.",
		"We write again in two months, and sooner if there is much more of it.")
	return s
}

// Note says that water forms which may be dew: once. It names where the water
// comes from as surely as the diagnosis does.
func (a Alert) Note(c Cause) Saying {
	s := Saying{Subject: "some water forms in the roof at night",
		Lines: []string{"Some water forms " + a.where() + " on cold or clear nights."}, Do: airing, Care: care("loft")}
	if c.Defect() {
		s.Lines = append(s.Lines, c.Home(), "It will come again, so we will not write each time.",
			"We will write if it gets worse.")
		return s
	}
	switch c.Finding {
	case Dew:
		s.Lines = append(s.Lines, c.Home())
	case NoneFound:
		s.Lines = append(s.Lines, "It may be dew, which does no harm.", c.Home())
	default:
		s.Lines = append(s.Lines, "It may be dew, which does no harm.", "It may also come from the house.",
			"We cannot tell yet.")
	}
	s.Lines = append(s.Lines, "It will come again, so we will not write each time.",
		"We will write if it turns out to be more than dew.")
	return s
}

// Chance says a chance so that nobody needs to know what per cent is.
func Chance(p float64) string {
	n := int(math.Round(p * 10))
	switch {
	case n <= 0:
		return "less than 1 in 10 nights like this one"
	case n >= 10:
		return "more than 9 in 10 nights like this one"
	}
	return fmt.Sprintf("about %d in 10 nights like this one", n)
}

// Join adds what another saying has and this one has not; the first subject
// stays.
func (s Saying) Join(more Saying) Saying {
	if s.Subject == "" {
		s.Subject = more.Subject
	}
	for _, p := range []struct {
		to   *[]string
		from []string
	}{{&s.Lines, more.Lines}, {&s.Do, more.Do}, {&s.Care, more.Care}} {
		said := map[string]bool{}
		for _, line := range *p.to {
			said[line] = true
		}
		for _, line := range p.from {
			if !said[line] {
				*p.to = append((*p.to)[:len(*p.to):len(*p.to)], line)
			}
		}
	}
	return s
}

// HomeLetter is a saying as a mail to the household, with when it was written: a
// message may wait for the end of quiet hours, or for a mail server.
func (s Saying) HomeLetter(written time.Time, zone *time.Location) string {
	out := join(s.Lines)
	if len(s.Do) > 0 {
		out += "\n\nWhat to do: " + join(s.Do)
	}
	if len(s.Care) > 0 {
		out += "\n\nTake care: " + join(s.Care)
	}
	return out + "\n\nWritten on " + at(written, zone, "Monday 2 January at 15:04") + "."
}

// Unanswered says what is known of a household that did not answer. Whether its
// message arrived stands on the alerts page, which knows.
func Unanswered(mailed bool) string {
	if !mailed {
		return "The household has not seen it, and the case file names no mail address of the household."
	}
	return "A message was due to the household, which has not said that it has seen it. The alerts page says whether it " +
		"arrived."
}

// AlertState is what people did about an alert: seen, quiet until Monday.
func AlertState(state string, quietUntil time.Time, zone *time.Location) string {
	switch state {
	case "acknowledged":
		return "seen"
	case "snoozed":
		return "quiet until " + at(quietUntil, zone, "Mon 2 Jan 15:04")
	}
	return state
}
