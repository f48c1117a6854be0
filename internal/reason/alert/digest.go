package alert

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Digest is the kind of a consultant's daily summary over all houses.
const Digest Kind = "digest"

// Test is the kind of a message that somebody asked for, to see whether messages
// arrive.
const Test Kind = "test"

// House is one house of a daily summary.
type House struct {
	Case *roof.Case
	Book *Book
	Link string // to its alerts page, "" for none
	// Lost says which messages to the household will not arrive.
	Lost []string
}

// CanWait reports that a message to the consultant may wait for the daily
// summary: loggers that want a look, and what grows over weeks.
func (m Message) CanWait() bool {
	if m.To != Consultant || m.Kind != News || len(m.Alerts) == 0 {
		return false
	}
	for _, id := range m.Alerts {
		condition, _, _ := strings.Cut(id, ".")
		switch Condition(condition) {
		case LoggerSilent, BatteryLow, Implausible, ClockWrong, MouldRising, TimberWet:
		default:
			return false
		}
	}
	return true
}

// pressing puts the most pressing condition first.
func pressing(x, y *Alert) int {
	return slices.Index(Conditions(), x.Condition) - slices.Index(Conditions(), y.Condition)
}

// nightly reports that a wetting belongs to a run of wet nights that is told
// already: it comes and goes with every night and is no news.
func (h House) nightly(a *Alert) bool {
	if a.Condition != SurfaceWet {
		return false
	}
	run := h.Book.find(WetNights, a.Position)
	return run != nil && run.Open()
}

// Summary puts into one message what is in force at several houses, what is new
// and what ended since a time. On a day without news there is none (false), but on
// Mondays while anything is in force.
func Summary(houses []House, since, now time.Time) (Message, bool) {
	m := Message{To: Consultant, Kind: Digest, At: now, After: now}
	var d words.Digest
	lost, monday := 0, false
	for _, h := range houses {
		zone := h.Case.Property.Zone
		one := words.DigestHouse{Label: cmp.Or(h.Case.Property.Label, h.Case.ID), Lost: h.Lost, Link: h.Link}
		for _, a := range slices.SortedStableFunc(slices.Values(h.Book.Alerts), pressing) {
			said := words.DigestAlert{Alert: a.Said(zone)}
			switch {
			case a.Open():
				d.InForce++
				if said.New = !a.Since.Before(since) && !h.nightly(a); said.New {
					d.New++
				}
				if a.State != Raised {
					said.State, said.QuietUntil = string(a.State), a.SnoozedTo
				}
				m.Alerts = append(m.Alerts, a.ID)
			case a.State == Cleared && !a.Cleared.Before(since) && !h.nightly(a):
				d.Over++
				said.Over = a.Cleared
			default:
				continue
			}
			one.Alerts = append(one.Alerts, said)
		}
		monday = monday || now.In(zone).Weekday() == time.Monday
		lost += len(h.Lost)
		if len(one.Alerts)+len(h.Lost) > 0 {
			d.Houses = append(d.Houses, one)
		}
	}
	if d.New+d.Over+lost == 0 && (d.InForce == 0 || !monday) {
		return Message{}, false
	}
	m.Subject, m.Text = d.Subject(), d.Text()
	return m, true
}
