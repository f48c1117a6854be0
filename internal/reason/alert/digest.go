package alert

import (
	"cmp"
	"fmt"
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
	var parts []string
	open, fresh, over, lost := 0, 0, 0, 0
	monday := false
	for _, h := range houses {
		zone := h.Case.Property.Zone
		var lines []string
		for _, a := range slices.SortedStableFunc(slices.Values(h.Book.Alerts), pressing) {
			switch {
			case a.Open():
				open++
				line := "- " + strings.TrimSuffix(a.Said(zone).Line(), ".")
				switch {
				case !a.Since.Before(since):
					if !h.nightly(a) {
						fresh++
					}
					line += " (new)"
				case a.State != Raised:
					line += " (" + words.AlertState(string(a.State), a.SnoozedTo, zone) + ")"
				}
				lines = append(lines, line)
				m.Alerts = append(m.Alerts, a.ID)
			case a.State == Cleared && !a.Cleared.Before(since) && !h.nightly(a):
				over++
				lines = append(lines, "- Over: "+strings.TrimSuffix(a.Said(zone).Line(), ".")+", until "+
					a.Cleared.In(zone).Format("Mon 2 Jan 15:04"))
			}
		}
		monday = monday || now.In(zone).Weekday() == time.Monday
		lost += len(h.Lost)
		for _, l := range h.Lost {
			lines = append(lines, "- Not delivered: "+l)
		}
		if len(lines) == 0 {
			continue
		}
		lines = slices.Insert(lines, 0, cmp.Or(h.Case.Property.Label, h.Case.ID))
		if h.Link != "" {
			lines = append(lines, h.Link)
		}
		parts = append(parts, strings.Join(lines, "\n"))
	}
	if fresh+over+lost == 0 && (open == 0 || !monday) {
		return Message{}, false
	}
	m.Subject = fmt.Sprintf("Roofs today: %d in force, %d new, %d over", open, fresh, over)
	parts = append(parts, "This summary comes at most once a day: when something is new or over, and on Mondays while "+
		"anything is in force.")
	m.Text = strings.Join(parts, "\n\n")
	return m, true
}
