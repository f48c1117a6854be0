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

// Sheet makes the winter sheet of one surface from the record at steps of
// evidence.SheetStep, which begin at noon, so that every step lies in one clock
// hour of one night; from and until are noons.
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
	length := time.Hour
	if v.StepS != nil {
		length = time.Duration(*v.StepS) * time.Second
	}
	perHour := max(int(time.Hour/length), 1)
	mean := func(b *timeline.Band) timeline.Column { return b.Mean }
	outdoor, covering := column(v, c, roof.OutdoorAir, perHour, mean), column(v, c, roof.CoveringUnderside, perHour, mean)
	outdoorMin := column(v, c, roof.OutdoorAir, perHour, func(b *timeline.Band) timeline.Column { return b.Min })
	step := 0
	for noon := from; noon.Before(until); noon = evidence.NoonAfter(noon, 1, zone) {
		n := picture.Night{From: noon, Until: evidence.NoonAfter(noon, 1, zone)}
		n.Hours = make([]picture.Hour, (n.Until.Sub(n.From)+time.Hour-1)/time.Hour)
		for step < len(v.Time) && v.Time[step].Before(n.From) {
			step++
		}
		first := step
		for ; step < len(v.Time) && v.Time[step].Before(n.Until); step++ {
			if s == nil {
				continue
			}
			h := &n.Hours[v.Time[step].Sub(n.From)/time.Hour]
			share, _ := s.Coverage.Get(step)
			wet, _ := s.CondensingMin.Get(step)
			near, _ := s.AtRiskMin.Get(step)
			frost, _ := s.FrostMin.Get(step)
			h.ObservedMin, h.CondensingMin = h.ObservedMin+share*length.Minutes(), h.CondensingMin+wet
			h.AtRiskMin, h.FrostMin = h.AtRiskMin+near, h.FrostMin+frost
		}
		if outdoor != nil {
			n.OutdoorMinC = lowest(outdoorMin[first:step])
			if covering != nil {
				n.UndercoolingK = undercooling(outdoor[first:step], covering[first:step],
					evidence.ClearNightHours*perHour)
			}
		}
		out.Nights = append(out.Nights, n)
	}
	return out
}

// column is a figure of the temperatures of a place's positions together, NaN
// where none was observed; nil for a place without any.
func column(v timeline.View, c *roof.Case, place roof.Place, perHour int,
	of func(*timeline.Band) timeline.Column) []float64 {
	var parts [][]float64
	for _, p := range c.At(place) {
		for i := range v.Positions {
			if v.Positions[i].Position != p.ID {
				continue
			}
			col := of(&v.Positions[i].TempC)
			part := slices.Repeat([]float64{math.NaN()}, len(v.Time))
			seen := false
			for k := range col.Len() {
				if x, ok := col.Get(k); ok {
					part[k], seen = x, true
				}
			}
			if seen {
				parts = append(parts, part)
			}
		}
	}
	return evidence.Join(parts, perHour)
}

func lowest(low []float64) *float64 {
	lo, seen := math.Inf(1), 0
	for _, x := range low {
		if !math.IsNaN(x) {
			lo, seen = math.Min(lo, x), seen+1
		}
	}
	if seen*2 < len(low) || seen == 0 {
		return nil // half a night does not tell its minimum
	}
	return &lo
}

// undercooling is how far the covering lay below outdoor air for as long as makes a
// clear night, K: the lowest of its greatest means over that many steps.
func undercooling(outdoor, covering []float64, steps int) *float64 {
	var d []float64
	for i, o := range outdoor {
		if x := o - covering[i]; !math.IsNaN(x) {
			d = append(d, x)
		}
	}
	if len(d)*2 < len(outdoor) || len(d) < steps {
		return nil
	}
	slices.Sort(d)
	return &d[len(d)-steps]
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
