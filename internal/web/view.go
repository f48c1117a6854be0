package web

import (
	"context"
	"math"
	"slices"
	"sort"
	"time"

	"dewcase/internal/assessment"
	"dewcase/internal/picture"
	"dewcase/internal/roof"
	"dewcase/internal/timeline"
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
	if h.Zone == nil {
		h.Zone = time.UTC
	}
	for _, s := range c.Surfaces() {
		h.Surfaces = append(h.Surfaces, surfaceRef{ID: s.ID, Words: surfaceWords(c, s)})
	}
	h.Events = pictureEvents(c)
	h.Repairs = len(c.Repairs()) > 0
	h.From, h.Until, h.HasRecord, err = p.Record.Span(ctx, id)
	return h, err
}

// surfaceWords names a surface by its place, with its id where the place alone
// does not tell it from another.
func surfaceWords(c *roof.Case, s roof.Position) string {
	if len(c.At(s.Place)) > 1 {
		return positionWords(s)
	}
	return placeWords[s.Place]
}

func pictureEvents(c *roof.Case) []picture.Event {
	out := make([]picture.Event, 0, len(c.Events))
	for _, e := range c.Events {
		out = append(out, picture.Event{At: e.At, Kind: string(e.Kind), What: e.What})
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].At.Before(out[j].At) })
	return out
}

// winter is the stretch of nights that one sheet shows.
type winter struct {
	From, Until time.Time // noons
}

// nightOf is the noon at which the night of a time begins.
func nightOf(t time.Time, zone *time.Location) time.Time {
	l := t.In(zone)
	noon := time.Date(l.Year(), l.Month(), l.Day(), 12, 0, 0, 0, zone)
	if noon.After(t) {
		noon = time.Date(l.Year(), l.Month(), l.Day()-1, 12, 0, 0, 0, zone)
	}
	return noon
}

// nightsAfter is the noon n nights later.
func nightsAfter(noon time.Time, n int, zone *time.Location) time.Time {
	l := noon.In(zone)
	return time.Date(l.Year(), l.Month(), l.Day()+n, 12, 0, 0, 0, zone)
}

// longestSheet is how many nights one sheet shows before the record is cut into
// winters; 220 nights are a heating season with some weeks at both ends.
const longestSheet = 220

