package picture

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// Slot is an opening as surveyed.
type Slot struct {
	MM    float64
	Known bool
}

// Words says what the slot is.
func (s Slot) Words() string {
	switch {
	case !s.Known:
		return "not known"
	case s.MM <= 0:
		return "none"
	}
	return num(s.MM, 0) + " mm"
}

// Place is where in the section a value stands.
type Place uint8

// The places of the section.
const (
	AtIndoors Place = iota
	AtLoft
	AtUnderlay
	AtVoid
	AtCovering
	AtTimber
	AtOutdoors
)

// Tag is one position's last value beside its place.
type Tag struct {
	Place Place
	Words string // loft 6.1 °C, 84 %
}

// Section is the roof cut open, to its pitch, as far as the survey knows it.
type Section struct {
	ID         string
	PitchDeg   *float64 // nil: drawn at 35 degrees, and said
	Underlay   string   // HR | LR | none | "" not known
	Battens    string   // single | counter | "" not known
	Insulation string   // ceiling | rafter | none | "" not known
	LoftEaves, LoftRidge,
	VoidEaves, VoidRidge Slot
	Covering string // in words
	Tags     []Tag
}

// The section's frame, px: the house at the left, so that the values of the right
// slope stand free of it. As wide as a phone, its words keep their size there.
const (
	sectionWide = 380.0
	eavesLeft   = 34.0
	eavesRight  = 246.0
	wallTall    = 60.0
	usualPitch  = 35.0
	tagTall     = 16.0 // one line of values
)

// slopes is where the two slopes of a section lie.
type slopes struct {
	mid, rise float64
	nx, ny    float64 // outward across the left slope, mirrored for the right
	plate     float64 // top of the walls
	ridgeWord float64 // baseline of the ridge's words
}

func (c Section) slopes() slopes {
	pitch := usualPitch
	if c.PitchDeg != nil {
		pitch = *c.PitchDeg
	}
	pitch = math.Min(math.Max(pitch, 5), 58) // steeper would leave the frame
	p := slopes{mid: (eavesLeft + eavesRight) / 2}
	p.rise = math.Tan(pitch*math.Pi/180) * (p.mid - eavesLeft)
	n := math.Hypot(p.rise, p.mid-eavesLeft)
	p.nx, p.ny = p.rise/n, (p.mid-eavesLeft)/n
	lines := 1
	for _, place := range []Place{AtCovering, AtOutdoors} {
		count := 0
		for _, t := range c.Tags {
			if t.Place == place {
				count++
			}
		}
		lines = max(lines, count)
	}
	p.ridgeWord = 14 + float64(lines)*tagTall + 6
	// A low roof still leaves room for what stands over its right slope.
	p.plate = math.Max(p.ridgeWord+22+14/p.ny+p.rise, p.ridgeWord+72)
	return p
}

// Scene lays the section out.
func (c Section) Scene() *Scene {
	p := c.slopes()
	floor := p.plate + wallTall
	s := &Scene{ID: c.ID, Title: "The roof cut open", Span: sectionWide, HeightPx: floor + 24, Fixed: true,
		Desc: c.words()}
	line := func(class string, off float64) {
		// Both slopes, shifted outwards by off.
		foot := p.plate - p.ny*off + 14*p.rise/(p.mid-eavesLeft)
		s.add(Item{Kind: Line, Class: class, Courses: [][]Point{{
			{eavesLeft - p.nx*off - 14, foot}, {p.mid, p.plate - p.rise - off/p.ny}, {eavesRight + p.nx*off + 14, foot}}}})
	}
	// House and insulation.
	s.add(Item{Kind: Area, Class: "sec-room", Courses: [][]Point{box(eavesLeft+8, p.plate+2, eavesRight-8, floor)}})
	switch c.Insulation {
	case "ceiling":
		s.add(Item{Kind: Box, Class: "sec-insulation", Texture: Hatch, X: eavesLeft + 22, X2: eavesRight - 22,
			Y: p.plate - 12, Y2: p.plate - 1})
	case "rafter":
		line("ln sec-insulation-line", -7)
	}
	s.add(Item{Kind: Line, Class: "ln sec-wall",
		Courses: [][]Point{{{eavesLeft + 8, floor}, {eavesLeft + 8, p.plate}, {eavesRight - 8, p.plate},
			{eavesRight - 8, floor}}}})
	// The slope's layers, from inside out.
	switch c.Underlay {
	case "HR":
		line("ln sec-underlay", 0)
	case "LR":
		line("ln sec-underlay sec-open", 0)
	case "":
		line("ln sec-unknown", 0)
	}
	c.battens(s, p)
	line("ln sec-covering", 14)
	c.openings(s, p)
	c.tags(s, p)
	return s
}

