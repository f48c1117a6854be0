package bell

import (
	"slices"
	"time"

	"dewcase/internal/door/http/homepage"
	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// oldRecord is how long ago the last reading of a finished record is.
const oldRecord = 24 * time.Hour

// homeOf is what a household's page says of a house, with cause and verdicts as
// slow has them.
func homeOf(c *roof.Case, h *house, slow *watch.Slow, now time.Time) (words.Home, []homepage.Alert) {
	zone := c.Property.Zone
	said := words.Home{Zone: zone, Now: now, Where: h.where, Level: h.book.Level, Chance: h.chance}
	for _, n := range h.nights {
		said.Nights = append(said.Nights, n.Said())
	}
	if slow != nil {
		said.Cause = slow.Cause(zone)
		for _, r := range slow.Repairs {
			if said.Work != nil && (r.At.Before(said.Work.At) || r.At.Equal(said.Work.At) && r.Surface != h.wet) {
				continue // of the latest work, the surface that the nights are of
			}
			v := r.Said(zone)
			said.Work, said.Held = &v, r.Best == string(words.Worked)
		}
	}
	var shown []*alert.Alert
	for _, a := range h.book.Alerts {
		if a.Condition == alert.SurfaceWet && a.At.After(said.Heard) {
			said.Heard = a.At
		}
		if !a.Open() || !a.Tell || !alert.RulesOf(c.Alerts)[a.Condition].Household {
			continue
		}
		if a.Condition == alert.SurfaceWet {
			said.Wet, said.Frozen = true, a.Facts.Frozen
		}
		if shows(h.book.Level, a.Condition) {
			shown = append(shown, a)
		}
	}
	// A record that ended long ago has no surface that is watched, and is no house
	// without news; of one that is just beginning nothing is known yet.
	if said.Heard.IsZero() && now.Sub(h.heard) > oldRecord {
		said.Heard = h.heard
	}
	slices.SortStableFunc(shown, func(x, y *alert.Alert) int { // the most pressing first
		return slices.Index(alert.Conditions(), x.Condition) - slices.Index(alert.Conditions(), y.Condition)
	})
	for _, a := range shown {
		said.Alerts = append(said.Alerts, a.Said(zone))
	}
	return said, homeAlerts(said, shown)
}

// shows says that a household hears of a condition at a level: of a leak and of a
// repair that does not hold always, of mere dew never, and while dew cannot be
// told from damp of water alone.
func shows(l alert.Level, c alert.Condition) bool {
	switch c {
	case alert.SuddenWetting, alert.RepairFailing:
		return true
	case alert.SurfaceWet, alert.WetNights:
		return l != alert.Dew
	}
	return l == alert.Damp
}

// homeAlerts puts what is in force into the household's words, the same as its
// mails use: while dew cannot be told from damp, all water is one note.
func homeAlerts(said words.Home, shown []*alert.Alert) (out []homepage.Alert) {
	note := -1
	for _, a := range shown {
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
		if water := a.Condition == alert.SurfaceWet || a.Condition == alert.WetNights; water && said.Level == alert.Unsure {
			if note >= 0 {
				n := &out[note]
				n.IDs, n.Seen = append(n.IDs, a.ID), min(n.Seen, seen)
				if since.Before(n.Since) {
					n.Since, n.ByDay = since, byDay
				}
				continue
			}
			note = len(out)
		}
		out = append(out, homepage.Alert{IDs: []string{a.ID}, Saying: said.Found(a.Said(said.Zone)), Since: since,
			ByDay: byDay, Seen: seen})
	}
	return out
}

// testMessage is what somebody asked for on the alerts page; its key lets one go
// out a minute.
func testMessage(now time.Time) alert.Message {
	return alert.Message{Key: "test/" + now.Format("2006-01-02T15:04"), Case: theDaemon, To: alert.Consultant,
		Kind: alert.Test, At: now, After: now, Subject: "dewcase: a test",
		Text: "Somebody asked on the alerts page for this message, to see whether messages arrive. No roof is wet by it."}
}
