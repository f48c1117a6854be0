package picture

import (
	"math"
	"time"

	"dewcase/internal/words"
)

// The rows of the winter sheet, px from its top.
const (
	sheetFlagRow  = 15.0 // one row of flags; there may be up to three
	sheetTempTall = 34.0
	sheetSkyTall  = 7.0
	sheetHourTall = 8.0
	sheetBarsTall = 52.0
)

// Scene lays the sheet out. Top to bottom: flags, each night's outdoor minimum,
// its sky, the 24 clock hours, the wet hours a night, the months.
func (w WinterSheet) Scene() *Scene {
	s := &Scene{ID: w.ID, Title: "Winter sheet, " + w.Surface, Desc: w.Words(), Span: float64(max(len(w.Nights), 1))}
	flags := w.flags()
	rows := 0
	for _, f := range flags {
		rows = max(rows, f.row+1)
	}
	top := float64(rows)*sheetFlagRow + 4
	if w.hasWeather() {
		top = w.weather(s, top)
	}
	hours := top
	bottom := hours + 24*sheetHourTall
	w.fields(s, hours)
	base := w.bars(s, bottom+15)
	w.months(s, hours, base)
	w.rules(s, flags, float64(rows)*sheetFlagRow, bottom, base)
	s.HeightPx = base + 20
	return s
}

// unit is where a time lies on the axis of nights.
func (w WinterSheet) unit(t time.Time) float64 {
	for i, n := range w.Nights {
		if t.Before(n.Until) {
			return float64(i) + math.Max(0, t.Sub(n.From).Hours()/n.Until.Sub(n.From).Hours())
		}
	}
	return float64(len(w.Nights))
}

func (w WinterSheet) hasWeather() bool {
	for _, n := range w.Nights {
		if n.OutdoorMinC != nil || n.UndercoolingK != nil {
			return true
		}
	}
	return false
}

// weather draws the thin rows by which the eye sees whether the nights were
// alike, and returns where they end.
func (w WinterSheet) weather(s *Scene, y float64) float64 {
	lo, hi := 0.0, 0.0
	for _, n := range w.Nights {
		if n.OutdoorMinC != nil {
			lo, hi = math.Min(lo, *n.OutdoorMinC), math.Max(hi, *n.OutdoorMinC)
		}
	}
	lo, hi, _ = whole(lo, hi, 0, 5)
	scale := func(c float64) float64 { return y + sheetTempTall*(hi-c)/(hi-lo) }
	var course []Point
	var courses [][]Point
	var gaps [][2]int
	for i, n := range w.Nights {
		if n.OutdoorMinC == nil {
			gaps = extend(gaps, i)
			if len(course) > 0 {
				courses, course = append(courses, course), nil
			}
			continue
		}
		yc := scale(*n.OutdoorMinC)
		course = append(course, Point{float64(i), yc}, Point{float64(i + 1), yc})
	}
	if len(course) > 0 {
		courses = append(courses, course)
	}
	unseen(s, gaps, y, y+sheetTempTall)
	s.add(
		Item{Kind: Level, Class: "zero", X: 0, X2: s.Span, Y: scale(0)},
		Item{Kind: Line, Class: "ln outdoor", Courses: courses},
		Item{Kind: Label, Class: "tick", Text: "0 °C", X: 0, Y: scale(0) + 4, DX: -6, Anchor: End},
	)
	if scale(lo)-scale(0) > 11 && lo < 0 {
		s.add(Item{Kind: Label, Class: "tick", Text: words.Whole(lo), X: 0, Y: scale(lo) + 4, DX: -6, Anchor: End})
	}
	y += sheetTempTall + 9
	var clear, broken, unknown [][2]int
	for i, n := range w.Nights {
		switch n.Sky() {
		case Clear:
			clear = extend(clear, i)
		case Broken:
			broken = extend(broken, i)
		case SkyUnknown:
			unknown = extend(unknown, i)
		}
	}
	s.add(Item{Kind: Box, Class: "sky", X: 0, X2: s.Span, Y: y, Y2: y + sheetSkyTall})
	unseen(s, unknown, y, y+sheetSkyTall)
	s.add(Item{Kind: Area, Class: "sky-broken", Courses: boxes(broken, y+sheetSkyTall/2, y+sheetSkyTall)},
		Item{Kind: Area, Class: "sky-clear", Courses: boxes(clear, y, y+sheetSkyTall)},
		Item{Kind: Label, Class: "tick", Text: "sky", X: 0, Y: y + sheetSkyTall + 3, DX: -6, Anchor: End})
	return y + sheetSkyTall + 12
}

