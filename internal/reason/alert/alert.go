// Package alert decides when a household or its consultant must be told. It
// takes the signs of one house at a time and returns its alerts, raised,
// acknowledged, snoozed, cleared or reopened, and the messages that are due.
// Time is an argument throughout.
package alert

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Condition is one thing worth telling.
type Condition string

// The conditions.
const (
	SurfaceWet    Condition = words.SurfaceWet    // water forms there now; value: hours of this wetting
	WetNights     Condition = words.WetNights     // a run of wet nights; value: nights of the last seven
	FrostMelting  Condition = words.FrostMelting  // frost turns to water and may drip; value: g/m2
	MouldRising   Condition = words.MouldRising   // value: mould index
	TimberWet     Condition = words.TimberWet     // value: % moisture of the wood
	SuddenWetting Condition = words.SuddenWetting // damp that cold does not explain; value: Pa above the usual
	RepairFailing Condition = words.RepairFailing // value: 1 while the verdict has turned
	WorkUnseen    Condition = words.WorkUnseen    // value: 1 while an opening that was made shows no change
	LoggerSilent  Condition = words.LoggerSilent  // value: hours without a word
	BatteryLow    Condition = words.BatteryLow    // value: % of charge
	Implausible   Condition = words.Implausible   // value: doubtful readings of the last day, %
	// value: readings of the last day with a clock that cannot be right, %
	ClockWrong    Condition = words.ClockWrong
	DaemonTrouble Condition = words.DaemonTrouble // store, disk, broker, mirror; value: 1 while it lasts
)

// Conditions lists every condition, the most pressing first.
func Conditions() []Condition {
	return []Condition{SuddenWetting, FrostMelting, SurfaceWet, WetNights, RepairFailing, MouldRising, TimberWet,
		WorkUnseen, DaemonTrouble, LoggerSilent, ClockWrong, Implausible, BatteryLow}
}

// Sign is what is known of one condition at one position at one time.
type Sign struct {
	Condition Condition
	Position  string  // a surface, a logger or a part of the daemon
	Value     float64 // in the condition's unit
	Known     bool    // false: nothing can be said now, and an alert stands as it is
	// At is the time of the newest reading the sign rests on: a sign that is
	// old does not notify as if it were now.
	At time.Time
	// Since is from when the record shows the value without a break where it is
	// now (at or beyond the raising or the clearing limit); zero where the record
	// does not say.
	Since time.Time
	// Tell says that the household should hear of it; otherwise it is for the
	// consultant's page only.
	Tell bool
	// Quiet takes it from the household for good, whatever was so before.
	Quiet bool
	// From and Until are the stretch of the record that shows it.
	From, Until time.Time
	Facts       Facts
}

// Facts are what a text needs beside the value.
type Facts struct {
	Words    string   `json:"words,omitempty"` // the position in a householder's words: "under the slates"
	Spot     string   `json:"spot,omitempty"`  // the position in the trade's words, with its id
	WetHours float64  `json:"wet_hours,omitempty"`
	Nights   int      `json:"nights,omitempty"` // of the last seven, wet
	Seen     int      `json:"seen,omitempty"`   // of the last seven, observed
	Frozen   bool     `json:"frozen,omitempty"`
	Chance   *float64 `json:"chance,omitempty"` // of water tonight
	Detail   string   `json:"detail,omitempty"` // for the consultant, with figures
}

// State is where an alert is in its life.
type State string

// The states. A watched condition without an alert has none.
const (
	Raised       State = "raised"
	Acknowledged State = "acknowledged"
	Snoozed      State = "snoozed"
	Cleared      State = "cleared"
)

// Alert is one condition at one position, with its life.
type Alert struct {
	ID        string    `json:"id"`
	Condition Condition `json:"condition"`
	Position  string    `json:"position"`
	State     State     `json:"state,omitempty"` // "" only pending
	Since     time.Time `json:"since,omitzero"`  // raised
	Cleared   time.Time `json:"cleared,omitzero"`
	Reopened  int       `json:"reopened,omitempty"`
	AckBy     string    `json:"ack_by,omitempty"`
	AckAt     time.Time `json:"ack_at,omitzero"`
	AckValue  float64   `json:"ack_value,omitempty"`
	SnoozedTo time.Time `json:"snoozed_to,omitzero"`

	Value float64   `json:"value"`
	Worst float64   `json:"worst"`
	At    time.Time `json:"at,omitzero"` // newest evidence
	Tell  bool      `json:"tell,omitempty"`
	From  time.Time `json:"from,omitzero"`
	Until time.Time `json:"until,omitzero"`
	Facts Facts     `json:"facts"`

	// Over and Under are from when the value has been beyond the raising or the
	// clearing limit without a break.
	Over  time.Time `json:"over,omitzero"`
	Under time.Time `json:"under,omitzero"`

	// What was sent about it, by audience.
	LastTold map[Audience]Sending `json:"told,omitempty"`
}

