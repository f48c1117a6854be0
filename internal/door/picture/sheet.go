package picture

import (
	"fmt"
	"math"
	"time"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/words"
)

// State is the one state that a field of the winter sheet shows.
type State uint8

// The states. NotObserved is the zero value, so that what nobody filled in
// never reads as dry.
const (
	NotObserved State = iota
	Dry
	Near
	Wet
	Frost
)

// String names the state as the pages do.
func (s State) String() string {
	return [...]string{"not observed", "dry", "near", "wet", "frost"}[min(s, Frost)]
}

// Hour is one clock hour of one night at one surface, in minutes. At risk
// includes condensing, and frost is the part of condensing with the surface
// below 0 C (design, "Risk at a surface").
type Hour struct {
	ObservedMin, CondensingMin, AtRiskMin, FrostMin float64
}

// ShortMin is how many minutes of water are enough to mark an hour. Ten is
// short enough that no hour a person would call wet looks dry, and long enough
// that one crossing between two readings five minutes apart does not mark it.
const ShortMin = 60 * evidence.BrieflyWetHours

// State returns the field's state: wet (or frost, where at least half of the wet
// minutes were frosted) from 10 minutes of condensing, even in an hour that was
// mostly not observed; then near from 10 minutes at risk; then not observed
// where fewer than 30 minutes were; dry only where nothing of this holds.
func (h Hour) State() State {
	switch {
	case h.CondensingMin >= ShortMin && h.FrostMin*2 >= h.CondensingMin:
		return Frost
	case h.CondensingMin >= ShortMin:
		return Wet
	case h.AtRiskMin >= ShortMin:
		return Near
	case h.ObservedMin < 30:
		return NotObserved
	}
	return Dry
}

// Night is noon to noon at one surface.
type Night struct {
	From, Until   time.Time
	Hours         []Hour   // elapsed hours from noon: 24, or 23 or 25 where the clocks change; half an hour may end it
	OutdoorMinC   *float64 // nil: not known
	UndercoolingK *float64 // outdoor air minus covering, K, as held for three hours of the night; nil: not known
}

// Forget makes every night one that was not observed, as the figures of a logger
// cannot be.
func (w *WinterSheet) Forget() {
	for i, n := range w.Nights {
		w.Nights[i].Hours = make([]Hour, len(n.Hours))
	}
}

// Sum adds a night's hours up.
func (n Night) Sum() Hour {
	var s Hour
	for _, h := range n.Hours {
		s.ObservedMin += h.ObservedMin
		s.CondensingMin += h.CondensingMin
		s.AtRiskMin += h.AtRiskMin
		s.FrostMin += h.FrostMin
	}
	return s
}

// Coverage returns the observed share of the night, 0 to 1.
func (n Night) Coverage() float64 {
	d := n.Until.Sub(n.From).Minutes()
	if d <= 0 {
		return 0
	}
	return math.Min(n.Sum().ObservedMin/d, 1)
}

// State returns what the night was.
func (n Night) State() words.NightState {
	s := n.Sum()
	return evidence.State(s.CondensingMin/60, s.ObservedMin/60, n.Until.Sub(n.From).Hours())
}

// IsFrost reports that most of the night's water was frost.
func (n Night) IsFrost() bool {
	s := n.Sum()
	return evidence.FrostNight(s.CondensingMin, s.FrostMin)
}

// Sky says how the night was.
type Sky uint8

// The skies.
const (
	SkyUnknown Sky = iota
	Overcast
	Broken
	Clear
)

// String names the sky.
func (s Sky) String() string {
	return [...]string{"sky unknown", "overcast", "broken", "clear"}[min(s, Clear)]
}

// overcastK is the undercooling of the covering, held as long as that of a clear
// night, below which a night counts as overcast (common practice: an overcast
// night leaves a covering within 1 K of the air).
const overcastK = 1.0

// Sky judges the night by the undercooling of the covering.
func (n Night) Sky() Sky {
	switch {
	case n.UndercoolingK == nil:
		return SkyUnknown
	case *n.UndercoolingK > evidence.ClearNightK:
		return Clear
	case *n.UndercoolingK < overcastK:
		return Overcast
	}
	return Broken
}

// Event is a repair or a remark, drawn as a rule with a flag.
type Event struct {
	At   time.Time
	Kind string // repair | note | inspection | weather
	What string
}

// IsRepair reports whether the event is a repair.
func (e Event) IsRepair() bool { return e.Kind == "repair" }

// WinterSheet is the signature picture: one column a night, noon to noon from
// top to bottom, each hour one field in one of five states.
type WinterSheet struct {
	ID      string // unique on the page
	Surface string // in words: under the covering (slate)
	Zone    *time.Location
	Nights  []Night // in time order, without holes: a night without readings has hours of 0 observed minutes
	Events  []Event
	// WindowFrom and WindowUntil mark the stretch that the chart below shows;
	// zero marks nothing.
	WindowFrom, WindowUntil time.Time
}

// CountNights counts a run of nights.
func CountNights(nights []Night) (n words.Nights) {
	for _, x := range nights {
		n.Add(x.State(), x.IsFrost())
	}
	return n
}

// WetHours adds up the wet hours of a run of nights, counted.
func WetHours(nights []Night) (h float64) {
	for _, n := range nights {
		h += n.Sum().CondensingMin / 60
	}
	return h
}

// Split divides the nights at a time: the night in which it lies belongs to
// neither side.
func (w WinterSheet) Split(at time.Time) (before, after []Night) {
	for _, n := range w.Nights {
		switch {
		case !n.Until.After(at):
			before = append(before, n)
		case !n.From.Before(at):
			after = append(after, n)
		}
	}
	return before, after
}

// Words says what the sheet shows, as its text alternative.
func (w WinterSheet) Words() string {
	if len(w.Nights) == 0 {
		return "No night has been recorded yet."
	}
	first, last := w.Nights[0].From.In(zoneOf(w.Zone)), w.Nights[len(w.Nights)-1].From.In(zoneOf(w.Zone))
	s := fmt.Sprintf("%s from the night of %s to that of %s. ", words.Upper(words.Count(len(w.Nights), "night")),
		first.Format("2 January 2006"), last.Format("2 January 2006"))
	return s + w.Said(w.Surface).Nights()
}

// Said returns what is said of the sheet's nights: of all, or before and after the
// last repair within them.
func (w WinterSheet) Said(where string) words.SurfaceRecord {
	r := words.SurfaceRecord{Where: where}
	var repair *Event
	for i, e := range w.Events {
		if e.IsRepair() && len(w.Nights) > 0 && e.At.After(w.Nights[0].From) && e.At.Before(w.Nights[len(w.Nights)-1].Until) {
			if repair == nil || e.At.After(repair.At) {
				repair = &w.Events[i]
			}
		}
	}
	if repair == nil {
		r.Spans = []words.Span{{Nights: CountNights(w.Nights)}}
		return r
	}
	before, after := w.Split(repair.At)
	r.Repair = words.Day(repair.At, zoneOf(w.Zone))
	r.Spans = []words.Span{{Nights: CountNights(before)}, {Nights: CountNights(after)}}
	return r
}
