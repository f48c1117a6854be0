package picture

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"dewcase/internal/words"
)

// Sample is a curve at one time, or over the step around it.
type Sample struct {
	At             time.Time
	Mean, Min, Max float64
}

// Curve is one quantity of one position. Runs are its observed stretches.
type Curve struct {
	Name string // in words
	Look int    // from 0: how its line is drawn, the same in every panel
	Runs [][]Sample
	Bars bool // an amount a step, drawn from zero
	// Tag names the curve at its right end; "" leaves that to the page's legend.
	Tag string
}

// Looks is how many lines can be told from one another.
const Looks = 8

// CurvePanel is the curves of one axis.
type CurvePanel struct {
	Unit     string
	Decimals int
	Curves   []Curve
	Lo, Hi   *float64 // set by hand; nil follows the data
	Unseen   [][2]time.Time
	Marks    []Mark
}

// Mark is a figure that something rests on: a line at one value of the axis, or a
// band between two.
type Mark struct {
	Lo, Hi float64
	Label  string
}

// CurveChart is any quantities over one stretch of time, panel under panel.
type CurveChart struct {
	ID          string
	Zone        *time.Location
	From, Until time.Time
	Step        time.Duration // 0: the readings
	Panels      []CurvePanel
	Events      []Event
	Notes       []string // figures that stand on no axis
	Clock       bool     // the axis is a night's clock, of no date
}

const (
	curveTall  = 150.0
	curveTitle = 24.0
)

func (c *CurveChart) x(t time.Time) float64 {
	return float64(t.Sub(c.From)) / float64(max(c.Until.Sub(c.From), 1)) * marginSpan
}

// Scene lays the panels out below each other.
func (c CurveChart) Scene() *Scene {
	s := &Scene{ID: c.ID, Title: "Chart", Desc: c.Words(), Span: marginSpan}
	y := sheetFlagRow
	for i := range c.Panels {
		p := &c.Panels[i]
		top := y + curveTitle
		c.panel(s, p, top, top+curveTall)
		y = top + curveTall + 4
	}
	if c.Clock {
		hours := timeTicks(c.From, c.Until, c.Zone)
		for i := range hours {
			hours[i].label = hours[i].at.In(zoneOf(c.Zone)).Format("15:04")
		}
		labels(s, y+12, c.From, c.Until, hours)
	} else {
		timeLabels(s, y+12, c.From, c.Until, c.Zone)
	}
	for i, e := range c.Events {
		if e.At.Before(c.From) || !e.At.Before(c.Until) {
			continue
		}
		s.flag(e.flag(i+1), e, c.x(e.At), 11, y-4)
	}
	for i, n := range c.Notes {
		s.add(Item{Kind: Label, Class: "axis-title", Text: n, X: 0, Y: sheetFlagRow + curveTitle + 13 + 15*float64(i),
			DX: 4})
	}
	s.titlesLast()
	s.HeightPx = y + 20
	return s
}

func (c *CurveChart) panel(s *Scene, p *CurvePanel, top, bottom float64) {
	lo, hi, step := p.limits()
	scale := func(v float64) float64 { return top + (hi-v)/(hi-lo)*(bottom-top) }
	var gaps [][2]float64
	for _, g := range p.Unseen {
		gaps = append(gaps, [2]float64{max(c.x(g[0]), 0), min(c.x(g[1]), marginSpan)})
	}
	unseen(s, gaps, top, bottom)
	for _, t := range timeTicks(c.From, c.Until, c.Zone) {
		s.add(Item{Kind: Rule, Class: "grid", X: c.x(t.at), Y: top, Y2: bottom})
	}
	levels(lo, hi, step, func(v float64, text string) {
		class := "grid"
		if v == 0 {
			class = "zero"
		}
		s.add(Item{Kind: Level, Class: class, X: 0, X2: marginSpan, Y: scale(v)},
			Item{Kind: Label, Class: "tick", Text: text, X: 0, Y: scale(v) + 4, DX: -6, Anchor: End})
	})
	title := p.Unit
	if len(p.Curves) == 1 {
		title = p.Curves[0].Name + ", " + p.Unit
	}
	s.add(Item{Kind: Label, Class: "axis-title", Text: title, X: 0, Y: top - 7})
	for _, k := range p.Curves {
		class := fmt.Sprintf("ln curve-%d", k.Look%Looks+1)
		var lines, bands, bars [][]Point
		half := marginSpan * float64(c.Step) / float64(max(c.Until.Sub(c.From), 1)) / 2
		for _, run := range k.Runs {
			var line, up, down []Point
			for _, x := range run {
				px := c.x(x.At)
				line = append(line, Point{px, scale(x.Mean)})
				up, down = append(up, Point{px, scale(x.Max)}), append(down, Point{px, scale(x.Min)})
				if k.Bars && x.Mean > 0 {
					w := max(half, 0.5)
					bars = append(bars, []Point{{px - w, scale(0)}, {px - w, scale(x.Mean)}, {px + w, scale(x.Mean)},
						{px + w, scale(0)}})
				}
			}
			if len(line) == 1 {
				line = []Point{{line[0].X - max(half, 0.5), line[0].Y}, {line[0].X + max(half, 0.5), line[0].Y}}
			}
			slices.Reverse(down)
			lines, bands = append(lines, line), append(bands, append(up, down...))
		}
		switch {
		case k.Bars:
			s.add(Item{Kind: Area, Class: "s-near", Courses: bars, Top: top, Bottom: bottom})
		case len(lines) > 0:
			if c.Step > 0 {
				s.add(Item{Kind: Area, Class: "curve-band", Courses: bands, Top: top, Bottom: bottom})
			}
			s.add(Item{Kind: Line, Class: class, Courses: lines, Top: top, Bottom: bottom})
		}
	}
	c.tags(s, p, top, scale)
	for _, m := range p.Marks {
		if m.Hi > m.Lo {
			s.add(Item{Kind: Box, Class: "mark-band", X: 0, X2: marginSpan, Y: scale(min(m.Hi, hi)), Y2: scale(max(m.Lo, lo))})
		}
		if m.Hi < lo || m.Hi > hi {
			continue
		}
		s.add(Item{Kind: Level, Class: "mark-line", X: 0, X2: marginSpan, Y: scale(m.Hi)},
			Item{Kind: Label, Class: "axis-title", Text: m.Label, X: marginSpan, Y: scale(m.Hi) - 4, DX: -4, Anchor: End})
	}
	s.add(Item{Kind: Level, Class: "axis", X: 0, X2: marginSpan, Y: bottom})
}