// Sending is the last that an audience heard of an alert.
type Sending struct {
	At    time.Time `json:"at"`
	Value float64   `json:"value"`
	Count int       `json:"count"` // messages in this raising
}

// Open reports whether the alert is in force.
func (a *Alert) Open() bool {
	return a.State == Raised || a.State == Acknowledged || a.State == Snoozed
}

// Transition is one step of an alert's life.
type Transition struct {
	ID   string
	From State
	To   State
	At   time.Time
	// Late: it rests on old evidence, so that nobody is told of it as if it were
	// now.
	Late bool
}

// Book is everything that is kept of one case's alerts between two steps.
type Book struct {
	Alerts []*Alert `json:"alerts"`
	Serial int      `json:"serial"` // of messages
	Sent   []Sent   `json:"sent"`   // messages of the last weeks, oldest first
	// Planned are messages that are due and not yet handed on: kept together with
	// what was booked for them, so that a crash neither loses nor doubles one.
	Planned []Message `json:"planned,omitempty"`
	// Level is whose water it is that forms, and LevelAt when that was last so.
	Level   Level     `json:"level"`
	LevelAt time.Time `json:"level_at,omitzero"`
}

// Level says whose water it is that forms in a roof.
type Level = words.Level

// The levels.
const (
	Dew    = words.FromOutdoors // no defect, nobody is rung
	Unsure = words.NotTold      // the household gets one note
	Damp   = words.FromWithin
)

// How long a higher level stands after it was last seen: a damp roof is not
// sound because of a dry week, but what may as well be dew is judged by the
// night at hand.
const (
	dampHolds   = 10 * 24 * time.Hour
	unsureHolds = 36 * time.Hour
)

// Judge takes what the record shows now about whose water it is. A level rises
// at once and falls after days without it.
func (b *Book) Judge(l Level, now time.Time) {
	holds := dampHolds
	if b.Level < Damp {
		holds = unsureHolds
	}
	if l >= b.Level || now.Sub(b.LevelAt) > holds {
		b.Level, b.LevelAt = l, now
	}
}

// Sent says who was written to when, about what.
type Sent struct {
	Key        string      `json:"key"`
	At         time.Time   `json:"at"`
	To         Audience    `json:"to"`
	Kind       Kind        `json:"kind"`
	Conditions []Condition `json:"conditions"`
	// Values are what the conditions were worth when they were told, the worst of each.
	Values  map[Condition]float64 `json:"values,omitempty"`
	Subject string                `json:"subject"`
}

// keepCleared is how long a cleared alert is remembered, for the pages.
const keepCleared = 60 * 24 * time.Hour

// find returns the alert of a condition at a position, nil for none.
func (b *Book) find(c Condition, position string) *Alert {
	for _, a := range b.Alerts {
		if a.Condition == c && a.Position == position {
			return a
		}
	}
	return nil
}

// Step takes the signs of one moment. An alert whose sign is missing is no
// longer watched (its surface or logger left the case) and is cleared; one whose
// sign is not known stands. The book is changed in place.
func Step(b *Book, signs []Sign, rules Rules, now time.Time) []Transition {
	var out []Transition
	seen := map[*Alert]bool{}
	for _, s := range signs {
		r, ok := rules[s.Condition]
		if !ok {
			continue
		}
		a := b.find(s.Condition, s.Position)
		if a == nil {
			a = &Alert{Condition: s.Condition, Position: s.Position}
			b.Alerts = append(b.Alerts, a)
		}
		seen[a] = true
		if a.State == Snoozed && !now.Before(a.SnoozedTo) {
			out = append(out, a.to(Raised, now, false))
			a.SnoozedTo = time.Time{}
		}
		if s.Known {
			out = append(out, a.take(s, r, now)...)
		}
	}
	kept := b.Alerts[:0]
	for _, a := range b.Alerts {
		if !seen[a] && a.Open() {
			out = append(out, a.to(Cleared, now, true))
			a.Cleared = now
		}
		if !seen[a] && a.State == "" || a.State == Cleared && now.Sub(a.Cleared) > keepCleared {
			continue
		}
		kept = append(kept, a)
	}
	b.Alerts = kept
	slices.SortFunc(b.Alerts, func(x, y *Alert) int {
		return cmp.Or(cmp.Compare(x.Condition, y.Condition), cmp.Compare(x.Position, y.Position))
	})
	return out
}

