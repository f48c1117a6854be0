package alert

import (
	"fmt"
	"math"
	"strings"
	"time"

	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
)

// write puts a message into words: short sentences that a twelve-year-old reads
// for the household, figures and links for the consultant.
func write(m *Message, b *Book, in PlanInput, due []*Alert) {
	var lines []string
	label := in.Case.Property.Label
	if label == "" {
		label = in.Case.ID
	}
	if m.To == Consultant {
		m.Subject = label + ": " + consultantSubject(m.Kind, due)
		for _, a := range due {
			lines = append(lines, consultantLine(a, in))
		}
		if m.Kind == Escalation {
			lines = append(lines, unanswered(in.Case))
		}
		if in.Links.Alerts != "" {
			lines = append(lines, "Evidence and what was sent: "+in.Links.Alerts)
		}
		lines = append(lines, consultantCautions(due)...)
		m.Text = strings.Join(lines, "\n\n")
		return
	}
	said := PlainWords(m.Kind, due, in.Tonight)
	m.Subject = label + ": " + said.Subject
	lines = append(lines, strings.Join(said.Lines, " "))
	if len(said.Do) > 0 {
		lines = append(lines, "What to do: "+strings.Join(said.Do, " "))
	}
	if len(said.Care) > 0 {
		lines = append(lines, "Take care: "+strings.Join(said.Care, " "))
	}
	// A message may wait for the end of quiet hours, or for a mail server.
	lines = append(lines, "Written on "+m.At.In(zoneOr(in.Case.Property.Zone)).Format("Monday 2 January at 15:04")+".")
	m.Text = strings.Join(lines, "\n\n")
}

// Saying is what a household reads: what is so, what to do, what to beware of.
type Saying struct {
	Subject         string
	Lines, Do, Care []string
}

// Cautions of a household, each with the hazard of the trade's list
// (internal/roof/caution) that it puts into plain words.
var household = map[string]struct{ hazard, words string }{
	"loft": {"loft footing", "Do not go into the loft in the dark or when it is wet."},
	"roof": {"falls", "Never climb on the roof."},
	"electrics": {"electrics", "If water is near a light or a wire, switch the power off first. Then call an " +
		"electrician."},
	"ceiling": {"structure", "Stay away from a ceiling that hangs down. Call a builder."},
}

func care(keys ...string) (out []string) {
	for _, k := range keys {
		out = append(out, household[k].words)
	}
	return out
}

// PlainWords puts due alerts into plain words.
func PlainWords(kind Kind, due []*Alert, tonight Chance) Saying {
	var s Saying
	add := func(x Saying) {
		if s.Subject == "" {
			s.Subject = x.Subject
		}
		for _, p := range []struct{ to, from *[]string }{{&s.Lines, &x.Lines}, {&s.Do, &x.Do}, {&s.Care, &x.Care}} {
			for _, line := range *p.from {
				if !strings.Contains(strings.Join(*p.to, " "), line) {
					*p.to = append(*p.to, line)
				}
			}
		}
	}
	switch kind {
	case Weekly:
		add(standingWords(due))
	case Note:
		add(noteWords(due))
	case Evening:
		add(eveningWords(due, tonight))
	}
	for _, a := range due {
		switch {
		case kind == Over:
			add(overWords(a))
		case kind != News && isWater(a.Condition):
		default:
			add(Words(a))
		}
	}
	return s
}

func where(a *Alert) string {
	if a.Facts.Words != "" {
		return a.Facts.Words
	}
	return "in the roof"
}

func whereOf(due []*Alert) string {
	for _, a := range due {
		return where(a)
	}
	return "in the roof"
}

func standingWords(due []*Alert) Saying {
	return Saying{Subject: "water still forms in the roof at night",
		Lines: []string{"Water still forms " + whereOf(due) + " on cold nights.",
			"It will go on until the roof is put right.", "We will not write each time.",
			"We write once a week, and at once if it gets worse."},
		Do: airing, Care: care("loft", "electrics")}
}