// extend adds i to the last run, or starts one.
func extend(runs [][2]int, i int) [][2]int {
	if n := len(runs); n > 0 && runs[n-1][1] == i {
		runs[n-1][1] = i + 1
		return runs
	}
	return append(runs, [2]int{i, i + 1})
}

func boxes(runs [][2]int, y, y2 float64) [][]Point {
	var out [][]Point
	for _, r := range runs {
		out = append(out, box(float64(r[0]), y, float64(r[1]), y2))
	}
	return out
}

func box(x, y, x2, y2 float64) []Point { return []Point{{x, y}, {x2, y}, {x2, y2}, {x, y2}} }

// fields draws the hours. The ground is hatched as not observed, and only what
// was observed is painted over it: whatever is forgotten shows as a gap.
func (w WinterSheet) fields(s *Scene, top float64) {
	s.add(Item{Kind: Box, Class: "gap", Texture: Hatch, X: 0, X2: s.Span, Y: top, Y2: top + 24*sheetHourTall})
	var painted [Frost + 1][][]Point
	var none [][]Point // clock hours that a night does not have
	for i, n := range w.Nights {
		var rows [24][]State
		for k, h := range n.Hours {
			clock := n.From.Add(time.Duration(k) * time.Hour).In(zoneOf(w.Zone)).Hour()
			r := (clock + 12) % 24
			rows[r] = append(rows[r], h.State())
		}
		// Runs of one state down the column become one box; an hour that the
		// clocks repeat is split, one they leave out is blank.
		type open struct {
			state State
			y     float64
		}
		var o open
		y := top
		x := float64(i)
		flush := func(end float64) {
			if o.state != NotObserved {
				painted[o.state] = append(painted[o.state], box(x, o.y, x+1, end))
			}
		}
		for r := range rows {
			yr := top + float64(r)*sheetHourTall
			if len(rows[r]) == 0 && len(n.Hours) > 0 {
				flush(y)
				none = append(none, box(x, yr, x+1, yr+sheetHourTall))
				o, y = open{NotObserved, yr + sheetHourTall}, yr+sheetHourTall
				continue
			}
			for k, state := range rows[r] {
				yk := yr + float64(k)*sheetHourTall/float64(len(rows[r]))
				if state != o.state {
					flush(yk)
					o = open{state, yk}
				}
			}
			y = yr + sheetHourTall
		}
		flush(top + 24*sheetHourTall)
	}
	s.add(
		Item{Kind: Area, Class: "s-dry", Courses: painted[Dry]},
		Item{Kind: Area, Class: "s-none", Courses: none},
		Item{Kind: Area, Class: "s-near", Courses: painted[Near]},
		Item{Kind: Area, Class: "s-wet", Courses: painted[Wet]},
		Item{Kind: Area, Class: "s-frost", Texture: Stripe, Courses: painted[Frost]},
	)
	for _, tick := range []struct {
		row  float64
		text string
	}{{0, "12:00"}, {6, "18:00"}, {12, "00:00"}, {18, "06:00"}, {24, "12:00"}} {
		y := top + tick.row*sheetHourTall
		s.add(Item{Kind: Level, Class: "grid", X: 0, X2: s.Span, Y: y},
			Item{Kind: Label, Class: "tick", Text: tick.text, X: 0, Y: y + 4, DX: -6, Anchor: End})
	}
}

