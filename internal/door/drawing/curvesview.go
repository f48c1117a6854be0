package drawing

import (
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/curves"
	"dewcase/internal/roof"
)

// NoteAxis is the axis of a mark that stands on none: words in the picture.
const NoteAxis = "note"

// CurveMark is a figure marked in a chart: a line or a band on an axis.
type CurveMark struct {
	Axis  string  `json:"axis"`
	Lo    float64 `json:"lo"`
	Hi    float64 `json:"hi"`
	Label string  `json:"label"`
}

// CurvesView is what an address asks of a chart, but for its stretch.
type CurvesView struct {
	Keys  []curves.Key
	Lay   Lay
	Axes  map[string][2]float64 // ends set by hand
	Marks []CurveMark
}

// ReadCurvesView reads an address; what makes no sense is left out.
func ReadCurvesView(c *roof.Case, q url.Values) CurvesView {
	v := CurvesView{Keys: curves.ParseKeys(c, strings.Join(q["show"], ",")), Axes: map[string][2]float64{}}
	switch v.Lay = Lay(q.Get("lay")); v.Lay {
	case InStrips, Overlaid:
	default:
		v.Lay = ByUnit
	}
	for _, part := range strings.Split(q.Get("y"), ",") {
		axis, ends, _ := strings.Cut(part, ":")
		if x, ok := parseRange(ends); ok && x[1] > x[0] {
			v.Axes[axis] = x
		}
	}
	for _, k := range v.Keys { // the form's own fields
		axis := k.Quantity.Axis()
		lo, err1 := strconv.ParseFloat(q.Get("y-"+axis+"-lo"), 64)
		hi, err2 := strconv.ParseFloat(q.Get("y-"+axis+"-hi"), 64)
		if err1 == nil && err2 == nil && hi > lo {
			v.Axes[axis] = [2]float64{lo, hi}
		}
	}
	for _, m := range q["mark"] {
		parts := strings.SplitN(m, ":", 3)
		if len(parts) == 3 && len(v.Marks) < 8 && len(parts[2]) < 200 {
			if x, ok := parseRange(parts[1]); ok {
				v.Marks = append(v.Marks, CurveMark{parts[0], x[0], x[1], parts[2]})
			}
		}
	}
	return v
}

// parseRange reads LO~HI, or one figure for both.
func parseRange(s string) (x [2]float64, ok bool) {
	lo, hi, two := strings.Cut(s, "~")
	if !two {
		hi = lo
	}
	var err1, err2 error
	x[0], err1 = strconv.ParseFloat(lo, 64)
	x[1], err2 = strconv.ParseFloat(hi, 64)
	return x, err1 == nil && err2 == nil && x[0] <= x[1] && x[0] > -1e6 && x[1] < 1e6
}

// Chart makes the picture of a view from its columns over [from, until).
func (v CurvesView) Chart(c *roof.Case, data curves.View, from, until time.Time) picture.CurveChart {
	out := CurveChart(c, data, from, until, v.Lay)
	var axes []string
	for i, k := range v.Keys { // the panel of each key
		axis := k.Quantity.Axis()
		at := slices.Index(axes, axis)
		if at < 0 {
			at, axes = len(axes), append(axes, axis)
		}
		if v.Lay == InStrips {
			at = i
		}
		panel := &out.Panels[at]
		if x, ok := v.Axes[axis]; ok {
			panel.Lo, panel.Hi = &x[0], &x[1]
		}
		if len(panel.Marks) > 0 {
			continue
		}
		for _, m := range v.Marks {
			if m.Axis == axis {
				panel.Marks = append(panel.Marks, picture.Mark{Lo: m.Lo, Hi: m.Hi, Label: m.Label})
			}
		}
	}
	for _, m := range v.Marks {
		if m.Axis == NoteAxis {
			out.Notes = append(out.Notes, m.Label)
		}
	}
	return out
}

// drawnPoints is how many points the server's own picture has along its axis.
const drawnPoints = 500

// CurveStep is the step in ms at which the server draws a stretch of a house; 0
// stands for the readings.
func CurveStep(c *roof.Case, span time.Duration) int64 {
	return curves.StepFor(span.Milliseconds(), UsualMS(c), drawnPoints)
}

// UsualMS is the shortest usual interval of a house's loggers, as its file says.
func UsualMS(c *roof.Case) int64 {
	shortest := int64(0)
	for _, l := range c.Loggers {
		if ms := l.Interval.Milliseconds(); ms > 0 && (shortest == 0 || ms < shortest) {
			shortest = ms
		}
	}
	if shortest == 0 {
		return 5 * 60_000
	}
	return shortest
}
