package picture

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dewcase/internal/words"
)

// Course is a quantity at its own times, running linearly from each to the next
// where they are joined.
type Course struct {
	AtMS   []int64
	Value  []float64
	Joined []bool // from this time to the next
}

// Most returns the largest value within [fromMS, untilMS); ok is false where the
// course says nothing there.
func (c Course) Most(fromMS, untilMS int64) (most float64, ok bool) {
	most = math.Inf(-1)
	i, _ := slices.BinarySearch(c.AtMS, fromMS)
	between := func(k int, ms int64) {
		if k >= 0 && k+1 < len(c.AtMS) && c.Joined[k] && c.AtMS[k] <= ms && ms <= c.AtMS[k+1] {
			f := float64(ms-c.AtMS[k]) / float64(c.AtMS[k+1]-c.AtMS[k])
			most, ok = math.Max(most, c.Value[k]+f*(c.Value[k+1]-c.Value[k])), true
		}
	}
	between(i-1, fromMS)
	for ; i < len(c.AtMS) && c.AtMS[i] < untilMS; i++ {
		most, ok = math.Max(most, c.Value[i]), true
	}
	between(i-1, untilMS)
	return most, ok
}

// Thin keeps at most about n points: of each stretch the highest and the last.
func (c Course) Thin(n int) Course {
	size := (len(c.AtMS)*2 + n - 1) / max(n, 2)
	if size <= 2 {
		return c
	}
	var out Course
	add := func(i int) {
		if k := len(out.AtMS); k > 0 && out.AtMS[k-1] == c.AtMS[i] {
			out.Joined[k-1] = c.Joined[i]
			return
		}
		out.AtMS, out.Value, out.Joined = append(out.AtMS, c.AtMS[i]), append(out.Value, c.Value[i]), append(out.Joined, true)
	}
	for i := 0; i < len(c.AtMS); {
		end, high := i, i
		for end < len(c.AtMS) && end-i < size {
			if c.Value[end] > c.Value[high] {
				high = end
			}
			end++
			if !c.Joined[end-1] {
				break
			}
		}
		add(high)
		add(end - 1)
		out.Joined[len(out.Joined)-1] = c.Joined[end-1]
		i = end
	}
	return out
}

// Quiet is a strip under the margin chart: something that follows from it.
type Quiet struct {
	Words  string // with the unit: water on the surface, g/m²
	Course Course
	Top    float64 // the axis reaches at least this
	Mark   float64 // a line worth knowing; 0 none
	Rungs  int     // faint lines that cut the axis into so many parts; 0 none
	Filled bool
}

// quiet draws a strip and returns where it ends.
func (m *MarginChart) quiet(s *Scene, q Quiet, top float64) float64 {
	bottom := top + marginMassTall
	values, zero := NewFigures(len(m.Time)), NewFigures(len(m.Time))
	most := q.Top
	for i, t := range m.Time {
		from := t.UnixMilli()
		if v, ok := q.Course.Most(from, from+max(m.Step.Milliseconds(), 1)); ok {
			values.Set(i, v)
			zero.Set(i, 0)
			most = math.Max(most, v)
		}
	}
	if most > q.Top {
		step := math.Pow10(int(math.Floor(math.Log10(most)))) / 2
		most = math.Ceil(most/step) * step
	}
	y := func(v float64) float64 { return bottom - v/most*marginMassTall }
	// A strip has no gaps of its own between the times of the axis.
	plain := *m
	plain.Coverage = nil
	if q.Mark > 0 {
		s.add(Item{Kind: Level, Class: "mark-line", X: 0, X2: s.Span, Y: y(q.Mark)},
			Item{Kind: Label, Class: "tick", Text: num(q.Mark, 0), X: 0, Y: y(q.Mark) + 4, DX: -6, Anchor: End})
	}
	for k := 1; k < q.Rungs; k++ {
		s.add(Item{Kind: Level, Class: "grid", X: 0, X2: s.Span, Y: y(q.Top * float64(k) / float64(q.Rungs))})
	}
	if q.Filled {
		s.add(Item{Kind: Area, Class: "mass", Courses: plain.between(zero, values, y), Top: top, Bottom: bottom})
	} else {
		s.add(Item{Kind: Line, Class: "ln quiet", Courses: plain.line(values, y), Top: top - 1, Bottom: bottom + 1})
	}
	s.add(Item{Kind: Level, Class: "axis", X: 0, X2: s.Span, Y: bottom},
		Item{Kind: Label, Class: "tick", Text: words.Whole(most), X: 0, Y: top + 4, DX: -6, Anchor: End},
		Item{Kind: Label, Class: "tick", Text: "0", X: 0, Y: bottom + 4, DX: -6, Anchor: End},
		Item{Kind: Label, Class: "axis-title", Text: q.Words, X: 0, Y: top - 7})
	return bottom
}

// Courses lays out the strips alone, under the events of the record.
func (m MarginChart) Courses() *Scene {
	s := &Scene{ID: m.ID, Title: "Water, mould and timber, " + m.Surface, Span: marginSpan}
	y := marginTop - marginGapTall
	for _, q := range m.Strips {
		top := y + marginGapTall
		y = m.quiet(s, q, top)
		m.ticks(s, top, y)
		most, when := math.Inf(-1), int64(0)
		for i, v := range q.Course.Value {
			if v > most {
				most, when = v, q.Course.AtMS[i]
			}
		}
		if !math.IsInf(most, -1) {
			s.Desc += fmt.Sprintf("%s: at most %s, on %s. ", words.Upper(q.Words), num(most, 1),
				time.UnixMilli(when).In(zoneOf(m.Zone)).Format("2 January 2006"))
		}
	}
	m.timeLabels(s, y+15)
	m.flags(s, y)
	s.titlesLast()
	s.HeightPx = y + 22
	return s
}

func zoneOf(z *time.Location) *time.Location {
	if z == nil {
		return time.UTC
	}
	return z
}
