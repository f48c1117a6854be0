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
	Standing   Kind = "standing"   // what goes on until the roof is put right
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
	Case  *roof.Case
	Rules Rules
	Cause words.Cause // of the diagnosis
	Links Links
}

// Links are what a message points to; empty ones are left out.
type Links struct {
	Alerts string // the consultant's page
}

// Limits of the plan. A message that changes nothing of what a household does is
// switched off with those that would: what goes on stands on the household's page.
const (
	// standingEvery is how long the announcement stands that water will go on
	// forming, before it is said again: twice or three times a winter.
	standingEvery = 60 * 24 * time.Hour
	// worseAfter is how long after a message another is sent because there is more
	// water, or because wood or mould got worse.
	worseAfter = 14 * 24 * time.Hour
	// pause is how long without a message after the announcement has run out until
	// water is news again.
	pause = 21 * 24 * time.Hour
	// noteHolds is how long the one note about a roof that may only have dew stands.
	noteHolds = 150 * 24 * time.Hour
	// quiet is how long a household is not told again of a condition that comes and
	// goes, unless it is worse than when it was told.
	quiet = 60 * 24 * time.Hour
	// slowWaits is how long mould and damp timber wait for another message to go
	// with: they took weeks to grow, and nothing is to be done at once.
	slowWaits = 28 * 24 * time.Hour
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

// Announced reports whether the household knows that water forms on cold nights: of
// a damp roof from the standing announcement, of one that is not told apart yet from
// the one note, of one that has dried from what was said when it had.
func (b *Book) Announced(now time.Time) bool {
	for _, s := range slices.Backward(b.Sent) {
		if s.To != Household {
			continue
		}
		if s.Kind == Standing && now.Sub(s.At) < standingEvery+12*time.Hour ||
			(s.Kind == Note || s.Kind == Over && slices.ContainsFunc(s.Conditions, isWater)) && now.Sub(s.At) < noteHolds {
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

// water sums up what the household heard about water since a long silence: when
// last, and when that it goes on, unless that was said to be over since.
func (b *Book) water(now time.Time) (told bool, last, standing time.Time) {
	later, over := now, false
	for _, s := range slices.Backward(b.Sent) {
		if s.To != Household || !slices.ContainsFunc(s.Conditions, isWater) {
			continue
		}
		if later.Sub(s.At) > standingEvery+pause {
			break
		}
		if later = s.At; last.IsZero() {
			last = s.At
		}
		over = over || s.Kind == Over
		if s.Kind == Standing && standing.IsZero() && !over {
			standing = s.At
		}
		told = true
	}
	return told, last, standing
}

func isWater(c Condition) bool { return c == SurfaceWet || c == WetNights }

func (b *Book) household(in PlanInput, now time.Time) (Message, bool) {
	zone := in.Case.Property.Zone
	var due, water, slow []*Alert
	more := false // wet nights than were told
	heard, last, standing := b.water(now)
	tonight := b.toldTonight(Household, SurfaceWet, zone, now) || b.toldTonight(Household, WetNights, zone, now)
	for _, a := range b.Alerts {
		r := in.Rules[a.Condition]
		if !r.Household || !a.Tell || a.State != Raised || now.Sub(a.At) > r.Fresh {
			continue
		}
		t := a.LastTold[Household]
		worse := t.Count > 0 && r.worsened(t.Value, a.Value) && now.Sub(t.At) >= time.Hour
		switch {
		case isWater(a.Condition):
			if tonight || a.Over.IsZero() {
				break
			}
			if t.Count == 0 || worse || a.Condition == SurfaceWet && night(zone, t.At) != night(zone, now) {
				water = append(water, a)
			}
			more = more || a.Condition == WetNights && !b.toldAsBad(a, r, now.Add(-standingEvery))
		case a.Condition == SuddenWetting, a.Condition == RepairFailing:
			if t.Count == 0 && !b.toldSince(Household, a.Condition, now.Add(-24*time.Hour)) || worse {
				due = append(due, a)
			}
		case b.Level == Damp && (t.Count == 0 && !b.toldAsBad(a, r, now.Add(-quiet)) || worse && now.Sub(t.At) >= worseAfter):
			if a.Condition == FrostMelting {
				due = append(due, a)
			} else {
				slow = append(slow, a)
			}
		}
	}
	kind := News
	switch {
	case tonight || b.Level == Dew:
	case b.Level == Unsure:
		if len(water) > 0 && !b.Announced(now) { // one note for the winter
			kind, due = Note, append(due, water...)
		}
	case len(water) == 0:
	case !heard:
		due = append(due, water...)
	case !b.acknowledged() && (now.Sub(standing) >= standingEvery || more && now.Sub(last) >= worseAfter):
		kind, due = Standing, append(due, b.waterAlerts()...)
	}
	if len(due) > 0 || now.Sub(b.lastTo(Household)) >= slowWaits { // what took weeks to grow comes with other news
		due = append(due, slow...)
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

// toldAsBad reports whether the household heard of a condition since a time, when
// it was not much better than it is now.
func (b *Book) toldAsBad(a *Alert, r Rule, since time.Time) bool {
	return slices.ContainsFunc(b.Sent, func(s Sent) bool {
		return s.To == Household && !s.At.Before(since) && slices.Contains(s.Conditions, a.Condition) &&
			!r.worsened(s.Values[a.Condition], a.Value)
	})
}

// lastTo returns when an audience was last sent a message.
func (b *Book) lastTo(to Audience) time.Time {
	for _, s := range slices.Backward(b.Sent) {
		if s.To == to {
			return s.At
		}
	}
	return time.Time{}
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
// household heard of, once; small things end without a word, and so do wet nights
// that come and go.
func (b *Book) over(in PlanInput, now time.Time) (Message, bool) {
	var due []*Alert
	for _, a := range b.Alerts {
		// The one note about mere dew has no end to be told.
		big := a.Condition == SuddenWetting || a.Condition == RepairFailing || a.Condition == WetNights && b.Level < Damp &&
			b.toldSince(Household, a.Condition, a.Since, News, Standing) &&
			!b.toldSince(Household, a.Condition, now.Add(-quiet), Over)
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

// escalateAfter is how long a household may leave a message unanswered.
func escalateAfter(c *roof.Case) time.Duration {
	return time.Duration(or(c.Alerts.EscalateH, defaultEscalateH) * float64(time.Hour))
}

func (b *Book) consultant(in PlanInput, now time.Time) (Message, bool) {
	zone := in.Case.Property.Zone
	escalate := escalateAfter(in.Case)
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
	values := map[Condition]float64{}
	for _, a := range due {
		m.Alerts = append(m.Alerts, a.ID)
		if v, ok := values[a.Condition]; ok {
			values[a.Condition] = in.Rules[a.Condition].worse(v, a.Value)
		} else {
			values[a.Condition] = a.Value
		}
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
	b.Sent = append(b.Sent, Sent{m.Key, now, to, kind, conditions, values, m.Subject})
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