func noteWords(due []*Alert) Saying {
	return Saying{Subject: "some water forms in the roof at night",
		Lines: []string{"Some water forms " + whereOf(due) + " on cold or clear nights.",
			"It may be dew, which does no harm.", "It may also come from the house.", "We cannot tell yet.",
			"It will come again, so we will not write each time.", "We will write if it turns out to be more than dew."},
		Do: airing, Care: care("loft")}
}

var airing = []string{"Keep bath and kitchen doors shut and run the fans.", "Keep the loft hatch shut."}

func eveningWords(due []*Alert, c Chance) Saying {
	line := "Water is likely to form " + whereOf(due) + " tonight."
	if c.Known {
		line = fmt.Sprintf("Water is likely to form %s tonight. It does on %s.", whereOf(due), ChanceWords(c.P))
	}
	return Saying{Subject: "water is likely in the roof tonight", Lines: []string{line}, Do: airing,
		Care: care("loft", "electrics")}
}

// ChanceWords says a chance so that nobody needs to know what per cent is.
func ChanceWords(p float64) string {
	n := int(math.Round(p * 10))
	switch {
	case n <= 0:
		return "less than 1 in 10 nights like this"
	case n >= 10:
		return "more than 9 in 10 nights like this"
	}
	return fmt.Sprintf("about %d in 10 nights like this", n)
}

func overWords(a *Alert) Saying {
	switch a.Condition {
	case SuddenWetting:
		return Saying{Subject: "the roof is drying", Lines: []string{"The damp that came at once has gone down."},
			Do: []string{"Ask your roof expert what it was."}}
	case RepairFailing:
		return Saying{Subject: "the repair looks better again", Lines: []string{"The roof stays drier again since the work."}}
	}
	return Saying{Subject: "the wet nights are over",
		Lines: []string{"The last nights were dry " + where(a) + ".", "There is nothing you need to do."}}
}

// notBegun is from how many hours on a wetting has no longer just begun.
const notBegun = 6

// Words says what one alert means for the household.
func Words(a *Alert) Saying {
	at := where(a)
	switch a.Condition {
	case SurfaceWet:
		what, s := "Water", Saying{Subject: "water forms in the roof", Do: airing, Care: care("loft", "electrics")}
		if a.Facts.Frozen {
			what = "Frost"
		}
		s.Lines = []string{what + " has begun to form " + at + "."}
		if a.Facts.WetHours >= notBegun {
			s.Lines = []string{"There is " + strings.ToLower(what) + " " + at + " now."}
		}
		if a.Facts.Frozen {
			s.Lines = append(s.Lines, "It may drip when it melts.")
		}
		return s
	case WetNights:
		return Saying{Subject: "wet nights in the roof",
			Lines: []string{fmt.Sprintf("Water formed %s on %d of the last %d nights.", at, a.Facts.Nights,
				max(a.Facts.Seen, a.Facts.Nights)), "It will come back on cold nights until the roof is put right."},
			Do: append([]string{"Tell your roof expert."}, airing...), Care: care("loft", "electrics")}
	case FrostMelting:
		return Saying{Subject: "frost melts in the roof and may drip",
			Lines: []string{"Frost " + at + " is melting.", "It may drip for some hours."},
			Do:    []string{"Look at the ceilings below for wet spots.", "Put a bowl under a drip."},
			Care:  care("loft", "electrics", "ceiling")}
	case MouldRising:
		return Saying{Subject: "mould may be growing in the roof",
			Lines: []string{"It has been damp and mild " + at + " for so long that mould may grow there."},
			Do:    []string{"Ask your roof expert to look."}, Care: care("loft")}
	case TimberWet:
		return Saying{Subject: "the roof timber is damp",
			Lines: []string{fmt.Sprintf("The wood in the roof holds about %.0f %% water.", a.Value),
				"Over 20 % for long can harm it."},
			Do: []string{"Ask your roof expert to look."}, Care: care("loft")}
	case SuddenWetting:
		return Saying{Subject: "sudden damp in the roof: it may be a leak",
			Lines: []string{"The air in the roof got much damper at once.", "The cold does not explain it.",
				"It may be a leak from a pipe, a tank or the rain."},
			Do: []string{"Look at the ceilings for wet spots.", "If you see water, turn the water off.",
				"Then call a plumber or a roofer."}, Care: care("electrics", "ceiling", "loft")}
	case RepairFailing:
		return Saying{Subject: "the repair may not hold",
			Lines: []string{"The roof has got wetter again since the work."},
			Do:    []string{"Tell your roof expert and the builder."}, Care: care("roof", "loft")}
	}
	return Saying{Subject: "a note on the loggers",
		Lines: []string{"One of the loggers needs a look.", "Your roof expert knows."}}
}

