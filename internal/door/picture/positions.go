package picture

import (
	"fmt"
	"time"

	"dewcase/internal/words"
)

// PositionTrack is one position over time.
type PositionTrack struct {
	Position string // id
	Place    string // in words
	// Temperature per step; dew point where humidity was measured, else nil.
	TempMean, TempMin, TempMax Column // C
	DewMean                    Column // C
	Coverage                   Column // share of each step, 0..1
}

// Positions are small multiples on one time axis and one temperature axis, in
// the order of the roof: never many lines in one frame.
type Positions struct {
	ID          string
	Zone        *time.Location
	From, Until time.Time
	Time        []time.Time
	Step        time.Duration
	Tracks      []PositionTrack // from indoors to outdoors
}

const (
	trackTall  = 64.0
	trackTitle = 18.0
)

// Scene lays the positions out below each other.
func (p Positions) Scene() *Scene {
	s := &Scene{ID: p.ID, Title: "Positions, from indoors to outdoors", Desc: p.Words(), Span: marginSpan}
	lo, hi := p.limits()
	y := 0.0
	for _, t := range p.Tracks {
		m := MarginChart{Zone: p.Zone, From: p.From, Until: p.Until, Time: p.Time, Step: p.Step, Coverage: t.Coverage,
			MarginMean: t.TempMean}
		top := y + trackTitle
		bottom := top + trackTall
		scale := func(c float64) float64 { return top + (hi-c)/(hi-lo)*trackTall }
		unseen(s, m.gaps(), top, bottom)
		m.ticks(s, top, bottom)
		s.add(Item{Kind: Label, Class: "track-title", Text: t.Place, X: 0, Y: y + 13},
			Item{Kind: Level, Class: "grid", X: 0, X2: s.Span, Y: top},
			Item{Kind: Level, Class: "axis", X: 0, X2: s.Span, Y: bottom},
			Item{Kind: Label, Class: "tick", Text: words.Whole(hi), X: 0, Y: top + 4, DX: -6, Anchor: End},
			Item{Kind: Label, Class: "tick", Text: words.Whole(lo), X: 0, Y: bottom + 4, DX: -6, Anchor: End})
		if lo < 0 && hi > 0 {
			s.add(Item{Kind: Level, Class: "zero", X: 0, X2: s.Span, Y: scale(0)})
			if scale(0)-top > 12 && bottom-scale(0) > 12 {
				s.add(Item{Kind: Label, Class: "tick", Text: "0", X: 0, Y: scale(0) + 4, DX: -6, Anchor: End})
			}
		}
		if t.TempMin != nil && t.TempMax != nil {
			s.add(Item{Kind: Area, Class: "band", Courses: m.between(t.TempMin, t.TempMax, scale), Top: top, Bottom: bottom})
		}
		s.add(Item{Kind: Line, Class: "ln surface", Courses: m.line(t.TempMean, scale), Top: top, Bottom: bottom})
		if t.DewMean != nil {
			s.add(Item{Kind: Line, Class: "ln limit", Courses: m.line(t.DewMean, scale), Top: top, Bottom: bottom})
		}
		y = bottom + 6
	}
	timeLabels(s, y+12, p.From, p.Until, p.Zone)
	s.HeightPx = y + 20
	return s
}

func (p Positions) limits() (lo, hi float64) {
	var all []Column
	for _, t := range p.Tracks {
		all = append(all, t.TempMin, t.TempMax, t.TempMean, t.DewMean)
	}
	if lo, hi = extremes(all...); lo > hi {
		return 0, 20
	}
	lo, hi, _ = whole(lo, hi, 0, 5)
	return lo, hi
}

// Words says what the drawing shows, as its text alternative.
func (p Positions) Words() string {
	s := ""
	for _, t := range p.Tracks {
		lo, hi := extremes(t.TempMin, t.TempMax, t.TempMean)
		if lo > hi {
			s += fmt.Sprintf("%s: not observed. ", words.Upper(t.Place))
			continue
		}
		s += fmt.Sprintf("%s: %s to %s °C. ", words.Upper(t.Place), words.Signed(lo), words.Signed(hi))
	}
	if s == "" {
		return "No position is known."
	}
	return s[:len(s)-1]
}
