package picture

import (
	"fmt"
	"math"
	"strings"
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

// The section's frame, px.
const (
	sectionWide = 420.0
	eavesLeft   = 80.0
	eavesRight  = 340.0
	plateY      = 232.0 // top of the walls
	floorY      = 292.0
	usualPitch  = 35.0
)

// Scene lays the section out.
func (c Section) Scene() *Scene {
	s := &Scene{ID: c.ID, Title: "The roof cut open", Span: sectionWide, HeightPx: 302, Fixed: true, Desc: c.words()}
	pitch := usualPitch
	if c.PitchDeg != nil {
		pitch = *c.PitchDeg
	}
	pitch = math.Min(math.Max(pitch, 5), 58) // steeper would leave the frame
	mid := (eavesLeft + eavesRight) / 2
	rise := math.Tan(pitch*math.Pi/180) * (mid - eavesLeft)
	rise = math.Min(rise, 178)
	n := math.Hypot(rise, mid-eavesLeft)
	nx, ny := rise/n, (mid-eavesLeft)/n // outward across the left slope, mirrored for the right
	line := func(class string, off float64) {
		// Both slopes, shifted outwards by off.
		s.add(Item{Kind: Line, Class: class, Courses: [][]Point{{
			{eavesLeft - nx*off - 14, plateY - ny*off + 14*rise/(mid-eavesLeft)}, {mid, plateY - rise - off/ny},
			{eavesRight + nx*off + 14, plateY - ny*off + 14*rise/(mid-eavesLeft)}}}})
	}
	// House and insulation.
	s.add(Item{Kind: Area, Class: "sec-room", Courses: [][]Point{box(eavesLeft+8, plateY+2, eavesRight-8, floorY)}})
	switch c.Insulation {
	case "ceiling":
		s.add(Item{Kind: Box, Class: "sec-insulation", Texture: Hatch, X: eavesLeft + 22, X2: eavesRight - 22, Y: plateY - 12, Y2: plateY - 1})
	case "rafter":
		line("ln sec-insulation-line", -7)
	}
	s.add(Item{Kind: Line, Class: "ln sec-wall", Courses: [][]Point{{{eavesLeft + 8, floorY}, {eavesLeft + 8, plateY}, {eavesRight - 8, plateY}, {eavesRight - 8, floorY}}}})
	// The slope's layers, from inside out.
	switch c.Underlay {
	case "HR":
		line("ln sec-underlay", 0)
	case "LR":
		line("ln sec-underlay sec-open", 0)
	case "":
		line("ln sec-unknown", 0)
	}
	c.battens(s, mid, rise, nx, ny)
	line("ln sec-covering", 14)
	// Openings at the left eaves and at the ridge.
	c.openings(s, mid, plateY-rise-14/ny)
	c.tags(s, mid, rise)
	return s
}

// battens are drawn as cut: single ones fill the void, counter-battens leave a
// path beneath.
func (c Section) battens(s *Scene, mid, rise, nx, ny float64) {
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
			x := mid + side*(mid-eavesLeft)*(1-f)
			y := plateY - rise*f
			ux, uy := side*nx, -ny
			tx, ty := -uy*2.2, ux*2.2
			cut = append(cut, []Point{{x + ux*lo - tx, y + uy*lo - ty}, {x + ux*lo + tx, y + uy*lo + ty}, {x + ux*hi + tx, y + uy*hi + ty}, {x + ux*hi - tx, y + uy*hi - ty}})
		}
	}
	s.add(Item{Kind: Area, Class: "sec-batten", Courses: cut})
}

func (c Section) openings(s *Scene, mid, ridgeY float64) {
	mark := func(x, y float64, slot Slot) {
		class := "sec-slot-none"
		if !slot.Known {
			class = "sec-slot-unknown"
		} else if slot.MM > 0 {
			class = "sec-slot-open"
		}
		s.add(Item{Kind: Box, Class: class, X: x - 4, X2: x + 4, Y: y - 4, Y2: y + 4})
	}
	label := func(x, y float64, anchor Anchor, text string) {
		s.add(Item{Kind: Label, Class: "sec-word", Text: text, X: x, Y: y, Anchor: anchor})
	}
	mark(eavesLeft-14, plateY+2, c.VoidEaves)
	mark(eavesLeft+1, plateY+2, c.LoftEaves)
	label(4, plateY+24, Start, "eaves")
	label(4, plateY+38, Start, "void "+c.VoidEaves.Words())
	label(4, plateY+52, Start, "loft "+c.LoftEaves.Words())
	mark(mid, ridgeY-1, c.VoidRidge)
	mark(mid, ridgeY+20, c.LoftRidge)
	label(mid, ridgeY-24, Middle, "ridge: void "+c.VoidRidge.Words()+", loft "+c.LoftRidge.Words())
}

// leaderFrom is how far left of a label's end its leader begins, so that none
// runs through another label.
var leaderFrom = map[Place]float64{AtCovering: 84, AtVoid: 60, AtUnderlay: 30, AtTimber: 30}

// tags writes each place's values, stacked where several are measured.
func (c Section) tags(s *Scene, mid, rise float64) {
	on := func(share float64) (x, y float64) { // on the right slope
		return mid + (eavesRight-mid)*(1-share), plateY - rise*share
	}
	at := map[Place]struct {
		x, y   float64
		anchor Anchor
		to     *Point
	}{}
	put := func(p Place, x, y float64, a Anchor, to *Point) {
		at[p] = struct {
			x, y   float64
			anchor Anchor
			to     *Point
		}{x, y, a, to}
	}
	x, y := on(0.75)
	put(AtIndoors, mid, plateY+28, Middle, nil)
	put(AtLoft, mid, plateY-24, Middle, nil)
	put(AtOutdoors, 4, 44, Start, nil)
	put(AtCovering, sectionWide-4, 44, End, &Point{x + 7, y - 9})
	x, y = on(0.3)
	put(AtVoid, sectionWide-4, 116, End, &Point{x + 4, y - 5})
	x, y = on(0.16)
	put(AtUnderlay, sectionWide-4, plateY+38, End, &Point{x, y + 2})
	put(AtTimber, sectionWide-4, plateY+66, End, &Point{x - 12, y + 8})
	seen := map[Place]int{}
	for _, t := range c.Tags {
		p, ok := at[t.Place]
		if !ok {
			continue
		}
		if p.to != nil && seen[t.Place] == 0 {
			dy := 4.0
			if p.y > plateY {
				dy = -12
			}
			s.add(Item{Kind: Line, Class: "ln sec-leader", Courses: [][]Point{{{p.x - leaderFrom[t.Place], p.y + dy}, *p.to}}})
		}
		s.add(Item{Kind: Label, Class: "sec-value", Text: t.Words, X: p.x, Y: p.y + float64(seen[t.Place])*13*map[bool]float64{true: 1, false: -1}[p.y > plateY-30 || p.y < 60], Anchor: p.anchor})
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
	fmt.Fprintf(&b, "Openings at the eaves: void %s, loft %s; at the ridge: void %s, loft %s. ", c.VoidEaves.Words(), c.LoftEaves.Words(), c.VoidRidge.Words(), c.LoftRidge.Words())
	for _, t := range c.Tags {
		fmt.Fprintf(&b, "%s. ", t.Words)
	}
	return strings.TrimSpace(b.String())
}
