package report

import (
	"math"

	"codeberg.org/go-pdf/fpdf"

	"dewcase/internal/door/picture"
)

// pxPt is how many points a px of a scene takes on paper: 96 px an inch, as a
// browser prints.
const pxPt = 0.75

// look is how a class of the pictures is drawn on paper: the colours that the
// pages' style sheet has for print, told apart by tone alone.
type look struct {
	fill   rgb
	filled bool
	stroke rgb
	wide   float64 // px; 0 is not stroked
	dash   []float64
}

type rgb [3]int

var (
	ink   = rgb{0, 0, 0}
	ink2  = rgb{51, 51, 51}
	gridC = rgb{204, 204, 204}
	nearC = rgb{127, 169, 198}
	wetC  = rgb{6, 36, 60}
	warm  = rgb{122, 46, 0}
	white = rgb{255, 255, 255}
	hatch = rgb{119, 119, 119}
	clear = rgb{53, 96, 138}
)

var looks = map[string]look{
	"gap":                {fill: white, filled: true},
	"s-dry":              {fill: white, filled: true},
	"s-none":             {fill: gridC, filled: true},
	"s-near":             {fill: nearC, filled: true},
	"s-wet":              {fill: wetC, filled: true},
	"s-frost":            {fill: white, filled: true},
	"near-band":          {},
	"sky":                {fill: white, filled: true, stroke: gridC, wide: 1},
	"sky-clear":          {fill: clear, filled: true},
	"sky-broken":         {fill: clear, filled: true},
	"band":               {fill: rgb{196, 200, 202}, filled: true},
	"band-wet":           {fill: rgb{143, 182, 210}, filled: true},
	"mass":               {fill: rgb{169, 198, 218}, filled: true},
	"bar-ground":         {fill: gridC, filled: true},
	"grid":               {stroke: gridC, wide: 0.8},
	"axis":               {stroke: ink2, wide: 1},
	"zero":               {stroke: ink2, wide: 1},
	"zero-heavy":         {stroke: ink, wide: 2},
	"mark-line":          {stroke: ink2, wide: 1, dash: []float64{2, 2}},
	"mark-best":          {stroke: ink, wide: 3},
	"flag-repair":        {stroke: warm, wide: 1.6},
	"flag-note":          {stroke: ink2, wide: 1, dash: []float64{3, 2}},
	"window":             {stroke: ink, wide: 1.6, dash: []float64{2, 2}},
	"ln outdoor":         {stroke: ink2, wide: 1.5},
	"ln margin":          {stroke: ink, wide: 1.1},
	"ln unrepaired-case": {stroke: white, wide: 3.6},
	"ln unrepaired":      {stroke: warm, wide: 1.6, dash: []float64{6, 4}},
	"ln surface":         {stroke: ink, wide: 1.3},
	"ln limit":           {stroke: rgb{60, 110, 150}, wide: 1.5, dash: []float64{4, 3}},
	"ln quiet":           {stroke: ink, wide: 1.3},

	"sec-room":         {fill: rgb{235, 235, 235}, filled: true},
	"sec-insulation":   {fill: white, filled: true},
	"sec-batten":       {fill: ink2, filled: true},
	"sec-slot-open":    {fill: white, filled: true, stroke: ink, wide: 1.6},
	"sec-slot-none":    {fill: ink, filled: true, stroke: ink, wide: 1},
	"sec-slot-unknown": {fill: white, filled: true, stroke: warm, wide: 1.4, dash: []float64{2, 2}},
	"ln sec-wall":      {stroke: ink, wide: 2},
	"ln sec-covering":  {stroke: ink, wide: 4},
	"ln sec-underlay":  {stroke: ink, wide: 1.8},
	"ln sec-unknown":   {stroke: hatch, wide: 1.5, dash: []float64{2, 4}},
	"ln sec-leader":    {stroke: ink2, wide: 0.8},

	"ln sec-underlay sec-open": {stroke: ink, wide: 1.8, dash: []float64{7, 4}},
	"ln sec-insulation-line":   {stroke: hatch, wide: 8},

	"ln unrepaired-bar": {stroke: warm, wide: 1.4},

	"ln curve-1": {stroke: ink, wide: 1.4},
	"ln curve-2": {stroke: clear, wide: 2},
	"ln curve-3": {stroke: warm, wide: 1.5, dash: []float64{7, 4}},
	"ln curve-4": {stroke: nearC, wide: 2.8},
	"ln curve-5": {stroke: ink2, wide: 1.6, dash: []float64{2, 3}},
	"ln curve-6": {stroke: clear, wide: 1.5, dash: []float64{10, 3, 2, 3}},
	"ln curve-7": {stroke: warm, wide: 2.2},
	"ln curve-8": {stroke: nearC, wide: 1.8, dash: []float64{12, 4}},
	"curve-band": {fill: rgb{226, 228, 229}, filled: true},
	"mark-band":  {fill: rgb{240, 226, 214}, filled: true},
}