// battens are drawn as cut: single ones fill the void, counter-battens leave a
// path beneath.
func (c Section) battens(s *Scene, p slopes) {
	if c.Battens == "" {
		return
	}
	lo, hi := 1.0, 12.5
	if c.Battens == "counter" {
		lo = 7
	}
	var cut [][]Point
	for _, side := range []float64{-1, 1} {
		for f := 0.12; f < 0.95; f += 0.16 {
			x := p.mid + side*(p.mid-eavesLeft)*(1-f)
			y := p.plate - p.rise*f
			ux, uy := side*p.nx, -p.ny
			tx, ty := -uy*2.2, ux*2.2
			cut = append(cut, []Point{{x + ux*lo - tx, y + uy*lo - ty}, {x + ux*lo + tx, y + uy*lo + ty},
				{x + ux*hi + tx, y + uy*hi + ty}, {x + ux*hi - tx, y + uy*hi - ty}})
		}
	}
	s.add(Item{Kind: Area, Class: "sec-batten", Courses: cut})
}

// openings are marked at the left eaves and at the ridge.
func (c Section) openings(s *Scene, p slopes) {
	mark := func(x, y float64, slot Slot) {
		class := "sec-slot-none"
		if !slot.Known {
			class = "sec-slot-unknown"
		} else if slot.MM > 0 {
			class = "sec-slot-open"
		}
		s.add(Item{Kind: Box, Class: class, X: x - 4, X2: x + 4, Y: y - 4, Y2: y + 4})
	}
	label := func(y float64, where string, void, loft Slot) {
		s.add(Item{Kind: Label, Class: "sec-word", Text: where + ": void " + void.Words() + ", loft " + loft.Words(), X: 4,
			Y: y})
	}
	ridge := p.plate - p.rise - 14/p.ny
	mark(eavesLeft-14, p.plate+2, c.VoidEaves)
	mark(eavesLeft+1, p.plate+2, c.LoftEaves)
	label(p.plate+wallTall+16, "eaves", c.VoidEaves, c.LoftEaves)
	mark(p.mid, ridge-1, c.VoidRidge)
	mark(p.mid, ridge+20, c.LoftRidge)
	label(p.ridgeWord, "ridge", c.VoidRidge, c.LoftRidge)
}

// spot is where a place's values are written.
type spot struct {
	x, y   float64
	anchor Anchor
	step   float64 // to the next line of the same place
	to     *Point  // what they are joined to
}

// tags writes each place's values, stacked where several are measured.
func (c Section) tags(s *Scene, p slopes) {
	on := func(share, out float64) *Point { // on the right slope
		return &Point{p.mid + (eavesRight-p.mid)*(1-share) + p.nx*out, p.plate - p.rise*share - p.ny*out}
	}
	const right = sectionWide - 4
	at := map[Place]spot{
		AtIndoors:  {p.mid, p.plate + 28, Middle, tagTall, nil},
		AtLoft:     {p.mid, p.plate - 22, Middle, -tagTall, nil},
		AtOutdoors: {4, 14, Start, tagTall, nil},
		AtCovering: {right, 14, End, tagTall, on(0.75, 14)},
		AtVoid:     {right, p.plate - 46, End, -tagTall, on(0.3, 7)},
		AtUnderlay: {right, p.plate + 30, End, tagTall, on(0.12, -1)},
	}
	below := at[AtUnderlay].y
	for _, t := range c.Tags {
		if t.Place == AtUnderlay {
			below += tagTall
		}
	}
	at[AtTimber] = spot{right, below, End, tagTall, on(0.2, -7)}
	seen := map[Place]int{}
	for _, t := range c.Tags {
		q, ok := at[t.Place]
		if !ok {
			continue
		}
		y := q.y + float64(seen[t.Place])*q.step
		if q.to != nil && seen[t.Place] == 0 {
			// From the label's near end: half an em a letter is close enough.
			from := Point{math.Max(q.x-7*float64(utf8.RuneCountInString(t.Words))-3, q.to.X+8), y - 4}
			if q.step > 0 && q.y < p.plate {
				from = Point{math.Min(from.X+24, right), y + 4}
			}
			s.add(Item{Kind: Line, Class: "ln sec-leader", Courses: [][]Point{{from, *q.to}}})
		}
		s.add(Item{Kind: Label, Class: "sec-value", Text: t.Words, X: q.x, Y: y, Anchor: q.anchor})
		seen[t.Place]++
	}
}

func (c Section) words() string {
	var b strings.Builder
	if c.PitchDeg != nil {
		fmt.Fprintf(&b, "Pitch %s degrees. ", num(*c.PitchDeg, 0))
	} else {
		fmt.Fprintf(&b, "The pitch is not known; drawn at %.0f degrees. ", usualPitch)
	}
	say := func(what, known, unknown string) {
		if known == "" {
			known = unknown
		}
		fmt.Fprintf(&b, "%s: %s. ", what, known)
	}
	say("Covering", c.Covering, "not known")
	say("Underlay", c.Underlay, "not known")
	say("Battens", c.Battens, "not known")
	say("Insulation", c.Insulation, "not known")
	fmt.Fprintf(&b, "Openings at the eaves: void %s, loft %s; at the ridge: void %s, loft %s. ", c.VoidEaves.Words(),
		c.LoftEaves.Words(), c.VoidRidge.Words(), c.LoftRidge.Words())
	for _, t := range c.Tags {
		fmt.Fprintf(&b, "%s. ", t.Words)
	}
	return strings.TrimSpace(b.String())
}