// winterOf picks the nights to show: the whole record, or of a longer one the
// year from July to June in which its last reading, or the year asked for, lies.
func winterOf(h *head, year int) (winter, []int) {
	from, until := nightOf(h.From, h.Zone), nightsAfter(nightOf(h.Until, h.Zone), 1, h.Zone)
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

// sheet makes the winter sheet of one surface from the record at hourly steps,
// which begin at noon: nights are whole hours long, so every step lies in one
// clock hour of one night.
func sheet(c *roof.Case, v timeline.View, surface roof.Position, w winter, zone *time.Location) picture.WinterSheet {
	out := picture.WinterSheet{ID: "sheet-" + surface.ID, Surface: surfaceWords(c, surface), Zone: zone, Events: pictureEvents(c)}
	var s *timeline.Surface
	for i := range v.Surfaces {
		if v.Surfaces[i].Surface == surface.ID {
			s = &v.Surfaces[i]
		}
	}
	outdoor, covering := column(v, c, roof.OutdoorAir), column(v, c, roof.CoveringUnderside)
	step := 0
	for noon := w.From; noon.Before(w.Until); noon = nightsAfter(noon, 1, zone) {
		n := picture.Night{From: noon, Until: nightsAfter(noon, 1, zone)}
		for step < len(v.Time) && v.Time[step].Before(n.From) {
			step++
		}
		first := step
		for step < len(v.Time) && v.Time[step].Before(n.Until) {
			var h picture.Hour
			if s != nil {
				share, _ := s.Coverage.Get(step)
				h.ObservedMin = share * 60
				h.CondensingMin, _ = s.CondensingMin.Get(step)
				h.AtRiskMin, _ = s.AtRiskMin.Get(step)
				h.FrostMin, _ = s.FrostMin.Get(step)
			}
			n.Hours = append(n.Hours, h)
			step++
		}
		for float64(len(n.Hours)) < n.Until.Sub(n.From).Hours() {
			n.Hours = append(n.Hours, picture.Hour{})
		}
		n.OutdoorMinC = lowest(outdoor, first, step)
		n.UndercoolingK = undercooling(outdoor, covering, first, step)
		out.Nights = append(out.Nights, n)
	}
	return out
}

// column is the temperature of the first position of a place that has any.
func column(v timeline.View, c *roof.Case, place roof.Place) *timeline.Band {
	for _, p := range c.At(place) {
		for i := range v.Positions {
			if v.Positions[i].Position != p.ID {
				continue
			}
			for k := range v.Positions[i].TempC.Mean.Len() {
				if _, ok := v.Positions[i].TempC.Mean.Get(k); ok {
					return &v.Positions[i].TempC
				}
			}
		}
	}
	return nil
}

func lowest(b *timeline.Band, from, until int) *float64 {
	if b == nil {
		return nil
	}
	lo, seen := math.Inf(1), 0
	for i := from; i < until; i++ {
		if x, ok := b.Min.Get(i); ok {
			lo, seen = math.Min(lo, x), seen+1
		}
	}
	if seen*2 < until-from || seen == 0 {
		return nil // half a night does not tell its minimum
	}
	return &lo
}

// undercooling is how far the covering lay below outdoor air for three hours of
// the night, K: the third largest hourly mean.
func undercooling(outdoor, covering *timeline.Band, from, until int) *float64 {
	if outdoor == nil || covering == nil {
		return nil
	}
	var d []float64
	for i := from; i < until; i++ {
		o, ok1 := outdoor.Mean.Get(i)
		c, ok2 := covering.Mean.Get(i)
		if ok1 && ok2 {
			d = append(d, o-c)
		}
	}
	if len(d)*2 < until-from || len(d) < 3 {
		return nil
	}
	slices.Sort(d)
	return &d[len(d)-3]
}

// steps are the lengths that a chart may have.
var steps = []time.Duration{time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour, 7 * 24 * time.Hour}

// stepFor keeps a chart below about 400 points; 0 shows the readings
// themselves.
func stepFor(span time.Duration) time.Duration {
	if span <= 6*time.Hour {
		return 0
	}
	for _, s := range steps {
		if span/s <= 400 {
			return s
		}
	}
	return steps[len(steps)-1]
}

// chart makes the margin chart of one surface from the record.
func chart(c *roof.Case, v timeline.View, surface roof.Position, zone *time.Location) picture.MarginChart {
	m := picture.MarginChart{ID: "margin-" + surface.ID, Surface: surfaceWords(c, surface), Zone: zone,
		From: v.From, Until: v.Until, Time: v.Time, Events: pictureEvents(c)}
	if v.StepS != nil {
		m.Step = time.Duration(*v.StepS) * time.Second
	}
	for i := range v.Surfaces {
		s := &v.Surfaces[i]
		if s.Surface != surface.ID {
			continue
		}
		m.MarginMean, m.MarginMin, m.MarginMax = s.MarginK.Mean, s.MarginK.Min, s.MarginK.Max
		m.Coverage, m.CondensingMin, m.AtRiskMin, m.FrostMin = s.Coverage, s.CondensingMin, s.AtRiskMin, s.FrostMin
	}
	for i := range v.Positions {
		q := &v.Positions[i]
		switch q.Position {
		case surface.ID:
			m.SurfaceC = q.TempC.Mean
		case surface.Meets:
			m.LimitC = limit(q)
			if air, ok := c.Position(surface.Meets); ok {
				m.Air = positionWords(air)
			}
		}
	}
	return m
}

// limit is the temperature at which water begins to form: the frost point where
// the dew point lies below 0 C, which is where the vapour pressure is below
// 611.2 Pa.
func limit(p *timeline.Position) picture.Column {
	f := picture.NewFigures(p.DewPointC.Mean.Len())
	for i := range f.Len() {
		dew, ok := p.DewPointC.Mean.Get(i)
		if !ok {
			continue
		}
		if frost, ok := p.FrostPointC.Mean.Get(i); ok && dew < 0 {
			dew = frost
		}
		f.Set(i, dew)
	}
	return f
}

// multiples makes the positions' picture.
func multiples(c *roof.Case, v timeline.View, zone *time.Location) picture.Positions {
	out := picture.Positions{ID: "positions", Zone: zone, From: v.From, Until: v.Until, Time: v.Time}
	if v.StepS != nil {
		out.Step = time.Duration(*v.StepS) * time.Second
	}
	type ranked struct {
		rank  int
		track picture.PositionTrack
	}
	var all []ranked
	for i := range v.Positions {
		q := &v.Positions[i]
		pos, ok := c.Position(q.Position)
		if !ok {
			continue
		}
		t := picture.PositionTrack{Position: q.Position, Place: positionWords(pos), TempMean: q.TempC.Mean, Coverage: q.Coverage}
		if out.Step > 0 && v.Until.Sub(v.From) > 7*24*time.Hour {
			t.TempMin, t.TempMax = q.TempC.Min, q.TempC.Max
		}
		if pos.Place.IsAir() {
			t.DewMean = q.DewPointC.Mean
		}
		all = append(all, ranked{placeRank[pos.Place], t})
	}
	slices.SortStableFunc(all, func(a, b ranked) int { return a.rank - b.rank })
	for _, r := range all {
		out.Tracks = append(out.Tracks, r.track)
	}
	return out
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
