package picture

import (
	"fmt"
	"math"

	"dewcase/internal/words"
)

// Dot is one night of a scatter.
type Dot struct {
	X, Y  float64
	After bool // the repair
}

// Scatter sets one figure of each night against another, before a repair and
// after it told apart by shape and tone.
type Scatter struct {
	ID, Title      string
	XWords, YWords string // with units
	Dots           []Dot
}

const (
	scatterWide  = 520.0
	scatterTall  = 360.0
	scatterLeft  = 48.0
	scatterRight = 12.0
	scatterTop   = 26.0
	scatterFoot  = 40.0
)

// Scene lays the scatter out.
func (c Scatter) Scene() *Scene {
	s := &Scene{ID: c.ID, Title: c.Title, Desc: c.Words(), Span: scatterWide, HeightPx: scatterTall, Fixed: true}
	loX, hiX, stepX := dotLimits(c.Dots, func(d Dot) float64 { return d.X })
	loY, hiY, stepY := dotLimits(c.Dots, func(d Dot) float64 { return d.Y })
	bottom := scatterTall - scatterFoot
	x := func(v float64) float64 {
		return scatterLeft + (v-loX)/(hiX-loX)*(scatterWide-scatterLeft-scatterRight)
	}
	y := func(v float64) float64 { return scatterTop + (hiY-v)/(hiY-loY)*(bottom-scatterTop) }
	class := func(v float64) string {
		if math.Abs(v) < 1e-9 {
			return "zero"
		}
		return "grid"
	}
	levels(loX, hiX, stepX, func(v float64, text string) {
		s.add(Item{Kind: Rule, Class: class(v), X: x(v), Y: scatterTop, Y2: bottom},
			Item{Kind: Label, Class: "tick", Text: text, X: x(v), Y: bottom + 15, Anchor: Middle})
	})
	levels(loY, hiY, stepY, func(v float64, text string) {
		s.add(Item{Kind: Level, Class: class(v), X: scatterLeft, X2: scatterWide - scatterRight, Y: y(v)},
			Item{Kind: Label, Class: "tick", Text: text, X: scatterLeft, Y: y(v) + 4, DX: -6, Anchor: End})
	})
	const r = 3.6
	for _, d := range c.Dots {
		px, py := x(d.X), y(d.Y)
		if d.After {
			s.add(Item{Kind: Area, Class: "dot-after", Courses: [][]Point{{{px - r - 1, py}, {px, py - r - 1}, {px + r + 1,
				py},
				{px, py + r + 1}}}})
			continue
		}
		s.add(Item{Kind: Area, Class: "dot-before", Courses: [][]Point{{{px - r, py - r}, {px + r, py - r}, {px + r, py +
			r},
			{px - r, py + r}}}})
	}
	s.add(Item{Kind: Label, Class: "axis-title", Text: c.YWords, X: 0, Y: 14},
		Item{Kind: Label, Class: "axis-title", Text: c.XWords, X: scatterWide - scatterRight, Y: scatterTall - 6,
			Anchor: End})
	return s
}

// levels calls each with every level of an axis and its words.
func levels(lo, hi, step float64, each func(v float64, text string)) {
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	for v := math.Ceil(lo/step-1e-9) * step; v <= hi+step*1e-9; v += step {
		if math.Abs(v) < step*1e-9 {
			v = 0
		}
		each(v, words.Fixed(v, decimals))
	}
}

func dotLimits(dots []Dot, of func(Dot) float64) (lo, hi, step float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, d := range dots {
		lo, hi = math.Min(lo, of(d)), math.Max(hi, of(d))
	}
	if lo > hi {
		lo, hi = 0, 1
	}
	return niceLevels(lo, hi)
}

// Words says what the scatter shows, as its text alternative.
func (c Scatter) Words() string {
	var n [2]int
	var sumX, sumY [2]float64
	for _, d := range c.Dots {
		k := 0
		if d.After {
			k = 1
		}
		n[k], sumX[k], sumY[k] = n[k]+1, sumX[k]+d.X, sumY[k]+d.Y
	}
	s := fmt.Sprintf("%s against %s", words.Upper(c.YWords), c.XWords)
	for k, when := range []string{"before", "after"} {
		if n[k] > 0 {
			s += fmt.Sprintf("; %s %s, in the mean %s against %s", words.Count(n[k], "night"), when,
				words.Fixed(sumY[k]/float64(n[k]), 1), words.Fixed(sumX[k]/float64(n[k]), 1))
		}
	}
	return s + "."
}
