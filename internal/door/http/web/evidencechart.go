package web

import (
	"slices"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/curves"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// curve is a quantity at a place, at whichever of a line's positions lie there.
type curve struct {
	place    roof.Place
	quantity curves.Quantity
}

// rests says which curves a figure is made of, and where it stands among them: on
// an axis between two values, or on none, as words in the picture.
type rests struct {
	on   []curve
	axis string
	at   [2]float64
	// mean says that the figure itself is a value of the axis.
	mean bool
}

const (
	indoors, loft, void = roof.IndoorAir, roof.LoftAir, roof.BattenVoidAir
	covering, underlay  = roof.CoveringUnderside, roof.UnderlayUnderside
	outdoors            = roof.OutdoorAir
)

// ofFeature is what each figure of the diagnosis rests on, by its short name.
var ofFeature = map[string]rests{
	"El":    {on: []curve{{loft, curves.ExcessPa}, {outdoors, curves.TempC}}, axis: "over", mean: true},
	"lflux": {on: []curve{{loft, curves.ExcessPa}, {indoors, curves.ExcessPa}}},
	"src":   {on: []curve{{loft, curves.ExcessPa}, {indoors, curves.ExcessPa}}},
	"lHu":   {on: []curve{{underlay, curves.MarginK}}, axis: "k"},
	"rh90":  {on: []curve{{loft, curves.RHPct}}, axis: "rh", at: [2]float64{90, 100}},
	"ElB":   {on: []curve{{loft, curves.VapourPa}, {void, curves.VapourPa}}},
	"wo":    {on: []curve{{loft, curves.VapourPa}, {outdoors, curves.VapourPa}}},
	"sb":    {on: []curve{{loft, curves.VapourPa}, {outdoors, curves.VapourPa}}},
	"heat":  {on: []curve{{loft, curves.TempC}, {underlay, curves.TempC}, {indoors, curves.TempC}}},
	"wiZ":   {on: []curve{{loft, curves.VapourPa}, {indoors, curves.VapourPa}, {outdoors, curves.VapourPa}}},
	"vo":    {on: []curve{{void, curves.VapourPa}, {outdoors, curves.VapourPa}, {loft, curves.VapourPa}}},
	"lHc":   {on: []curve{{covering, curves.MarginK}}, axis: "k"},
	"where": {on: []curve{{covering, curves.MarginK}, {underlay, curves.MarginK}}, axis: "k"},
	"uc":    {on: []curve{{covering, curves.TempC}, {outdoors, curves.TempC}}},
	"rt":    {on: []curve{{loft, curves.ExcessPa}}},
	"decay": {on: []curve{{loft, curves.ExcessPa}, {loft, curves.TempC}, {outdoors, curves.TempC}}},
	"decayI": {on: []curve{{indoors, curves.ExcessPa}, {indoors, curves.TempC},
		{outdoors, curves.TempC}}},
}

// evidenceLink is the chart of exactly the curves and the stretch that a line of
// the diagnosis rests on, with its figure in the picture; "" for a line that was
// not measured.
func evidenceLink(h *head, e cause.Evidence) string {
	r, ok := ofFeature[e.Feature]
	if !ok || e.Figure == nil {
		return ""
	}
	v := chartView{view: view{from: time.UnixMilli(e.FromMS), until: time.UnixMilli(e.UntilMS)}}
	for _, c := range r.on {
		for _, id := range e.Positions {
			p, _ := h.Case.Position(id)
			k := curves.Key{Position: id, Quantity: c.quantity}
			if p.Place == c.place && slices.Contains(curves.Offered(h.Case, p), c.quantity) && !slices.Contains(v.Keys, k) {
				v.Keys = append(v.Keys, k)
			}
		}
	}
	m := drawing.CurveMark{Axis: drawing.NoteAxis, Label: words.Marked(e.Feature, *e.Figure, e.Accuracy)}
	switch {
	case r.mean:
		m.Axis, m.Lo, m.Hi = r.axis, *e.Figure, *e.Figure
		if e.Accuracy != nil {
			m.Lo, m.Hi = *e.Figure-*e.Accuracy, *e.Figure+*e.Accuracy
		}
	case r.axis != "":
		m.Axis, m.Lo, m.Hi = r.axis, r.at[0], r.at[1]
	}
	v.Marks = []drawing.CurveMark{m}
	v.surface = surfaceAmong(h.Case, e.Positions)
	return chartLink(h.ID, "chart", v) + "#margin"
}

// surfaceAmong is the first surface that some positions speak of.
func surfaceAmong(c *roof.Case, positions []string) roof.Position {
	for _, s := range c.Surfaces() {
		if slices.Contains(positions, s.ID) || slices.Contains(positions, s.Meets) {
			return s
		}
	}
	return roof.Position{}
}

// of picks a quantity of the surface judged, of its air, or of outdoor air.
type ofSurface struct {
	where    string // "surface", "air", "outdoors"
	quantity curves.Quantity
}

// ofGate is what each condition of a verdict rests on.
var ofGate = map[string]struct {
	on    []ofSurface
	axis  string
	since bool // only since the repair
}{
	repair.GateNights: {on: []ofSurface{{"surface", curves.MarginK}}},
	repair.GateWeather: {on: []ofSurface{{"surface", curves.MarginK}, {"surface", curves.UnrepairedK},
		{"outdoors", curves.TempC}}, axis: "k", since: true},
	repair.GateFit:  {on: []ofSurface{{"air", curves.DewPointC}, {"outdoors", curves.DewPointC}}},
	repair.GateSame: {on: []ofSurface{{"surface", curves.MarginK}}, axis: "k"},
	repair.GateLike: {on: []ofSurface{{"outdoors", curves.TempC}, {"surface", curves.TempC}}},
}

// gateRow is a condition with its chart.
type gateRow struct {
	repair.Gate
	Link string
}

// gateRows link each condition of a verdict to what it rests on.
func gateRows(h *head, res assessment.Repair) []gateRow {
	out := make([]gateRow, 0, len(res.Gates))
	surface, _ := h.Case.Position(res.Surface)
	from, until := h.From, h.Until
	if n := len(res.Nights); n > 0 {
		from, until = time.UnixMilli(res.Nights[0].FromMS), time.UnixMilli(res.Nights[n-1].FromMS).Add(24*time.Hour)
	}
	for _, g := range res.Gates {
		row, rule := gateRow{Gate: g}, ofGate[g.Name]
		v := chartView{view: view{surface: surface, from: from, until: until}}
		if rule.since && res.At.After(from) && res.At.Before(until) {
			v.from = res.At
		}
		for _, x := range rule.on {
			ids := []string{res.Surface}
			switch x.where {
			case "air":
				ids = []string{res.Air}
			case "outdoors":
				ids = nil
				for _, p := range h.Case.At(outdoors) {
					ids = append(ids, p.ID)
				}
			}
			for _, id := range ids {
				if p, ok := h.Case.Position(id); ok && slices.Contains(curves.Offered(h.Case, p), x.quantity) {
					v.Keys = append(v.Keys, curves.Key{Position: id, Quantity: x.quantity})
				}
			}
		}
		m := drawing.CurveMark{Axis: drawing.NoteAxis, Label: g.Figure}
		if rule.axis != "" {
			m.Axis = rule.axis
		}
		if v.Marks = []drawing.CurveMark{m}; len(v.Keys) > 0 {
			row.Link = chartLink(h.ID, "chart", v) + "#margin"
		}
		out = append(out, row)
	}
	return out
}

// aroundRepair is the chart of the weeks before and after a repair.
func aroundRepair(h *head, res assessment.Repair) string {
	surface, _ := h.Case.Position(res.Surface)
	v := chartView{CurvesView: drawing.CurvesView{Keys: usualKeys(h.Case, surface)}, view: view{surface: surface,
		from: res.At.Add(-21 * 24 * time.Hour), until: res.At.Add(21 * 24 * time.Hour)}}
	return chartLink(h.ID, "chart", v) + "#margin"
}