// Title names a condition for the consultant.
func (c Condition) Title() string {
	switch c {
	case SurfaceWet:
		return "surface wet now"
	case WetNights:
		return "run of wet nights"
	case FrostMelting:
		return "frost melting, drip likely"
	case MouldRising:
		return "mould index rising"
	case TimberWet:
		return "timber damp"
	case SuddenWetting:
		return "sudden wetting not tied to cold, possible leak"
	case RepairFailing:
		return "repair not holding"
	case LoggerSilent:
		return "logger silent"
	case BatteryLow:
		return "battery low"
	case Implausible:
		return "readings implausible"
	case ClockWrong:
		return "clock wrong"
	case DaemonTrouble:
		return "trouble of the daemon"
	}
	return string(c)
}

// Line says one alert in one sentence for the consultant.
func (a *Alert) Line(zone *time.Location) string {
	out := a.Condition.Title()
	switch {
	case a.Facts.Spot != "":
		out += ", " + a.Facts.Spot
	case a.Position != "":
		out += " (" + a.Position + ")"
	}
	if a.Facts.Detail != "" {
		out += ": " + a.Facts.Detail
	}
	if !a.Since.IsZero() {
		out += ", " + a.began() + " " + a.Since.In(zoneOr(zone)).Format("Mon 2 Jan 2006 15:04")
	}
	return strings.ToUpper(out[:1]) + out[1:] + "."
}

// began says what the time of raising is: of a wetting or a silence its own
// beginning, of what builds up over nights only when it had gone far enough.
func (a *Alert) began() string {
	switch a.Condition {
	case WetNights, MouldRising:
		return "raised"
	}
	return "since"
}

func consultantLine(a *Alert, in PlanInput) string { return a.Line(in.Case.Property.Zone) }

// unanswered says what is known of a household that did not answer. Whether its
// message arrived stands on the alerts page, which knows.
func unanswered(c *roof.Case) string {
	if len(c.Contacts.Householder) == 0 {
		return "The household has not acknowledged it, and the case file names no mail address of the household " +
			"(contacts.householder)."
	}
	return "A message was due to the household, which has not acknowledged it. The alerts page says whether it arrived."
}

func consultantSubject(kind Kind, due []*Alert) string {
	out := due[0].Condition.Title()
	if len(due) > 1 {
		out += fmt.Sprintf(" and %d more", len(due)-1)
	}
	if kind == Escalation {
		out += ", not acknowledged by the household"
	}
	return out
}

func consultantCautions(due []*Alert) (out []string) {
	for _, a := range due {
		switch a.Condition {
		case SurfaceWet, WetNights, FrostMelting, MouldRising, TimberWet, SuddenWetting, RepairFailing:
			for _, c := range caution.Essential(caution.LookInLoft) {
				out = append(out, "Before anyone goes up: "+c.Text)
			}
			return append(out, caution.Everywhere())
		case LoggerSilent, BatteryLow, Implausible:
			for _, c := range caution.Essential(caution.FitLogger) {
				out = append(out, "Before anyone goes up: "+c.Text)
			}
			return append(out, caution.Everywhere())
		}
	}
	return nil
}
