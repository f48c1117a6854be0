package alert

import (
	"fmt"
	"slices"
	"time"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Audience is who a message is for.
type Audience string

// The audiences.
const (
	Household  Audience = "household"
	Consultant Audience = "consultant"
)

// Kind is why a message is sent.
type Kind string

// The kinds of message.
const (
	News       Kind = "news"       // something began or worsened
	Evening    Kind = "evening"    // what is likely tonight
	Weekly     Kind = "weekly"     // what has been going on for a while
	Note       Kind = "note"       // water that may be mere dew: told once
	Over       Kind = "over"       // what was told is over
	Escalation Kind = "escalation" // the household did not answer
)

// Message is one message that is due, for one audience.
type Message struct {
	Key      string    `json:"key"` // the same message has the same key, however often it is planned
	Case     string    `json:"case"`
	To       Audience  `json:"to"`
	Kind     Kind      `json:"kind"`
	At       time.Time `json:"at"`    // when it was planned
	After    time.Time `json:"after"` // not before: quiet hours
	Subject  string    `json:"subject"`
	Text     string    `json:"text"`
	Alerts   []string  `json:"alerts"`   // ids
	Evidence time.Time `json:"evidence"` // newest reading behind it
	// Unsubscribe stops the mails to the address that a copy goes to.
	Unsubscribe string `json:"unsubscribe,omitempty"`
}

// PlanInput is what the plan needs beside the book.
type PlanInput struct {
	Case    *roof.Case
	Rules   Rules
	Tonight *float64    // chance of water, nil not known
	Cause   words.Cause // of the diagnosis
	Links   Links
}

// Links are what a message points to; empty ones are left out.
type Links struct {
	Alerts string // the consultant's page
}

// Limits of the plan.
const (
	// standingAfter is how many messages about water a household gets before
	// the standing one, which says that it will go on and that a message comes
	// once a week from then: a message every morning is switched off in a week.
	standingAfter = 3
	// standingEvery is how often the standing message is repeated.
	standingEvery = 7 * 24 * time.Hour
	// likely is the chance of water tonight from which an evening message is
	// sent.
	likely = 0.5
	// eveningFrom and eveningUntil are the hours of the house's clock for it:
	// before dark, and before a bath is run.
	eveningFrom, eveningUntil = 16, 20
	// noteHolds is how long the one note about a roof that may only have dew stands.
	noteHolds = 150 * 24 * time.Hour
	// quietDays is how long a household is not told again of a condition that
	// comes and goes, unless it is worse than when it was told.
	quietDays = 14 * 24 * time.Hour
	keepSent  = 160 * 24 * time.Hour
)

// Plan says what is due now and books it as told. A condition reaches an
// audience at most once a night (noon to noon in the house's zone) unless it
// worsens; what is due together goes in one message.
func Plan(b *Book, in PlanInput, now time.Time) []Message {
	var out []Message
	if m, ok := b.household(in, now); ok {
		out = append(out, m)
	}
	if m, ok := b.consultant(in, now); ok {
		out = append(out, m)
	}
	b.Sent = slices.DeleteFunc(slices.Clone(b.Sent), func(s Sent) bool { return now.Sub(s.At) > keepSent })
	return out
}

// Standing reports whether the household has a standing announcement that water
// goes on forming on cold nights: of a damp roof told within the last week, of
// one that is not told apart yet within the last two months.
func (b *Book) Standing(now time.Time) bool {
	for _, s := range slices.Backward(b.Sent) {
		if s.To != Household {
			continue
		}
		if s.Kind == Weekly && now.Sub(s.At) < standingEvery+12*time.Hour || s.Kind == Note && now.Sub(s.At) < noteHolds {
			return true
		}
	}
	return false
}

func night(zone *time.Location, at time.Time) string { return evidence.NightOf(at, zone).Date }

// toldTonight reports whether an audience heard of a condition in this night.
func (b *Book) toldTonight(to Audience, c Condition, zone *time.Location, now time.Time) bool {
	tonight := night(zone, now)
	for _, s := range slices.Backward(b.Sent) {
		if night(zone, s.At) != tonight {
			return false
		}
		if s.To == to && slices.Contains(s.Conditions, c) {
			return true
		}
	}
	return false
}

// waterMessages counts the household's messages about water since the last
// pause of three weeks, and says when the last standing one was.
func (b *Book) waterMessages(now time.Time) (n int, standing time.Time) {
	last := now
	for _, s := range slices.Backward(b.Sent) {
		if s.To != Household || !slices.Contains(s.Conditions, SurfaceWet) && !slices.Contains(s.Conditions, WetNights) ||
			s.Kind == Over {
			continue
		}
		if last.Sub(s.At) > 21*24*time.Hour {
			break
		}
		last = s.At
		n++
		if s.Kind == Weekly && standing.IsZero() {
			standing = s.At
		}
	}
	return n, standing
}

func isWater(c Condition) bool { return c == SurfaceWet || c == WetNights }

func (b *Book) household(in PlanInput, now time.Time) (Message, bool) {
	zone := in.Case.Property.Zone
	var due, water []*Alert
	n, standing := b.waterMessages(now)
	told := b.toldTonight(Household, SurfaceWet, zone, now) || b.toldTonight(Household, WetNights, zone, now)
	for _, a := range b.Alerts {
		r := in.Rules[a.Condition]
		if !r.Household || !a.Tell || a.State != Raised || now.Sub(a.At) > r.Fresh {
			continue
		}
		t := a.LastTold[Household]
		worse := t.Count > 0 && r.worsened(t.Value, a.Value) && now.Sub(t.At) >= time.Hour
		switch {
		case isWater(a.Condition):
			again := t.Count == 0 || worse || a.Condition == SurfaceWet && night(zone, t.At) != night(zone, now)
			if again && !told && !a.Over.IsZero() {
				water = append(water, a)
			}
		case a.Condition == SuddenWetting, a.Condition == RepairFailing:
			if t.Count == 0 && !b.toldSince(Household, a.Condition, now.Add(-24*time.Hour)) || worse {
				due = append(due, a)
			}
		case b.Level == Damp && (t.Count == 0 && !b.toldSince(Household, a.Condition, now.Add(-quietDays)) || worse &&
			now.Sub(t.At) >= 24*time.Hour):
			due = append(due, a)
		}
	}
	hour := now.In(zone).Hour()
	evening := hour >= eveningFrom && hour < eveningUntil
	kind := News
	switch {
	case told || b.Level == Dew:
	case b.Level == Unsure:
		if len(water) > 0 && !b.Standing(now) { // one note for the winter

			kind, due = Note, append(due, water...)
		}
	case n >= standingAfter:
		if now.Sub(standing) >= standingEvery && len(b.waterAlerts()) > 0 && (evening || len(due) > 0 || len(water) > 0) &&
			!b.acknowledged() {
			kind, due = Weekly, append(due, b.waterAlerts()...)
		}
	case len(water) > 0:
		due = append(due, water...)
	case len(due) == 0 && n > 0 && evening && in.Tonight != nil && *in.Tonight >= likely && !b.acknowledged():
		kind, due = Evening, b.waterAlerts()
	}
	if len(due) == 0 {
		return b.over(in, now)
	}
	conditions := []Condition{}
	if kind != News {
		conditions = append(conditions, SurfaceWet, WetNights)
	}
	return b.send(in, Household, kind, due, conditions, now), true
}

// toldSince reports whether an audience heard of a condition since a time; kinds
// are those of the message, none for any.
func (b *Book) toldSince(to Audience, c Condition, since time.Time, kinds ...Kind) bool {
	return slices.ContainsFunc(b.Sent, func(s Sent) bool {
		return s.To == to && !s.At.Before(since) && slices.Contains(s.Conditions, c) &&
			(len(kinds) == 0 || slices.Contains(kinds, s.Kind))
	})
}

// acknowledged reports that the household has said of every alert about water
// that it knows.
func (b *Book) acknowledged() bool {
	some := false
	for _, a := range b.Alerts {
		if isWater(a.Condition) && a.Open() {
			if a.State == Raised {
				return false
			}
			some = true
		}
	}
	return some
}

func (b *Book) waterAlerts() (out []*Alert) {
	for _, a := range b.Alerts {
		if isWater(a.Condition) && a.Open() && a.Tell {
			out = append(out, a)
		}
	}
	return out
}

// over tells the end of a run of wet nights, a leak or a failing repair that the
// household heard of, once; small things end without a word.
func (b *Book) over(in PlanInput, now time.Time) (Message, bool) {
	var due []*Alert
	for _, a := range b.Alerts {
		// The one note about mere dew has no end to be told.
		big := a.Condition == SuddenWetting || a.Condition == RepairFailing || a.Condition == WetNights && b.Level < Damp &&
			b.toldSince(Household, a.Condition, a.Since, News, Weekly)
		if big && a.State == Cleared && a.LastTold[Household].Count > 0 && now.Sub(a.Cleared) < 7*24*time.Hour {
			due = append(due, a)
		}
	}
	if len(due) == 0 {
		return Message{}, false
	}
	m := b.send(in, Household, Over, due, nil, now)
	for _, a := range due {
		delete(a.LastTold, Household)
	}
	return m, true
}

func (b *Book) consultant(in PlanInput, now time.Time) (Message, bool) {
	zone := in.Case.Property.Zone
	escalate := time.Duration(or(in.Case.Alerts.EscalateH, defaultEscalateH) * float64(time.Hour))
	kind := News
	var due []*Alert
	for _, a := range b.Alerts {
		r := in.Rules[a.Condition]
		if !a.Open() || now.Sub(a.At) > r.Fresh {
			continue
		}
		t, h := a.LastTold[Consultant], a.LastTold[Household]
		switch {
		case r.Consultant && a.State == Raised && t.Count == 0 && !b.toldTonight(Consultant, a.Condition, zone, now),
			r.Consultant && a.State == Raised && t.Count > 0 && r.worsened(t.Value, a.Value) && now.Sub(t.At) >= 12*time.Hour:
			due = append(due, a)
		case a.State == Raised && h.Count > 0 && now.Sub(h.At) < keepSent && b.firstTold(a, now) >= escalate &&
			(t.Count == 0 || r.Consultant && t.Count == 1 && !b.toldSince(Consultant, a.Condition, a.Since, Escalation)):
			kind = Escalation
			due = append(due, a)
		}
	}
	if len(due) == 0 {
		return Message{}, false
	}
	return b.send(in, Consultant, kind, due, nil, now), true
}

// firstTold is how long ago the household first heard of an alert that is still
// not acknowledged.
func (b *Book) firstTold(a *Alert, now time.Time) time.Duration {
	for _, s := range b.Sent {
		if s.To == Household && s.Kind != Over && slices.Contains(s.Conditions, a.Condition) && !s.At.Before(a.Since) {
			return now.Sub(s.At)
		}
	}
	return 0
}

func (b *Book) send(in PlanInput, to Audience, kind Kind, due []*Alert, conditions []Condition, now time.Time) Message {
	slices.SortStableFunc(due, pressing)
	due = slices.Compact(due)
	b.Serial++
	m := Message{Key: fmt.Sprintf("%s/%06d", in.Case.ID, b.Serial), Case: in.Case.ID, To: to, Kind: kind, At: now,
		After: now}
	for _, a := range due {
		m.Alerts = append(m.Alerts, a.ID)
		if a.At.After(m.Evidence) {
			m.Evidence = a.At
		}
		if !slices.Contains(conditions, a.Condition) {
			conditions = append(conditions, a.Condition)
		}
		if a.LastTold == nil {
			a.LastTold = map[Audience]Sending{}
		}
		a.LastTold[to] = Sending{now, a.Value, a.LastTold[to].Count + 1}
	}
	if to == Household {
		m.After = afterQuiet(in.Case, now)
	}
	write(&m, in, due)
	b.Sent = append(b.Sent, Sent{m.Key, now, to, kind, conditions, m.Subject})
	return m
}

// afterQuiet is now, or the end of the quiet hours that now lies in.
func afterQuiet(c *roof.Case, now time.Time) time.Time {
	from, err1 := time.Parse("15:04", c.Alerts.QuietFrom)
	to, err2 := time.Parse("15:04", c.Alerts.QuietTo)
	if err1 != nil || err2 != nil {
		return now
	}
	local := now.In(c.Property.Zone)
	minute := local.Hour()*60 + local.Minute()
	a, z := from.Hour()*60+from.Minute(), to.Hour()*60+to.Minute()
	quiet := minute >= a && minute < z
	if a > z {
		quiet = minute >= a || minute < z
	}
	if !quiet {
		return now
	}
	end := time.Date(local.Year(), local.Month(), local.Day(), to.Hour(), to.Minute(), 0, 0, local.Location())
	if !end.After(now) {
		end = time.Date(local.Year(), local.Month(), local.Day()+1, to.Hour(), to.Minute(), 0, 0, local.Location())
	}
	return end.UTC()
}
