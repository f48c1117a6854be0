package drawing

import (
	"time"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/curves"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Lay is how the curves of a chart are parted into panels.
type Lay string

// The lays: a panel a curve, a panel an axis, or frames of two axes each, which
// need script and are drawn as a panel an axis without.
const (
	InStrips Lay = "strips"
	ByUnit   Lay = "units"
	Overlaid Lay = "over"
)

// CurveName names a curve for the consultant.
func CurveName(c *roof.Case, k curves.Key) string {
	return Where(c, k.Position) + ", " + words.Curve(k.Quantity.Key())
}

// Where names a position by its place, with its id where there are several.
func Where(c *roof.Case, id string) string {
	p, _ := c.Position(id)
	if len(c.At(p.Place)) == 1 {
		return p.Place.Words()
	}
	return words.Position(p)
}

// unrepairedLook is the look of what would have been without the repair: dashed,
// and no position's own where there are up to five.
const unrepairedLook = 5

// Looks gives each key the look of its line: the same for a position in every
// panel, unless its panel has it already.
func Looks(c *roof.Case, keys []curves.Key) []int {
	turn := map[string]int{}
	for _, k := range keys {
		if _, ok := turn[k.Position]; !ok {
			turn[k.Position] = len(turn) % picture.Looks
		}
	}
	out := make([]int, len(keys))
	taken := map[string]map[int]bool{}
	for i, k := range keys {
		axis := k.Quantity.Axis()
		if taken[axis] == nil {
			taken[axis] = map[int]bool{}
		}
		look := turn[k.Position]
		if k.Quantity == curves.UnrepairedK {
			look = unrepairedLook
		}
		for n := 0; taken[axis][look] && n < picture.Looks; n++ {
			look = (look + 1) % picture.Looks
		}
		taken[axis][look], out[i] = true, look
	}
	return out
}

// CurveChart makes the picture of some columns.
func CurveChart(c *roof.Case, v curves.View, from, until time.Time, lay Lay) picture.CurveChart {
	out := picture.CurveChart{ID: "curves", Zone: c.Property.Zone, From: from, Until: until,
		Step: time.Duration(v.StepMS) * time.Millisecond, Events: Events(c)}
	keys := make([]curves.Key, len(v.Columns))
	for i, col := range v.Columns {
		keys[i] = col.Key
	}
	looks := Looks(c, keys)
	panel, seen := map[string]int{}, map[int][]bool{}
	for i, col := range v.Columns {
		q := col.Key.Quantity
		at, ok := panel[q.Axis()]
		if !ok || lay == InStrips {
			at = len(out.Panels)
			panel[q.Axis()] = at
			out.Panels = append(out.Panels, picture.CurvePanel{Unit: q.Unit(), Decimals: q.Shown()})
		}
		p := &out.Panels[at]
		k := picture.Curve{Name: CurveName(c, col.Key), Look: looks[i], Bars: q == curves.RainMM}
		var unseen [][2]time.Time
		if v.StepMS == 0 {
			k.Runs, unseen = readings(col, from, until)
		} else {
			k.Runs = stepped(v, col)
			if seen[at] == nil {
				seen[at] = make([]bool, v.Len())
			}
			for n, b := range col.Bins {
				seen[at][n] = seen[at][n] || b.Seen > 0
			}
		}
		if len(p.Curves) == 0 {
			p.Unseen = unseen
		} else {
			p.Unseen = overlap(p.Unseen, unseen)
		}
		p.Curves = append(p.Curves, k)
	}
	for at, s := range seen {
		out.Panels[at].Unseen = runsOf(v, s)
	}
	return out
}

func instant(ms int64) time.Time { return time.UnixMilli(ms).UTC() }

// stepped parts a column's bins into observed runs, each at the middle of its step.
func stepped(v curves.View, col curves.Column) (out [][]picture.Sample) {
	open := false
	for i, b := range col.Bins {
		if b.Seen == 0 {
			open = false
			continue
		}
		if !open {
			out, open = append(out, nil), true
		}
		last := &out[len(out)-1]
		*last = append(*last, picture.Sample{At: instant(v.FromMS + int64(i)*v.StepMS + v.StepMS/2),
			Mean: float64(b.Mean), Min: float64(b.Min), Max: float64(b.Max)})
	}
	return out
}

// runsOf are the stretches in which nothing was observed.
func runsOf(v curves.View, seen []bool) (out [][2]time.Time) {
	for i := 0; i < len(seen); i++ {
		first := i
		for i < len(seen) && !seen[i] {
			i++
		}
		if i > first {
			out = append(out, [2]time.Time{instant(v.FromMS + int64(first)*v.StepMS), instant(v.FromMS + int64(i)*v.StepMS)})
		}
	}
	return out
}

// readings parts a column's readings into observed runs, and says what lies
// between them.
func readings(col curves.Column, from, until time.Time) (out [][]picture.Sample, unseen [][2]time.Time) {
	t := col.Readings
	end, open := from, false
	for i, ms := range t.AtMS {
		at := instant(ms)
		if !open {
			out = append(out, nil)
			if at.After(end) {
				unseen = append(unseen, [2]time.Time{end, at})
			}
		}
		last := &out[len(out)-1]
		*last = append(*last, picture.Sample{At: at, Mean: t.Value[i], Min: t.Value[i], Max: t.Value[i]})
		open, end = t.Joined[i], at
	}
	if until.After(end) {
		unseen = append(unseen, [2]time.Time{end, until})
	}
	return out, unseen
}

// overlap is what two lists of stretches have in common.
func overlap(a, b [][2]time.Time) (out [][2]time.Time) {
	for _, x := range a {
		for _, y := range b {
			from, until := x[0], x[1]
			if y[0].After(from) {
				from = y[0]
			}
			if y[1].Before(until) {
				until = y[1]
			}
			if until.After(from) {
				out = append(out, [2]time.Time{from, until})
			}
		}
	}
	return out
}
