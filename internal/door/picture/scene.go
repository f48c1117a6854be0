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

// NewFigures is a column of n absent figures.
func NewFigures(n int) *Figures { return &Figures{make([]float64, n), make([]bool, n)} }

// Set puts a figure.
func (f *Figures) Set(i int, x float64) { f.value[i], f.known[i] = x, true }

// Len is the number of figures.
func (f *Figures) Len() int { return len(f.value) }

// Get is a figure and whether it was observed.
func (f *Figures) Get(i int) (float64, bool) { return f.value[i], f.known[i] }

// at reads a column that may be nil or short.
func at(c Column, i int) (float64, bool) {
	if c == nil || i >= c.Len() {
		return 0, false
	}
	return c.Get(i)
}
