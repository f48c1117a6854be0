package drawing

import (
	"math"
	"slices"
	"time"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Sheet makes the winter sheet of one surface from the record at hourly steps,
// which begin at noon: nights are whole hours long, so every step lies in one
// clock hour of one night; from and until are noons.
func Sheet(c *roof.Case, v timeline.View, surface roof.Position, from, until time.Time,
	zone *time.Location) picture.WinterSheet {
	out := picture.WinterSheet{ID: "sheet-" + surface.ID, Surface: words.Surface(c, surface), Zone: zone,
		Events: Events(c)}
	var s *timeline.Surface
	for i := range v.Surfaces {
		if v.Surfaces[i].Surface == surface.ID {
			s = &v.Surfaces[i]
		}
	}
	outdoor, covering := column(v, c, roof.OutdoorAir), column(v, c, roof.CoveringUnderside)
	step := 0
	for noon := from; noon.Before(until); noon = evidence.NoonAfter(noon, 1, zone) {
		n := picture.Night{From: noon, Until: evidence.NoonAfter(noon, 1, zone)}
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

// StepFor keeps a chart below about 400 points; 0 shows the readings
// themselves.
func StepFor(span time.Duration) time.Duration {
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

// Chart makes the margin chart of one surface from the record.
func Chart(c *roof.Case, v timeline.View, surface roof.Position, zone *time.Location) picture.MarginChart {
	m := picture.MarginChart{ID: "margin-" + surface.ID, Surface: words.Surface(c, surface), Zone: zone,
		From: v.From, Until: v.Until, Time: v.Time, Events: Events(c)}
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
				m.Air = words.Position(air)
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

// trackWords name a position above its track, which is as wide as a phone: a
// long id stands alone.
func trackWords(p roof.Position) string {
	if name := words.Position(p); len(name) <= 40 {
		return name
	}
	return "(" + p.ID + ")"
}

// Multiples makes the positions' picture.
func Multiples(c *roof.Case, v timeline.View, zone *time.Location) picture.Positions {
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
		t := picture.PositionTrack{Position: q.Position, Place: trackWords(pos), TempMean: q.TempC.Mean, Coverage: q.Coverage}
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
