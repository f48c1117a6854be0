package picture

import (
	"fmt"
	"math"
	"time"

	"dewcase/internal/words"
)

// Effect shows falls with their intervals on one axis from -100 to 100 %.
type Effect struct {
	ID    string
	Falls []words.Change
}

const fallTall = 42.0

// Scene lays the effect out: one row a fall.
func (e Effect) Scene() *Scene {
	s := &Scene{ID: e.ID, Title: "What the repair changed, in like weather", Span: 200}
	x := func(pct float64) float64 { return math.Max(-100, math.Min(100, pct)) + 100 }
	bottom := float64(len(e.Falls))*fallTall + 4
	for _, p := range []float64{-100, -50, 0, 50, 100} {
		class := "grid"
		if p == 0 {
			class = "zero-heavy"
		}
		text := words.Plus(-p, 0) + " %"
		if p == 0 {
			text = "no change"
		}
		anchor := Middle
		if p == -100 {
			anchor = Start
		}
		if p == 100 {
			anchor = End
		}
		s.add(Item{Kind: Rule, Class: class, X: x(p), Y: 0, Y2: bottom},
			Item{Kind: Label, Class: "tick", Text: text, X: x(p), Y: bottom + 14, Anchor: anchor})
	}
	for i, f := range e.Falls {
		y := float64(i) * fallTall
		s.add(Item{Kind: Label, Class: "track-title", Text: f.What, X: 0, Y: y + 14})
		if !f.Known() {
			s.add(Item{Kind: Label, Class: "tick", Text: "could not be had", X: 0, Y: y + 31})
			s.Desc += fmt.Sprintf("%s: could not be had. ", words.Upper(f.What))
			continue
		}
		s.add(Item{Kind: Box, Class: "band-wet", X: x(*f.Low), X2: x(*f.High), Y: y + 21, Y2: y + 33},
			Item{Kind: Rule, Class: "mark-best", X: x(*f.Pct), Y: y + 17, Y2: y + 37})
		s.Desc += words.Sentence(f.Clause().String()) + " "
	}
	s.HeightPx = bottom + 20
	return s
}

// PairedNight is one night after a repair: wet hours measured, and those that
// the unrepaired roof would have had in the same weather.
type PairedNight struct {
	From              time.Time
	Measured, Without *float64 // hours; nil: not observed
}

// PairedNights sets measured against unrepaired, night by night.
type PairedNights struct {
	ID     string
	Words  string // of what: hours wet, hours at risk
	Zone   *time.Location
	Nights []PairedNight
}

// Scene lays the nights out: an outline for the unrepaired roof, filled for what
// was measured.
func (p PairedNights) Scene() *Scene {
	const tall = 110.0
	s := &Scene{ID: p.ID, Title: "Nights after the repair, " + p.Words, Span: float64(max(len(p.Nights), 1))}
	most := 4.0
	for _, n := range p.Nights {
		for _, v := range []*float64{n.Measured, n.Without} {
			if v != nil {
				most = math.Max(most, *v)
			}
		}
	}
	most = math.Ceil(most/4) * 4
	top := 10.0
	base := top + tall
	y := func(h float64) float64 { return base - h/most*tall }
	var measured, without [][]Point
	var gaps [][2]int
	var sumM, sumW float64
	both := 0
	for i, n := range p.Nights {
		a, b := float64(i), float64(i+1)
		if n.Without != nil {
			without = append(without, []Point{{a + 0.06, base}, {a + 0.06, y(*n.Without)}, {b - 0.06, y(*n.Without)},
				{b - 0.06, base}})
		}
		if n.Measured == nil {
			gaps = extend(gaps, i)
			continue
		}
		if *n.Measured > 0 {
			measured = append(measured, box(a+0.22, y(*n.Measured), b-0.22, base))
		}
		if n.Without != nil {
			both++
			sumM, sumW = sumM+*n.Measured, sumW+*n.Without
		}
	}
	unseen(s, gaps, top, base)
	for h := 0.0; h <= most; h += most / 4 {
		s.add(Item{Kind: Level, Class: "grid", X: 0, X2: s.Span, Y: y(h)},
			Item{Kind: Label, Class: "tick", Text: num(h, 1), X: 0, Y: y(h) + 4, DX: -6, Anchor: End})
	}
	s.add(Item{Kind: Area, Class: "s-wet", Courses: measured},
		Item{Kind: Line, Class: "ln unrepaired-bar", Courses: without},
		Item{Kind: Level, Class: "axis", X: 0, X2: s.Span, Y: base})
	w := WinterSheet{Zone: p.Zone}
	for _, n := range p.Nights {
		w.Nights = append(w.Nights, Night{From: n.From})
	}
	w.months(s, top, base)
	s.HeightPx = base + 20
	s.Desc = fmt.Sprintf("On %s after the repair with both known: %s %s measured, %s as the unrepaired roof would have "+
		"had in like weather.",
		words.Count(both, "night"), words.Hours(sumM), p.Words, words.Hours(sumW))
	return s
}