// scene draws a picture as vectors: its plot from x over the width given, its
// top at y.
type scene struct {
	s          *sheetOfPaper
	of         *picture.Scene
	x, y, wide float64
	k          float64 // points a px
}

func (c scene) px(x float64) float64 {
	if c.of.Span == 0 {
		return c.x
	}
	return c.x + x/c.of.Span*c.wide
}

func (c scene) py(y float64) float64 { return c.y + y*c.k }

// labelRoom is how far a scene's labels hang to the left of its plot, px.
func labelRoom(s *picture.Scene) float64 {
	room := 0.0
	for _, it := range s.Items {
		if it.Kind == picture.Label && it.X == 0 && it.DX < 0 {
			room = 46
		}
	}
	return room
}

// figure places a picture with its legend and its caption on one page.
func (s *sheetOfPaper) figure(b Block) {
	left := labelRoom(b.Scene) * pxPt
	c := scene{s: s, of: b.Scene, x: marginSide + left, wide: s.inner() - left - 2, k: pxPt}
	const capSize = smallSize
	caption := s.typesetter.set(b.Text, regular, capSize, s.inner())
	if len(b.Text) == 0 {
		caption = nil
	}
	if b.Scene.Fixed { // keeps its shape
		c.x, c.wide = marginSide, b.Scene.Span*c.k
	}
	more := 8.0
	if b.Legend != NoLegend {
		more += 14
	}
	capTall := float64(len(caption)) * capSize * leading
	s.y += 4
	// A picture too tall for what is left of the page, or for a page, is drawn
	// smaller where that is enough; its words never under 80 % of their size on
	// a page that has others.
	shrink := func(room, least float64) {
		fits := (room - more - capTall) / b.Scene.HeightPx
		if fits < c.k && fits >= least*pxPt && !b.Scene.Fixed {
			c.k = fits
		}
	}
	shrink(s.bottom()-s.y, 0.8)
	shrink(s.bottom()-marginTop, 0.3)
	s.room(b.Scene.HeightPx*c.k + more + capTall)
	c.y = s.y + 2
	c.draw()
	s.y = c.y + b.Scene.HeightPx*c.k + 4
	if b.Legend != NoLegend {
		s.legend(b.Legend)
	}
	s.ink(30)
	for _, l := range caption {
		s.room(capSize * leading)
		s.pieces(marginSide, s.y+capSize, capSize, l)
		s.y += capSize * leading
	}
	s.ink(0)
	s.y += 8
}

func (s *sheetOfPaper) legend(l Legend) {
	x := marginSide
	key := func(words string, look look, t picture.Texture) {
		r := rect{x, s.y + 1, 14, 9}
		s.fill(r, look, t, pxPt)
		s.stroke(look0)
		s.Rect(r.x, r.y, r.w, r.h, "D")
		s.words(x+18, s.y+8.5, regular, smallSize, words)
		x += 18 + s.typesetter.width(regular, smallSize, words) + 14
	}
	if l == StatesLegend {
		key("dry", looks["s-dry"], picture.Plain)
		key("near (within 1 K)", looks["s-near"], picture.Plain)
		key("wet", looks["s-wet"], picture.Plain)
		key("frost", looks["s-frost"], picture.Stripe)
	}
	key("not observed", looks["gap"], picture.Hatch)
	s.y += 14
}

var look0 = look{stroke: ink2, wide: 0.7}

func (s *sheetOfPaper) stroke(l look) {
	s.SetDrawColor(l.stroke[0], l.stroke[1], l.stroke[2])
	s.SetLineWidth(l.wide * pxPt)
	dash := make([]float64, len(l.dash))
	for i, d := range l.dash {
		dash[i] = d * pxPt
	}
	s.SetDashPattern(dash, 0)
}

type rect struct{ x, y, w, h float64 }