// tags stand at the right ends of the curves, none over another.
func (c *CurveChart) tags(s *Scene, p *CurvePanel, top float64, scale func(float64) float64) {
	type tag struct {
		text string
		y    float64
	}
	var all []tag
	for _, k := range p.Curves {
		if n := len(k.Runs); k.Tag != "" && n > 0 {
			last := k.Runs[n-1]
			all = append(all, tag{k.Tag, scale(last[len(last)-1].Mean)})
		}
	}
	slices.SortFunc(all, func(a, b tag) int { return cmp.Compare(a.y, b.y) })
	least := top + 10
	for _, t := range all {
		y := math.Max(t.y, least)
		s.add(Item{Kind: Label, Class: "axis-title", Text: t.text, X: marginSpan, Y: y, DX: -3, Anchor: End})
		least = y + 13
	}
}

// limits are the ends of the axis and the distance of its levels.
func (p *CurvePanel) limits() (lo, hi, step float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, k := range p.Curves {
		for _, run := range k.Runs {
			for _, x := range run {
				lo, hi = math.Min(lo, x.Min), math.Max(hi, x.Max)
			}
		}
		if k.Bars {
			lo = math.Min(lo, 0)
		}
	}
	for _, m := range p.Marks {
		lo, hi = math.Min(lo, m.Lo), math.Max(hi, m.Hi)
	}
	if lo > hi {
		lo, hi = 0, 1
	}
	if p.Lo != nil && p.Hi != nil && *p.Lo < *p.Hi {
		_, _, step = niceLevels(*p.Lo, *p.Hi)
		return *p.Lo, *p.Hi, step
	}
	return niceLevels(lo, hi)
}

// niceLevels widens a range to whole levels, at most six of them, 1, 2 or 5 times
// a power of ten apart.
func niceLevels(lo, hi float64) (low, high, step float64) {
	if hi-lo < 1e-6 {
		lo, hi = lo-0.5, hi+0.5
	}
	for unit := math.Pow(10, math.Floor(math.Log10((hi-lo)/6))); ; unit *= 10 {
		for _, f := range []float64{1, 2, 5} {
			if step = unit * f; (hi-lo)/step <= 6 {
				return math.Floor(lo/step+1e-9) * step, math.Ceil(hi/step-1e-9) * step, step
			}
		}
	}
}

// Words says what the chart shows, as its text alternative.
func (c CurveChart) Words() string {
	s := ""
	for _, p := range c.Panels {
		for _, k := range p.Curves {
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, run := range k.Runs {
				for _, x := range run {
					lo, hi = math.Min(lo, x.Min), math.Max(hi, x.Max)
				}
			}
			if lo > hi {
				s += fmt.Sprintf("%s: not observed. ", words.Upper(k.Name))
				continue
			}
			s += fmt.Sprintf("%s: %s to %s %s. ", words.Upper(k.Name), words.Fixed(lo, p.Decimals),
				words.Fixed(hi, p.Decimals), p.Unit)
		}
	}
	if s == "" {
		return "Nothing was picked to be shown."
	}
	return s[:len(s)-1]
}
