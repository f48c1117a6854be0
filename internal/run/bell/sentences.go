package bell

import (
	"fmt"
	"slices"
	"time"

	"dewcase/internal/door/http/homepage"
	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// said is a case's state in one sentence, and what to do tonight.
type said struct {
	now      string
	do, care []string
	newest   time.Time // the reading it rests on, zero for none
}

// sentence sums a case up for its household.
func sentence(c *roof.Case, h *house, now time.Time) said {
	var due []*alert.Alert
	var newest time.Time
	for _, a := range h.book.Alerts {
		if a.At.After(newest) && a.Condition == alert.SurfaceWet {
			newest = a.At
		}
		if a.Open() && a.Tell && alert.RulesOf(c.Alerts)[a.Condition].Household {
			due = append(due, a)
		}
	}
	s := homeWords(h, due, newest, now)
	s.newest = newest
	return s
}

func homeWords(h *house, due []*alert.Alert, newest, now time.Time) said {
	if newest.IsZero() {
		return said{now: "We have no news from your roof yet."}
	}
	if now.Sub(newest) > 6*time.Hour {
		return said{now: "We have heard nothing from your roof for " + ago(now.Sub(newest)) + ".",
			do: []string{"Your roof expert can see this too."}}
	}
	serious := due[:0:0]
	for _, a := range due {
		if h.book.Level == alert.Damp || a.Condition == alert.SuddenWetting || a.Condition == alert.RepairFailing {
			serious = append(serious, a)
		}
	}
	if len(serious) > 0 {
		slices.SortStableFunc(serious, func(x, y *alert.Alert) int { // the most pressing first
			return slices.Index(alert.Conditions(), x.Condition) - slices.Index(alert.Conditions(), y.Condition)
		})
		x := alert.PlainWords(alert.News, serious[:1], alert.Chance{})
		return said{now: x.Lines[0], do: x.Do, care: x.Care}
	}
	for _, a := range due {
		if a.Condition != alert.SurfaceWet {
			continue
		}
		if h.book.Level == alert.Dew {
			return said{now: "There is some dew " + a.Facts.Words + " now.", do: []string{"There is nothing you need to do."}}
		}
		note := alert.PlainWords(alert.Note, []*alert.Alert{a}, alert.Chance{}) // the same advice as by mail
		return said{now: "There is some water " + a.Facts.Words + " now.", do: note.Do, care: note.Care}
	}
	return said{now: "Your roof is dry now.", do: []string{"There is nothing you need to do."}}
}

func ago(d time.Duration) string {
	if h := int(d.Hours()); h < 48 {
		return fmt.Sprintf("%d hours", h)
	}
	return fmt.Sprintf("%d days", int(d.Hours()/24))
}

// homeAlerts puts what is in force into the household's words, the same as its
// mails use: while dew cannot be told from damp, all water is one note.
func homeAlerts(c *roof.Case, b *alert.Book) (out []homepage.Alert) {
	note := -1
	for _, a := range b.Alerts {
		serious := a.Condition == alert.SuddenWetting || a.Condition == alert.RepairFailing
		water := a.Condition == alert.SurfaceWet || a.Condition == alert.WetNights
		if !a.Open() || !a.Tell || !alert.RulesOf(c.Alerts)[a.Condition].Household || b.Level != alert.Damp && !serious &&
			!(water && b.Level == alert.Unsure) {
			continue
		}
		since, byDay, seen := a.Since, false, homepage.NotSeen
		if a.Condition == alert.WetNights && !a.From.IsZero() && a.From.Before(since) {
			since, byDay = a.From, true // the first of the nights, not the morning they were counted
		}
		switch {
		case a.State != alert.Raised && a.AckBy == household:
			seen = homepage.SeenHere
		case a.State != alert.Raised:
			seen = homepage.SeenByExpert
		}
		if note >= 0 && water && b.Level == alert.Unsure {
			n := &out[note]
			n.IDs, n.Seen = append(n.IDs, a.ID), min(n.Seen, seen)
			if since.Before(n.Since) {
				n.Since, n.ByDay = since, byDay
			}
			continue
		}
		x := alert.Words(a)
		if water && b.Level == alert.Unsure {
			x, note = alert.PlainWords(alert.Note, []*alert.Alert{a}, alert.Chance{}), len(out)
		}
		out = append(out, homepage.Alert{IDs: []string{a.ID}, Lines: x.Lines, Do: x.Do, Care: x.Care, Since: since,
			ByDay: byDay, Seen: seen})
	}
	return out
}

func repairWords(r watch.Turn) string {
	switch r.Verdict {
	case "worked":
		if r.ReductionPct != nil && *r.ReductionPct > 0 {
			return fmt.Sprintf("The work on the roof helped. There are about %d fewer wet hours out of every 10.",
				min(10, max(1, int(*r.ReductionPct/10+0.5))))
		}
		return "The work on the roof helped."
	case "got_worse":
		return "The roof has got wetter since the work. Your roof expert should look at it."
	case "no_change_shown":
		return "So far the work has made no change that we can see."
	}
	return "It is too early to say what the work has done. We need more cold nights."
}

// testMessage is what somebody asked for on the alerts page; its key lets one go
// out a minute.
func testMessage(now time.Time) alert.Message {
	return alert.Message{Key: "test/" + now.Format("2006-01-02T15:04"), Case: theDaemon, To: alert.Consultant,
		Kind: alert.Test, At: now, After: now, Subject: "dewcase: a test",
		Text: "Somebody asked on the alerts page for this message, to see whether messages arrive. No roof is wet by it."}
}