// fill paints a box with its tone and its texture.
func (s *sheetOfPaper) fill(r rect, l look, t picture.Texture, k float64) {
	if r.w <= 0 || r.h <= 0 {
		return
	}
	if l.filled {
		s.SetFillColor(l.fill[0], l.fill[1], l.fill[2])
		s.Rect(r.x, r.y, r.w, r.h, "F")
	}
	switch t {
	case picture.Hatch:
		s.ClipRect(r.x, r.y, r.w, r.h, false)
		s.stroke(look{stroke: hatch, wide: 1.1})
		const step = 5 * 1.41421356
		// Slanted lines on one grid for the whole page, so that neighbours join.
		first := math.Floor((r.x-r.y-r.h)/(step*k)) * step * k
		for d := first; d < r.x+r.w-r.y; d += step * k {
			s.Line(r.y+d, r.y, r.y+r.h+d, r.y+r.h)
		}
		s.ClipEnd()
	case picture.Stripe:
		s.SetFillColor(wetC[0], wetC[1], wetC[2])
		for y := math.Floor(r.y/(4*k)) * 4 * k; y < r.y+r.h; y += 4 * k {
			top, low := math.Max(y, r.y), math.Min(y+2*k, r.y+r.h)
			if low > top {
				s.Rect(r.x, top, r.w, low-top, "F")
			}
		}
	case picture.Dots:
		s.stroke(look{stroke: nearC, wide: 1, dash: []float64{1, 3}})
		for y := r.y + 2*k; y < r.y+r.h; y += 4 * k {
			s.Line(r.x, y, r.x+r.w, y)
		}
		s.SetDashPattern(nil, 0)
	}
}

func (c scene) draw() {
	for _, it := range c.of.Items {
		switch it.Kind {
		case picture.Area, picture.Line:
			c.shape(it)
		case picture.Box:
			r := rect{c.px(it.X), c.py(it.Y), c.px(it.X2) - c.px(it.X), (it.Y2 - it.Y) * c.k}
			l := looks[it.Class]
			c.s.fill(r, l, it.Texture, c.k)
			if l.wide > 0 && r.w > 0 {
				c.s.stroke(l)
				c.s.Rect(r.x, r.y, r.w, r.h, "D")
			}
		case picture.Rule:
			c.s.stroke(looks[it.Class])
			c.s.Line(c.px(it.X), c.py(it.Y), c.px(it.X), c.py(it.Y2))
		case picture.Level:
			c.s.stroke(looks[it.Class])
			c.s.Line(c.px(it.X), c.py(it.Y), c.px(it.X2), c.py(it.Y))
		case picture.Label:
			c.label(it)
		}
	}
	c.s.SetDashPattern(nil, 0)
}

func (c scene) shape(it picture.Item) {
	clipped := it.Top != 0 || it.Bottom != 0
	if clipped {
		c.s.ClipRect(c.x, c.py(it.Top), c.wide, (it.Bottom-it.Top)*c.k, false)
		defer c.s.ClipEnd()
	}
	l := looks[it.Class]
	for _, course := range it.Courses {
		if r, ok := c.box(course); ok && it.Kind == picture.Area {
			c.s.fill(r, l, it.Texture, c.k)
			continue
		}
		pts := make([]fpdf.PointType, 0, len(course))
		for _, p := range course {
			pts = append(pts, fpdf.PointType{X: c.px(p.X), Y: c.py(p.Y)})
		}
		switch {
		case len(pts) < 2:
		case it.Kind == picture.Area && l.filled:
			c.s.SetFillColor(l.fill[0], l.fill[1], l.fill[2])
			c.s.Polygon(pts, "F")
		case it.Kind == picture.Line:
			c.s.stroke(l)
			c.s.MoveTo(pts[0].X, pts[0].Y)
			for _, p := range pts[1:] {
				c.s.LineTo(p.X, p.Y)
			}
			c.s.DrawPath("D")
		}
	}
}

// seam is by how much neighbouring fields overlap, so that no light line shows
// between them on a screen.
const seam = 0.12

// box recognises a course that is a box.
func (c scene) box(p []picture.Point) (rect, bool) {
	if len(p) != 4 || p[0].Y != p[1].Y || p[1].X != p[2].X || p[2].Y != p[3].Y || p[3].X != p[0].X {
		return rect{}, false
	}
	x, y, x2, y2 := c.px(p[0].X), c.py(p[0].Y), c.px(p[2].X), c.py(p[2].Y)
	return rect{math.Min(x, x2), math.Min(y, y2), math.Abs(x2-x) + seam, math.Abs(y2 - y)}, true
}

func (c scene) label(it picture.Item) {
	f, size, colour := regular, 11.5*c.k, ink2
	switch it.Class {
	case "flag-repair-text":
		f, colour = boldFace, warm
	case "flag-note-text", "axis-title":
		colour = ink
	case "sec-value":
		f, colour = boldFace, ink
	case "sec-word":
		size = 10.5 * c.k
	case "track-title":
		size, colour = 12.5*c.k, ink
	}
	text := c.s.typesetter.printable(f, it.Text)
	x, wide := c.px(it.X)+it.DX*c.k, c.s.typesetter.width(f, size, text)
	switch it.Anchor {
	case picture.Middle:
		x -= wide / 2
	case picture.End:
		x -= wide
	}
	x = math.Max(x, 8)
	c.s.SetTextColor(colour[0], colour[1], colour[2])
	c.s.words(x, c.py(it.Y), f, size, text)
	c.s.ink(0)
}
