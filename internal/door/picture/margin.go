package picture

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dewcase/internal/words"
)

// MarginChart is a surface's temperature minus its air's limit over time. The
// columns are as long as Time; nil columns are not drawn.
type MarginChart struct {
	ID      string
	Surface string // in words
	Zone    *time.Location
	From    time.Time
	Until   time.Time
	Time    []time.Time   // start of each step, or time of each reading
	Step    time.Duration // 0: Time are the readings' own times

	MarginMean, MarginMin, MarginMax Column // K
	Coverage                         Column // share of each step, 0..1; nil: what has a mean is observed
	CondensingMin, AtRiskMin         Column // minutes of each step
	FrostMin                         Column

	UnrepairedK Column // the margin that the roof would have had without the repair

	SurfaceC, LimitC Column  // the two temperatures, drawn where the view is under a week
	Strips           []Quiet // what follows from the margin: water, mould, timber

	Events []Event
}

// The chart's panels, px.
const (
	marginTall     = 220.0
	marginRugTall  = 9.0
	marginTempTall = 120.0
	marginMassTall = 44.0
	marginGapTall  = 26.0
	marginTop      = sheetFlagRow + 21 // flags have a row of their own above the axis title
)

// marginAxis places time and margin.
type marginAxis struct {
	top    float64
	lo, hi float64
}

const marginSpan = 1000.0

func (m *MarginChart) x(t time.Time) float64 {
	if !m.Until.After(m.From) {
		return 0
	}
	return float64(t.Sub(m.From)) / float64(m.Until.Sub(m.From)) * marginSpan
}

func (a marginAxis) y(k float64) float64 { return a.top + (a.hi-k)/(a.hi-a.lo)*marginTall }

// limits picks the range of the axis: everything below zero, and above it what
// nine tenths of the time reach, at most 15 K. Warm days far above are of no
// interest here and leave the frame at its top edge.
func (m *MarginChart) limits() (lo, hi float64, cut bool) {
	var highs []float64
	lo = -1
	for i := range m.Time {
		if v, ok := at(m.MarginMin, i); ok {
			lo = math.Min(lo, v)
		}
		if v, ok := at(m.UnrepairedK, i); ok {
			lo = math.Min(lo, v)
		}
		if v, ok := at(m.MarginMax, i); ok {
			highs = append(highs, v)
		}
	}
	hi = 3
	if len(highs) > 0 {
		slices.Sort(highs)
		hi = math.Max(hi, highs[(len(highs)-1)*9/10])
		hi = math.Min(hi, 15)
		cut = highs[len(highs)-1] > math.Ceil(hi)
	}
	return math.Max(math.Floor(lo), -20), math.Ceil(hi), cut
}

// runs calls each with the steps of every stretch that a column holds without
// a gap. Between readings' own times a step without a figure is no gap, only a
// time at which another logger was read: there a gap is where nothing was
// observed from one time to the next.
func (m *MarginChart) runs(c Column, each func(steps []int)) {
	var run []int
	flush := func() {
		if len(run) > 0 {
			each(run)
			run = nil
		}
	}
	for i := range m.Time {
		if m.Step == 0 && i > 0 {
			if cover, ok := at(m.Coverage, i-1); ok && cover == 0 {
				flush()
			}
		}
		if _, ok := at(c, i); ok {
			run = append(run, i)
		} else if m.Step > 0 {
			flush()
		}
	}
	flush()
}

// place gives a step's x: its middle, or the reading's own time.
func (m *MarginChart) place(i int) float64 { return m.x(m.Time[i].Add(m.Step / 2)) }

func (m *MarginChart) line(c Column, y func(float64) float64) [][]Point {
	var out [][]Point
	m.runs(c, func(steps []int) {
		var pts []Point
		for _, i := range steps {
			v, _ := at(c, i)
			pts = append(pts, Point{m.place(i), y(v)})
		}
		if len(pts) == 1 { // one step alone is drawn as long as it is
			p := pts[0]
			half := float64(m.Step) / float64(m.Until.Sub(m.From)) * marginSpan / 2
			pts = []Point{{p.X - half, p.Y}, {p.X + half + 0.01, p.Y}}
		}
		out = append(out, pts)
	})
	return out
}

