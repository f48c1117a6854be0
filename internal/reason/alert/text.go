package alert

import (
	"cmp"
	"time"

	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// write puts a message into words: short sentences that a twelve-year-old reads
// for the household, figures and links for the consultant.
func write(m *Message, in PlanInput, due []*Alert) {
	zone := in.Case.Property.Zone
	label := cmp.Or(in.Case.Property.Label, in.Case.ID)
	if m.To == Household {
		said := Saying(m.Kind, due, in)
		m.Subject, m.Text = label+": "+said.Subject, said.HomeLetter(m.At, zone)
		return
	}
	m.Subject = label + ": " + words.ConsultantSubject(string(due[0].Condition), len(due), m.Kind == Escalation)
	var lines []string
	for _, a := range due {
		lines = append(lines, a.Said(zone).Line()+" "+words.AlertTask(string(a.Condition)))
	}
	if m.Kind == Escalation {
		lines = append(lines, words.Unanswered(len(in.Case.Contacts.Householder) > 0))
	}
	m.Text = words.ConsultantLetter(lines, in.Links.Alerts, consultantCautions(due), caution.Everywhere)
}

// Said returns what is said of an alert, with times in the property's zone.
func (a *Alert) Said(zone *time.Location) words.Alert {
	return words.Alert{Condition: string(a.Condition), Position: a.Position, Where: a.Facts.Words, Spot: a.Facts.Spot,
		Detail: a.Facts.Detail,
		Frozen: a.Facts.Frozen, WetHours: a.Facts.WetHours, Nights: a.Facts.Nights, Seen: a.Facts.Seen, WoodPct: a.Value,
		Since: a.Since, Zone: zone}
}

// Saying puts due alerts into the household's words.
func Saying(kind Kind, due []*Alert, in PlanInput) words.Saying {
	var s words.Saying
	var first words.Alert
	if len(due) > 0 {
		first = due[0].Said(nil)
	}
	switch kind {
	case Standing:
		s = first.Standing(in.Cause)
	case Note:
		s = first.Note(in.Cause)
	}
	for _, a := range due {
		switch {
		case kind == Over:
			s = s.Join(a.Said(nil).Over())
		case kind == News || !isWater(a.Condition):
			s = s.Join(a.Said(nil).Home())
		}
	}
	return s
}

func consultantCautions(due []*Alert) (out []string) {
	for _, a := range due {
		do := caution.Activity("")
		switch a.Condition {
		case SurfaceWet, WetNights, FrostMelting, MouldRising, TimberWet, SuddenWetting, RepairFailing,
			WorkUnseen:
			do = caution.LookInLoft
		case LoggerSilent, BatteryLow, Implausible:
			do = caution.FitLogger
		default:
			continue
		}
		for _, c := range caution.Essential(do) {
			out = append(out, c.Text)
		}
		return out
	}
	return nil
}
