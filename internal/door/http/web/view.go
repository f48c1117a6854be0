package web

import (
	"context"
	"slices"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// head is what every page of a case shows about it.
type head struct {
	ID, Label   string
	Zone        *time.Location
	Case        *roof.Case
	From, Until time.Time // of the record
	HasRecord   bool
	Coverage    float64 // mean share observed over the positions
	Surfaces    []surfaceRef
	Events      []picture.Event
	Repairs     bool
	LeftOut     string // what a person left out of the record, in words; "" nothing
}

// surfaceRef is one surface to choose.
type surfaceRef struct {
	ID, Words string
	Chosen    bool
}

func (p *Pages) head(ctx context.Context, id string) (*head, error) {
	c, err := p.Cases.Case(ctx, id)
	if err != nil {
		return nil, err
	}
	h := &head{ID: c.ID, Label: c.Property.Label, Zone: c.Property.Zone, Case: c}
	if h.Label == "" {
		h.Label = c.ID
	}
	for _, s := range c.Surfaces() {
		h.Surfaces = append(h.Surfaces, surfaceRef{ID: s.ID, Words: words.Surface(c, s)})
	}
	h.Events = drawing.Events(c)
	h.Repairs = len(c.Repairs()) > 0
	h.From, h.Until, h.HasRecord, err = p.Record.Span(ctx, id)
	if out := c.LeftOut("", h.From, h.Until); out > 0 {
		h.LeftOut = words.LeftOut(out.Hours(), len(c.Excluded))
	}
	return h, err
}

// choose puts the surfaces in the order of every page and marks the one shown.
func (h *head) choose(c *roof.Case, a assessment.Answer, shown string) {
	turn := drawing.Turn(c, a)
	slices.SortStableFunc(h.Surfaces, func(x, y surfaceRef) int { return turn(x.ID) - turn(y.ID) })
	for i := range h.Surfaces {
		h.Surfaces[i].Chosen = h.Surfaces[i].ID == shown
	}
}

// winter is the stretch of nights that one sheet shows.
type winter struct {
	From, Until time.Time // noons
}

// longestSheet is how many nights one sheet shows before the record is cut into
// winters; 220 nights are a heating season with some weeks at both ends.
const longestSheet = 220

// winterOf picks the nights to show: the whole record, or of a longer one the
// year from July to June in which its last reading, or the year asked for, lies.
func winterOf(h *head, year int) (winter, []int) {
	from, until := evidence.Noon(h.From, h.Zone), evidence.NoonAfter(evidence.Noon(h.Until, h.Zone), 1, h.Zone)
	if until.Sub(from) <= longestSheet*24*time.Hour {
		return winter{from, until}, nil
	}
	season := func(t time.Time) int {
		l := t.In(h.Zone)
		if l.Month() < time.July {
			return l.Year() - 1
		}
		return l.Year()
	}
	first, last := season(from), season(h.Until)
	if year < first || year > last {
		year = last
	}
	var years []int
	for y := first; y <= last; y++ {
		years = append(years, y)
	}
	w := winter{time.Date(year, time.July, 1, 12, 0, 0, 0, h.Zone), time.Date(year+1, time.July, 1, 12, 0, 0, 0, h.Zone)}
	if w.From.Before(from) {
		w.From = from
	}
	if w.Until.After(until) {
		w.Until = until
	}
	return w, years
}

// meanCoverage is the mean share observed over the positions.
func meanCoverage(a assessment.Answer) float64 {
	if len(a.Coverage) == 0 {
		return 0
	}
	sum := 0.0
	for _, c := range a.Coverage {
		sum += c.Share
	}
	return sum / float64(len(a.Coverage))
}