// between fills from one column to another.
func (m *MarginChart) between(lo, hi Column, y func(float64) float64) [][]Point {
	var out [][]Point
	m.runs(lo, func(steps []int) {
		var up, down []Point
		for _, i := range steps {
			a, _ := at(lo, i)
			b, ok := at(hi, i)
			if !ok {
				b = a
			}
			up, down = append(up, Point{m.place(i), y(b)}), append(down, Point{m.place(i), y(a)})
		}
		slices.Reverse(down)
		out = append(out, append(up, down...))
	})
	return out
}

// gaps are the stretches in which the margin was not observed.
func (m *MarginChart) gaps() [][2]float64 {
	var out [][2]float64
	add := func(a, b float64) {
		if b <= a {
			return
		}
		if n := len(out); n > 0 && out[n-1][1] >= a-1e-6 {
			out[n-1][1] = b
			return
		}
		out = append(out, [2]float64{a, b})
	}
	end := m.x(m.From)
	for i := range m.Time {
		t, next := m.x(m.Time[i]), m.x(m.Until)
		if i+1 < len(m.Time) {
			next = m.x(m.Time[i+1])
		}
		if i == 0 {
			add(end, t)
		}
		c, known := at(m.Coverage, i)
		_, has := at(m.MarginMean, i)
		switch {
		case known && c <= 0, !known && !has:
			add(t, next)
		}
	}
	if len(m.Time) == 0 {
		add(m.x(m.From), m.x(m.Until))
	}
	return out
}

// Scene lays the chart out: the margin with its zero, the row of what formed,
// the two temperatures when near, condensate where it is known.
func (m MarginChart) Scene() *Scene {
	s := &Scene{ID: m.ID, Title: "Margin, " + m.Surface, Desc: m.Words(), Span: marginSpan}
	lo, hi, cut := m.limits()
	a := marginAxis{marginTop, lo, hi}
	bottom := a.top + marginTall
	unseen(s, m.gaps(), a.top, bottom)
	s.add(Item{Kind: Box, Class: "near-band", Texture: Dots, X: 0, X2: marginSpan, Y: a.y(1), Y2: a.y(0)})
	title := "margin, K"
	if cut {
		title += " (higher than " + words.Whole(hi) + " K: dry, not drawn)"
	}
	a.levels(s, title)
	m.ticks(s, a.top, bottom)
	area := func(class string, c [][]Point, top, until float64) {
		if len(c) > 0 && until > top {
			s.add(Item{Kind: Area, Class: class, Courses: c, Top: top, Bottom: until})
		}
	}
	// Above zero the band is grey, below it water: the same outline twice,
	// clipped to its side of the zero line.
	band := m.between(m.MarginMin, m.MarginMax, a.y)
	area("band", band, a.top, a.y(0))
	area("band-wet", band, a.y(0), bottom)
	var under [][]Point
	m.runs(m.MarginMean, func(steps []int) {
		pts := []Point{{m.place(steps[0]), a.y(0)}}
		for _, i := range steps {
			v, _ := at(m.MarginMean, i)
			pts = append(pts, Point{m.place(i), a.y(v)})
		}
		under = append(under, append(pts, Point{m.place(steps[len(steps)-1]), a.y(0)}))
	})
	area("s-wet", under, a.y(0), bottom)
	without := m.line(m.UnrepairedK, a.y)
	if m.UnrepairedK != nil {
		// Cased in paper, so that it is told from the water it runs through; the
		// measured course lies above the casing.
		s.add(Item{Kind: Line, Class: "ln unrepaired-case", Courses: without, Top: a.top, Bottom: bottom})
	}
	s.add(Item{Kind: Line, Class: "ln margin", Courses: m.line(m.MarginMean, a.y), Top: a.top, Bottom: bottom})
	if m.UnrepairedK != nil {
		s.add(Item{Kind: Line, Class: "ln unrepaired", Courses: without, Top: a.top, Bottom: bottom})
	}
	s.add(Item{Kind: Level, Class: "zero-heavy", X: 0, X2: marginSpan, Y: a.y(0)})
	y := m.rug(s, bottom+9) // clear of the lowest figure of the axis
	if m.near() {
		y = m.temperatures(s, y+marginGapTall)
	}
	for _, q := range m.Strips {
		y = m.quiet(s, q, y+marginGapTall)
	}
	m.timeLabels(s, y+15)
	m.flags(s, y)
	s.titlesLast()
	s.HeightPx = y + 22
	return s
}