// to changes the state and says so.
func (a *Alert) to(s State, now time.Time, late bool) Transition {
	t := Transition{ID: a.ID, From: a.State, To: s, At: now, Late: late}
	a.State = s
	return t
}

// take takes one known sign.
func (a *Alert) take(s Sign, r Rule, now time.Time) []Transition {
	a.Value = s.Value
	if a.State == "" || !r.under(s.Value) { // what is over keeps the facts it was in force with
		a.Facts = s.Facts
	}
	late := now.Sub(s.At) > r.Fresh
	switch {
	case r.over(s.Value):
		a.Over, a.Under = s.from(a.Over), time.Time{}
	case r.under(s.Value):
		a.Over, a.Under = time.Time{}, s.from(a.Under)
	default: // inside the band nothing changes and no time runs
		a.Over, a.Under = time.Time{}, time.Time{}
	}
	if s.At.After(a.At) {
		a.At = s.At
	}
	if a.Open() {
		return a.stay(s, r, now, late)
	}
	if a.Over.IsZero() || s.At.Sub(a.Over) < r.For {
		return nil
	}
	return []Transition{a.raise(s, r, now, late)}
}

// from is from when the value has been where it is, known so far as from before.
func (s Sign) from(before time.Time) time.Time {
	if before.IsZero() {
		before = s.At
	}
	if !s.Since.IsZero() && s.Since.Before(before) {
		return s.Since
	}
	return before
}

func (a *Alert) raise(s Sign, r Rule, now time.Time, late bool) Transition {
	since := a.Over
	if a.State == Cleared && since.Sub(a.Cleared) < r.Reopen {
		a.Reopened++
	} else {
		a.ID = fmt.Sprintf("%s.%s.%d", s.Condition, s.Position, since.Unix())
		a.Since, a.Reopened, a.Worst, a.LastTold = since, 0, s.Value, nil
		a.AckBy, a.AckAt, a.AckValue = "", time.Time{}, 0
	}
	a.Cleared, a.SnoozedTo = time.Time{}, time.Time{}
	a.From, a.Until, a.Tell = s.From, s.Until, s.Tell && !s.Quiet
	a.Worst = r.worse(a.Worst, s.Value)
	t := a.to(Raised, now, late)
	t.ID = a.ID
	return t
}

func (a *Alert) stay(s Sign, r Rule, now time.Time, late bool) []Transition {
	a.Tell = (a.Tell || s.Tell) && !s.Quiet
	a.Worst = r.worse(a.Worst, s.Value)
	if !s.From.IsZero() && !a.Over.IsZero() {
		if s.From.Before(a.From) {
			a.From = s.From
		}
		a.Until = s.Until
	}
	if !a.Under.IsZero() && s.At.Sub(a.Under) >= r.ClearFor {
		a.Cleared = a.Under
		return []Transition{a.to(Cleared, now, late)}
	}
	if (a.State == Acknowledged || a.State == Snoozed) && r.worsened(a.AckValue, s.Value) {
		a.SnoozedTo = time.Time{}
		return []Transition{a.to(Raised, now, late)}
	}
	return nil
}

// ErrNoAlert is returned where there is no open alert of the name.
var ErrNoAlert = roof.NewError(roof.NotFound, "there is no open alert of that name")

func (b *Book) open(id string) (*Alert, error) {
	for _, a := range b.Alerts {
		if a.ID == id && a.Open() {
			return a, nil
		}
	}
	return nil, fmt.Errorf("alert %q: %w", id, ErrNoAlert)
}

// Acknowledge marks an open alert as seen: it is not told again unless it
// worsens or comes back.
func (b *Book) Acknowledge(id, by string, now time.Time) (Transition, error) {
	a, err := b.open(id)
	if err != nil {
		return Transition{}, err
	}
	a.AckBy, a.AckAt, a.AckValue, a.SnoozedTo = by, now, a.Value, time.Time{}
	return a.to(Acknowledged, now, false), nil
}

// ErrSnooze is wrapped where an alert is to be snoozed for too long, or not at all.
var ErrSnooze = roof.NewError(roof.Request, "choose a time within the next 31 days")

// Snooze keeps an open alert quiet until a time, unless it worsens.
func (b *Book) Snooze(id, by string, until, now time.Time) (Transition, error) {
	a, err := b.open(id)
	if err != nil {
		return Transition{}, err
	}
	if !until.After(now) || until.Sub(now) > 31*24*time.Hour {
		return Transition{}, fmt.Errorf("snoozing alert %q until %s: %w", id, until.Format(time.RFC3339), ErrSnooze)
	}
	a.AckBy, a.AckAt, a.AckValue, a.SnoozedTo = by, now, a.Value, until
	return a.to(Snoozed, now, false), nil
}
