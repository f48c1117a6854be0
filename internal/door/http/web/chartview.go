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
	drawing.CurvesView
}

// readChart reads the address; what makes no sense is left out.
func readChart(h *head, a assessment.Answer, q url.Values) chartView {
	v := chartView{readView(h, a, q), drawing.ReadCurvesView(h.Case, q)}
	if len(v.Keys) == 0 && !q.Has("show") {
		v.Keys = usualKeys(h.Case, v.surface)
	}
	return v
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
		"show": {joinKeys(v.Keys)}}
	if v.Lay != drawing.ByUnit && v.Lay != "" {
		q.Set("lay", string(v.Lay))
	}
	if v.surface.ID != "" {
		q.Set("surface", v.surface.ID)
	}
	if v.winter != 0 {
		q.Set("winter", strconv.Itoa(v.winter))
	}
	if y := axesQuery(v.Axes); y != "" {
		q.Set("y", y)
	}
	for _, m := range v.Marks {
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