// bars draws the wet hours a night and returns the base line.
func (w WinterSheet) bars(s *Scene, top float64) float64 {
	base := top + sheetBarsTall
	most := 4.0
	for _, n := range w.Nights {
		most = math.Max(most, n.Sum().CondensingMin/60)
	}
	most = math.Ceil(most/4) * 4
	var wet, frost [][]Point
	var gaps [][2]int
	for i, n := range w.Nights {
		sum := n.Sum()
		h := sum.CondensingMin / 60 / most * sheetBarsTall
		f := sum.FrostMin / 60 / most * sheetBarsTall
		x, x2 := float64(i)+0.12, float64(i)+0.88
		if h > 0 {
			wet = append(wet, box(x, base-h, x2, base-f))
		}
		if f > 0 {
			frost = append(frost, box(x, base-f, x2, base))
		}
		if n.State() == words.NotSeen {
			gaps = extend(gaps, i)
		}
	}
	unseen(s, gaps, top, base)
	s.add(
		Item{Kind: Level, Class: "grid", X: 0, X2: s.Span, Y: top},
		Item{Kind: Area, Class: "s-wet", Courses: wet},
		Item{Kind: Area, Class: "s-frost", Texture: Stripe, Courses: frost},
		Item{Kind: Level, Class: "axis", X: 0, X2: s.Span, Y: base},
		Item{Kind: Label, Class: "tick", Text: words.Whole(most) + " h", X: 0, Y: top + 4, DX: -6, Anchor: End},
		Item{Kind: Label, Class: "tick", Text: "wet", X: 0, Y: (top+base)/2 + 2, DX: -6, Anchor: End},
		Item{Kind: Label, Class: "tick", Text: "0", X: 0, Y: base + 4, DX: -6, Anchor: End},
	)
	return base
}

// phonePx is how wide the plot is on a phone, where a label needs most room.
const phonePx = 300.0

// labelPx is about how much room a label needs.
func labelPx(text string) float64 { return 7*float64(len(text)) + 6 }

// months marks where months, or weeks of a short record, begin.
func (w WinterSheet) months(s *Scene, top, base float64) {
	n := len(w.Nights)
	if n == 0 {
		return
	}
	free := 0.0 // where there is room again, px
	for i, night := range w.Nights {
		t := night.From.In(zoneOf(w.Zone))
		short := n <= 45
		if !(t.Day() == 1 || short && (t.Day()-1)%7 == 0 && t.Day() < 29) && i != 0 {
			continue
		}
		layout := "Jan"
		if short {
			layout = "2 Jan"
		}
		if t.Month() == time.January && t.Day() == 1 || i == 0 {
			layout += " 2006"
		}
		x := float64(i)
		if i != 0 {
			s.add(Item{Kind: Rule, Class: "grid", X: x, Y: top, Y2: base + 4})
		}
		if x/s.Span*phonePx < free || x/s.Span > 0.93 {
			continue
		}
		if i == 0 && n > 45 && t.Day() > 12 {
			layout = "" // the next month's name would stand on it
		}
		if layout != "" {
			s.add(Item{Kind: Label, Class: "tick", Text: t.Format(layout), X: x, Y: base + 16, DX: 2})
			free = x/s.Span*phonePx + labelPx(t.Format(layout))
		}
	}
}

// pennant is an event with the row in which its flag hangs.
type pennant struct {
	n     int
	event Event
	x     float64
	row   int
}

// flags numbers the events of the span, as the list under the picture does, and
// hangs them so that they do not cover each other even on a phone.
func (w WinterSheet) flags() []pennant {
	if len(w.Nights) == 0 {
		return nil
	}
	var out []pennant
	var used [3]float64 // where each row is free again, in share of the width
	for i := range used {
		used[i] = -1
	}
	for i, e := range w.Events {
		if e.At.Before(w.Nights[0].From) || !e.At.Before(w.Nights[len(w.Nights)-1].Until) {
			continue
		}
		f := pennant{n: i + 1, event: e, x: w.unit(e.At)}
		share := f.x / float64(len(w.Nights))
		wide := labelPx(e.flag(f.n)) / phonePx
		for f.row = 0; f.row < len(used)-1 && used[f.row] > share; f.row++ {
		}
		used[f.row] = share + wide
		out = append(out, f)
	}
	return out
}

func (w WinterSheet) rules(s *Scene, flags []pennant, under, bottom, base float64) {
	if !w.WindowFrom.IsZero() && len(w.Nights) > 0 {
		a, b := w.unit(w.WindowFrom), w.unit(w.WindowUntil)
		if b > a && b-a < s.Span-0.01 {
			s.add(Item{Kind: Rule, Class: "window", X: a, Y: under, Y2: base},
				Item{Kind: Rule, Class: "window", X: b, Y: under, Y2: base},
				Item{Kind: Level, Class: "window", X: a, X2: b, Y: bottom + 4})
		}
	}
	for _, f := range flags {
		s.flag(f.event.flag(f.n), f.event, f.x, float64(f.row)*sheetFlagRow+11, base)
	}
}