// near reports whether the view is close enough for the two temperatures.
func (m *MarginChart) near() bool {
	return m.Until.Sub(m.From) <= 7*24*time.Hour+time.Hour && m.SurfaceC != nil && m.LimitC != nil
}

func (a marginAxis) levels(s *Scene, title string) {
	_, _, step := whole(a.lo, a.hi, 8, 1, 2, 5, 10)
	for k := math.Ceil(a.lo/step) * step; k <= a.hi; k += step {
		if k != 0 {
			s.add(Item{Kind: Level, Class: "grid", X: 0, X2: marginSpan, Y: a.y(k)})
		}
		s.add(Item{Kind: Label, Class: "tick", Text: words.Whole(k), X: 0, Y: a.y(k) + 4, DX: -6, Anchor: End})
	}
	s.add(Item{Kind: Label, Class: "axis-title", Text: title, X: 0, Y: a.top - 8})
}

// rug is the row of what formed in each step, so that water of a few minutes
// shows however long the step is.
func (m *MarginChart) rug(s *Scene, y float64) float64 {
	y2 := y + marginRugTall
	var wet, frost, near, dry [][]Point
	for i := range m.Time {
		next := m.Until
		if i+1 < len(m.Time) {
			next = m.Time[i+1]
		}
		cover, known := at(m.Coverage, i)
		c, ok := at(m.CondensingMin, i)
		if !ok || known && cover == 0 {
			continue
		}
		r, _ := at(m.AtRiskMin, i)
		f, _ := at(m.FrostMin, i)
		b := box(m.x(m.Time[i]), y, m.x(next), y2)
		enough := math.Min(ShortMin, next.Sub(m.Time[i]).Minutes()/6)
		switch {
		case c >= enough && c > 0 && 2*f >= c:
			frost = append(frost, b)
		case c >= enough && c > 0:
			wet = append(wet, b)
		case r >= enough && r > 0:
			near = append(near, b)
		default:
			dry = append(dry, b)
		}
	}
	s.add(Item{Kind: Box, Class: "gap", Texture: Hatch, X: 0, X2: marginSpan, Y: y, Y2: y2},
		Item{Kind: Area, Class: "s-dry", Courses: dry}, Item{Kind: Area, Class: "s-near", Courses: near},
		Item{Kind: Area, Class: "s-wet", Courses: wet}, Item{Kind: Area, Class: "s-frost", Texture: Stripe, Courses: frost},
		Item{Kind: Label, Class: "tick", Text: "formed", X: 0, Y: y2 + 2, DX: -6, Anchor: End})
	return y2
}

