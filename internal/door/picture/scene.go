// Package picture draws the pictures of one case: the winter sheet, the margin
// chart, the positions and the strips. It takes view models and returns a
// Scene, which renders itself as accessible SVG and whose items a report can
// place on paper.
//
// A Scene has no fixed width. Shapes are laid out over Span units and
// stretched to the width of the page, while text, hatching and strokes keep
// their size, so that one drawing made by the server serves a phone, a desktop
// and paper without script. Colours come from the page's style sheet by class.
// No meaning rests on colour alone: tone, texture and label carry it too.
package picture

import (
	"fmt"
	"math"
	"slices"
)

// Kind is how an item is drawn.
type Kind uint8

// The kinds of item.
const (
	Area  Kind = iota // filled outlines
	Line              // stroked courses
	Box               // X..X2 by Y..Y2, may be filled with a texture
	Rule              // vertical line at X from Y to Y2
	Level             // horizontal line at Y from X to X2
	Label             // words at X, Y
)

// Texture is a filling that survives a black-and-white printer.
type Texture uint8

// The textures.
const (
	Plain  Texture = iota
	Hatch          // slanted lines: not observed
	Stripe         // level lines: frost
	Dots           // fine level dots: the stretch from 0 to 1 K
)

// Anchor says which end of a label stands at its place.
type Anchor uint8

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Point is a place in a scene: X in span units, Y in px.
type Point struct{ X, Y float64 }

// Item is one thing drawn. Class names its look in the style sheet.
type Item struct {
	Kind    Kind
	Class   string
	Texture Texture
	Courses [][]Point // of Area and Line
	X, X2   float64   // span units
	Y, Y2   float64   // px from the top
	Text    string
	Anchor  Anchor
	DX      float64 // px moved right of X
	// Top and Bottom clip areas and lines to a panel of the scene; both 0 is
	// the whole scene.
	Top, Bottom float64
}

// Scene is one picture. Desc is its text alternative: what it shows, in words.
type Scene struct {
	ID          string // unique on its page
	Title, Desc string
	HeightPx    float64
	Span        float64 // width of the axis in span units
	// Fixed keeps the scene's shape: span units are px, and the whole is scaled
	// to the page instead of stretched.
	Fixed bool
	Items []Item
}

func (s *Scene) add(items ...Item) { s.Items = append(s.Items, items...) }

// titlesLast draws the titles of axes over everything, so that no line of a
// repair crosses their words.
func (s *Scene) titlesLast() {
	title := func(x Item) int {
		if x.Class == "axis-title" {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(s.Items, func(x, y Item) int { return title(x) - title(y) })
}

// unseen hatches stretches of the axis that were not observed.
func unseen[X int | float64](s *Scene, runs [][2]X, y, y2 float64) {
	for _, r := range runs {
		s.add(Item{Kind: Box, Class: "gap", Texture: Hatch, X: float64(r[0]), X2: float64(r[1]), Y: y, Y2: y2})
	}
}

// flag hangs an event's flag on a rule down to base with its text: number, and whether it is
// a repair. Near the right edge the text stands left of the rule.
func (s *Scene) flag(text string, e Event, x, y, base float64) {
	class, anchor, dx := "flag-note", Start, 3.0
	if e.IsRepair() {
		class = "flag-repair"
	}
	if x > 0.85*s.Span {
		anchor, dx = End, -3
	}
	s.add(Item{Kind: Rule, Class: class, X: x, Y: y - 9, Y2: base},
		Item{Kind: Label, Class: class + "-text", Text: text, X: x, Y: y, DX: dx, Anchor: anchor})
}

func (e Event) flag(n int) string {
	if e.IsRepair() {
		return fmt.Sprintf("%d repair", n)
	}
	return fmt.Sprint(n)
}

// extremes are the least and the greatest figure of some columns; lo is above hi
// where nothing was observed.
func extremes(columns ...Column) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, c := range columns {
		for i := 0; c != nil && i < c.Len(); i++ {
			if v, ok := c.Get(i); ok {
				lo, hi = math.Min(lo, v), math.Max(hi, v)
			}
		}
	}
	return lo, hi
}

// whole widens a range to whole steps: the finest of the steps that parts it
// into no more than most.
func whole(lo, hi, most float64, steps ...float64) (low, high, step float64) {
	for _, step = range steps {
		if (hi-lo)/step <= most {
			break
		}
	}
	low, high = math.Floor(lo/step)*step, math.Ceil(hi/step)*step
	if high == low {
		high += step
	}
	return low, high, step
}

// Column is a row of figures along an axis in which what was not observed is
// absent.
type Column interface {
	Len() int
	Get(i int) (figure float64, observed bool)
}

// Figures is a Column kept in memory.
type Figures struct {
	value []float64
	known []bool
}

// NewFigures makes a column of n absent figures.
func NewFigures(n int) *Figures { return &Figures{make([]float64, n), make([]bool, n)} }

// Set puts a figure.
func (f *Figures) Set(i int, x float64) { f.value[i], f.known[i] = x, true }

// Len counts the figures.
func (f *Figures) Len() int { return len(f.value) }

// Get returns a figure and whether it was observed.
func (f *Figures) Get(i int) (float64, bool) { return f.value[i], f.known[i] }

// at reads a column that may be nil or short.
func at(c Column, i int) (float64, bool) {
	if c == nil || i >= c.Len() {
		return 0, false
	}
	return c.Get(i)
}
