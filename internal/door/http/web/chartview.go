package web

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/curves"
	"dewcase/internal/roof"
)

// chartView is what the address of a chart asks for.
type chartView struct {
	view
	keys  []curves.Key
	lay   drawing.Lay
	axes  map[string][2]float64
	marks []chartMark
}

// readChart reads the address; what makes no sense is left out.
func readChart(h *head, a assessment.Answer, q url.Values) chartView {
	v := chartView{view: readView(h, a, q), axes: map[string][2]float64{},
		keys: curves.ParseKeys(h.Case, strings.Join(q["show"], ","))}
	switch v.lay = drawing.Lay(q.Get("lay")); v.lay {
	case drawing.InStrips, drawing.Overlaid:
	default:
		v.lay = drawing.ByUnit
	}
	if len(v.keys) == 0 && !q.Has("show") {
		v.keys = usualKeys(h.Case, v.surface)
	}
	for _, part := range strings.Split(q.Get("y"), ",") {
		axis, ends, _ := strings.Cut(part, ":")
		if x, ok := parseRange(ends); ok && x[1] > x[0] {
			v.axes[axis] = x
		}
	}
	for _, k := range v.keys { // the form's own fields
		axis := k.Quantity.Axis()
		lo, err1 := strconv.ParseFloat(q.Get("y-"+axis+"-lo"), 64)
		hi, err2 := strconv.ParseFloat(q.Get("y-"+axis+"-hi"), 64)
		if err1 == nil && err2 == nil && hi > lo {
			v.axes[axis] = [2]float64{lo, hi}
		}
	}
	for _, m := range q["mark"] {
		parts := strings.SplitN(m, ":", 3)
		if len(parts) == 3 && len(v.marks) < 8 && len(parts[2]) < 200 {
			if x, ok := parseRange(parts[1]); ok {
				v.marks = append(v.marks, chartMark{parts[0], x[0], x[1], parts[2]})
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

// usualKeys are shown where the address says nothing: the surface's margin, and
// the vapour pressures of all air.
func usualKeys(c *roof.Case, surface roof.Position) (out []curves.Key) {
	if surface.Meets != "" {
		out = append(out, curves.Key{Position: surface.ID, Quantity: curves.MarginK})
	}
	for _, p := range drawing.FromIndoors(c) {
		if p.Place.IsAir() {
			out = append(out, curves.Key{Position: p.ID, Quantity: curves.VapourPa})
		}
	}
	if len(out) == 0 {
		for _, p := range drawing.FromIndoors(c) {
			out = append(out, curves.Key{Position: p.ID, Quantity: curves.TempC})
		}
	}
	return out[:min(len(out), curves.MostKeys)]
}

// chartLink is the address of a chart.
func chartLink(id, page string, v chartView) string {
	q := url.Values{"from": {v.from.UTC().Format(time.RFC3339)}, "to": {v.until.UTC().Format(time.RFC3339)},
		"show": {joinKeys(v.keys)}}
	if v.lay != drawing.ByUnit && v.lay != "" {
		q.Set("lay", string(v.lay))
	}
	if v.surface.ID != "" {
		q.Set("surface", v.surface.ID)
	}
	if v.winter != 0 {
		q.Set("winter", strconv.Itoa(v.winter))
	}
	if y := axesQuery(v.axes); y != "" {
		q.Set("y", y)
	}
	for _, m := range v.marks {
		q.Add("mark", fmt.Sprintf("%s:%.4g~%.4g:%s", m.Axis, m.Lo, m.Hi, m.Label))
	}
	return "/cases/" + id + "/" + page + "?" + q.Encode()
}

func axesQuery(axes map[string][2]float64) string {
	var out []string
	for axis, x := range axes {
		out = append(out, fmt.Sprintf("%s:%g~%g", axis, x[0], x[1]))
	}
	slices.Sort(out)
	return strings.Join(out, ",")
}

func joinKeys(keys []curves.Key) string {
	out := make([]string, len(keys))
	for i, k := range keys {
		out[i] = k.String()
	}
	return strings.Join(out, ",")
}