// temperatures draws surface and limit on their own axis, shaded where the
// surface is colder than the limit.
func (m *MarginChart) temperatures(s *Scene, top float64) float64 {
	lo, hi := extremes(m.SurfaceC, m.LimitC)
	if lo > hi {
		lo, hi = 0, 1
	}
	lo, hi, step := whole(lo, hi, 4, 2, 5, 10, 20)
	bottom := top + marginTempTall
	y := func(c float64) float64 { return top + (hi-c)/(hi-lo)*marginTempTall }
	unseen(s, m.gaps(), top, bottom)
	m.ticks(s, top, bottom)
	for c := lo; c <= hi; c += step {
		s.add(Item{Kind: Level, Class: "grid", X: 0, X2: marginSpan, Y: y(c)},
			Item{Kind: Label, Class: "tick", Text: words.Whole(c), X: 0, Y: y(c) + 4, DX: -6, Anchor: End})
	}
	s.add(
		Item{Kind: Line, Class: "ln limit", Courses: m.line(m.LimitC, y), Top: top, Bottom: bottom},
		Item{Kind: Line, Class: "ln surface", Courses: m.line(m.SurfaceC, y), Top: top, Bottom: bottom},
		Item{Kind: Label, Class: "axis-title", Text: "°C: surface (solid), limit of its air (dashed)", X: 0, Y: top - 7})
	return bottom
}

func (m *MarginChart) flags(s *Scene, base float64) {
	for i, e := range m.Events {
		if e.At.Before(m.From) || !e.At.Before(m.Until) {
			continue
		}
		text, x := e.flag(i+1), m.x(e.At)
		if i+1 < len(m.Events) && m.x(m.Events[i+1].At)-x < marginSpan*labelPx(text)/phonePx {
			text = fmt.Sprint(i + 1) // the next flag stands close
		}
		s.flag(text, e, x, 11, base)
	}
}

// Words says what the chart shows, as its text alternative: of a stretch with a
// repair in it, before the repair and since.
func (m *MarginChart) Words() string {
	var wetH, riskH [2]float64
	var repair time.Time
	for _, e := range m.Events {
		if e.IsRepair() && e.At.After(m.From) && e.At.Before(m.Until) {
			repair = e.At
		}
	}
	for i := range m.Time {
		part := 0
		if !repair.IsZero() && !m.Time[i].Before(repair) {
			part = 1
		}
		if v, ok := at(m.CondensingMin, i); ok {
			wetH[part] += v / 60
		}
		if v, ok := at(m.AtRiskMin, i); ok {
			riskH[part] += v / 60
		}
	}
	counted := func(part int) string {
		return "counted, the surface was wet for " + words.Hours(wetH[part]) + " h and at risk (margin up to 1 K) for " +
			words.Hours(riskH[part]) + " h"
	}
	said := counted(0)
	if !repair.IsZero() {
		said = "before the repair of " + words.Date(repair, zoneOf(m.Zone)) + ", " + counted(0) + "; since then, " +
			counted(1)
	}
	return m.span(said)
}

// Lowest says how far the margin went, for where the hours are told elsewhere: a
// step that a repair falls into belongs to neither side.
func (m *MarginChart) Lowest() string { return m.span("") }

// span says over which stretch the chart goes, what is said of it, and its lowest
// margin.
func (m *MarginChart) span(said string) string {
	var observed float64
	lowest, when := math.Inf(1), time.Time{}
	for i := range m.Time {
		next := m.Until
		if i+1 < len(m.Time) {
			next = m.Time[i+1]
		}
		if v, ok := at(m.Coverage, i); ok {
			observed += v * next.Sub(m.Time[i]).Hours()
		}
		if v, ok := at(m.MarginMin, i); ok && v < lowest {
			lowest, when = v, m.Time[i]
		}
	}
	zone := zoneOf(m.Zone)
	s := fmt.Sprintf("From %s to %s (%s): ", words.Moment(m.From, zone), words.Moment(m.Until, zone), zone)
	if math.IsInf(lowest, 1) {
		return s + "not observed."
	}
	if said != "" {
		s += said + ". "
	}
	s += fmt.Sprintf("Lowest margin %s K on %s.", words.Signed(lowest), words.Moment(when, zone))
	if m.Coverage != nil {
		s += " Observed for " + words.Percent(math.Min(1, observed/m.Until.Sub(m.From).Hours())) + " % of the time."
	}
	return s
}
