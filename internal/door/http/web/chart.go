package web

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/curves"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// chartBody is the chart page: the winter sheet, and any quantities over one
// stretch.
type chartBody struct {
	SheetBody
	From, Until time.Time
	Lay         drawing.Lay
	Lays        []zoom
	Zooms       []zoom
	Ready       []zoom // views that are asked for often
	Chart       *picture.Scene
	Legend      []legendRow
	Groups      []pickGroup
	Axes        []axisRow
	Show        string
	View        string // the address's query
	StepWords   string
	Rows        []curveRow
	RowsCut     bool
	Columns     []string
	CSV         string
	Script      chartScript
	Remark      remarkForm
	Kept        []zoom // views kept under a name
}

// legendRow is one curve shown.
type legendRow struct {
	Key, Name, Unit string
	Look            int
}

// pickGroup is the quantities of one position to pick from.
type pickGroup struct {
	Where   string
	Choices []pickRow
}

type pickRow struct {
	Key, Name string
	Chosen    bool
}

// axisRow is one axis, whose ends may be set by hand.
type axisRow struct {
	Axis, Unit string
	Lo, Hi     *float64
}

// curveRow is one step of the table behind the chart.
type curveRow struct {
	At    time.Time
	Cells []string
}

// chartScript is what the script is told once.
type chartScript struct {
	Keys    []scriptKey         `json:"keys"`
	Shown   []string            `json:"shown"`
	Looks   []int               `json:"looks"`
	Events  []scriptEvent       `json:"events"`
	Offsets [][2]int64          `json:"offsets"` // since when, and by how many ms local time is ahead
	UsualMS int64               `json:"usual_ms"`
	Steps   []int64             `json:"steps"`
	Axes    map[string]any      `json:"axes"`
	Marks   []drawing.CurveMark `json:"marks"`
}

type scriptKey struct {
	Key   string `json:"key"`
	Name  string `json:"name"`
	Axis  string `json:"axis"`
	Unit  string `json:"unit"`
	Shown int    `json:"shown"`
}

type scriptEvent struct {
	At     int64  `json:"at"`
	N      int    `json:"n"`
	Repair bool   `json:"repair"`
	What   string `json:"what"`
}

func (p *Pages) chartPage(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	h, err := p.head(ctx, chi.URLParam(r, "case"))
	if err != nil {
		p.fail(w, r, err)
		return
	}
	pg := page{Title: "Chart, " + h.Label, Case: h, Tab: "chart"}
	if !h.HasRecord {
		pg.Body = assessment.Kits(h.Case)
		p.render(w, r, http.StatusOK, "empty", pg)
		return
	}
	soon, cancel := context.WithTimeout(ctx, chartWaits)
	defer cancel()
	a, _ := p.Record.AnswerSoon(soon, h.ID)
	h.Coverage = meanCoverage(a)
	v := readChart(h, a, r.URL.Query())
	b := chartBody{From: v.from, Until: v.until, Lay: v.Lay, Show: joinKeys(v.Keys), View: r.URL.RawQuery}
	if len(h.Surfaces) > 0 {
		if b.SheetBody, err = p.sheetBody(ctx, h, a, v, true); err != nil {
			p.fail(w, r, err)
			return
		}
	}
	step := drawing.CurveStep(h.Case, v.until.Sub(v.from))
	data, err := p.curves(ctx, h.ID, v.Keys, v.from, v.until, step)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	b.draw(h, v, data)
	pg.Body = b
	p.render(w, r, http.StatusOK, "chart", pg)
}

// chartWaits is how long the page waits for an assessment that is not at hand;
// only doubts about units and the order of surfaces rest on it.
const chartWaits = time.Second

// curves are the columns of a chart; those without a repair rest on the last
// assessment at hand.
func (p *Pages) curves(ctx context.Context, id string, keys []curves.Key, from, until time.Time,
	stepMS int64) (curves.View, error) {
	var changes []curves.Change
	if slices.ContainsFunc(keys, func(k curves.Key) bool { return k.Quantity == curves.UnrepairedK }) {
		soon, cancel := context.WithTimeout(ctx, chartWaits)
		defer cancel()
		a, _ := p.Record.AnswerSoon(soon, id)
		changes = drawing.Changes(a.Repairs)
	}
	return p.Record.Curves(ctx, id, keys, from, until, stepMS, changes...)
}

// margin leads from the address that the margin had to its chart.
func (p *Pages) margin(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	if c, err := p.Cases.Case(r.Context(), chi.URLParam(r, "case")); err == nil {
		s, ok := c.Position(q.Get("surface"))
		if all := c.Surfaces(); !ok && len(all) > 0 {
			s = all[0]
		}
		q.Set("show", joinKeys(marginKeys(c, s)))
	}
	http.Redirect(w, r, "/cases/"+url.PathEscape(chi.URLParam(r, "case"))+"/chart?"+q.Encode()+"#margin", http.StatusFound)
}

// marginKeys are a surface's margin, and where there was a repair the margin
// without it.
func marginKeys(c *roof.Case, surface roof.Position) (out []curves.Key) {
	for _, q := range curves.Offered(c, surface) {
		if q == curves.MarginK || q == curves.UnrepairedK {
			out = append(out, curves.Key{Position: surface.ID, Quantity: q})
		}
	}
	return out
}

// draw fills in what rests on the columns shown.
func (b *chartBody) draw(h *head, v chartView, data curves.View) {
	c := v.Chart(h.Case, data, v.from, v.until)
	looks := drawing.Looks(h.Case, v.Keys)
	panels := map[string]bool{}
	for i, k := range v.Keys {
		b.Legend = append(b.Legend, legendRow{k.String(), drawing.CurveName(h.Case, k), k.Quantity.Unit(),
			looks[i] + 1})
		if axis := k.Quantity.Axis(); !panels[axis] {
			panels[axis] = true
			row := axisRow{Axis: axis, Unit: k.Quantity.Unit()}
			if x, ok := v.Axes[axis]; ok {
				row.Lo, row.Hi = &x[0], &x[1]
			}
			b.Axes = append(b.Axes, row)
		}
	}
	b.Chart = c.Scene()
	b.StepWords = words.Step(c.Step)
	b.CSV = chartLink(h.ID, "chart.csv", v)
	for _, lay := range []struct {
		words string
		lay   drawing.Lay
	}{{"a frame an axis", drawing.ByUnit}, {"strips", drawing.InStrips}, {"overlaid", drawing.Overlaid}} {
		w := v
		w.Lay = lay.lay
		b.Lays = append(b.Lays, zoom{Words: lay.words, Link: chartLink(h.ID, "chart", w), Chosen: v.Lay == lay.lay,
			Key: string(lay.lay)})
	}
	b.Zooms = zooms(h, v.from, v.until, func(from, until time.Time) string {
		w := v
		w.from, w.until = from, until
		return chartLink(h.ID, "chart", w)
	})
	b.pick(h, v)
	b.remarks(h, v)
	b.table(h, v, data)
	b.script(h, v, looks)
}

// pick fills in the lists to pick from.
func (b *chartBody) pick(h *head, v chartView) {
	var all, of, without []curves.Key
	for _, p := range drawing.FromIndoors(h.Case) {
		g := pickGroup{Where: words.Position(p)}
		for _, q := range curves.Offered(h.Case, p) {
			k := curves.Key{Position: p.ID, Quantity: q}
			all = append(all, k)
			g.Choices = append(g.Choices, pickRow{k.String(), words.Curve(q.Key()), slices.Contains(v.Keys, k)})
			b.Script.Keys = append(b.Script.Keys, scriptKey{k.String(), drawing.CurveName(h.Case, k), q.Axis(), q.Unit(),
				q.Shown()})
		}
		b.Groups = append(b.Groups, g)
	}
	only := func(qs ...curves.Quantity) (out []curves.Key) {
		for _, k := range all {
			if slices.Contains(qs, k.Quantity) {
				out = append(out, k)
			}
		}
		return out
	}
	if b := marginKeys(h.Case, v.surface); len(b) > 1 {
		without = b
	}
	if v.surface.ID != "" {
		of = []curves.Key{{Position: v.surface.ID, Quantity: curves.MarginK},
			{Position: v.surface.ID, Quantity: curves.TempC},
			{Position: v.surface.Meets, Quantity: curves.DewPointC}, {Position: v.surface.Meets, Quantity: curves.FrostPointC}}
		if v.surface.Meets == "" {
			of = of[1:2]
		}
	}
	for _, x := range []struct {
		words string
		keys  []curves.Key
	}{{"margins", only(curves.MarginK)}, {"without the repair", without}, {"surface and its air", of},
		{"vapour pressure", only(curves.VapourPa)},
		{"over outdoors", only(curves.ExcessPa)}, {"humidity", only(curves.RHPct)}, {"temperature", only(curves.TempC)},
		{"wood", only(curves.WoodPct)}, {"weather", only(curves.RainMM, curves.WindMS, curves.SunWM2)}} {
		if len(x.keys) == 0 {
			continue
		}
		w := v
		w.Keys, w.Axes, w.Marks = x.keys[:min(len(x.keys), curves.MostKeys)], nil, nil
		b.Ready = append(b.Ready, zoom{Words: x.words, Link: chartLink(h.ID, "chart", w), Key: joinKeys(w.Keys),
			Chosen: slices.Equal(w.Keys, v.Keys)})
	}
}

// script fills in what the script is told.
func (b *chartBody) script(h *head, v chartView, looks []int) {
	s := &b.Script
	s.Shown, s.Looks, s.UsualMS, s.Steps = strings.Split(b.Show, ","), looks, drawing.UsualMS(h.Case), curves.Steps
	s.Marks = v.Marks
	if b.Show == "" {
		s.Shown = []string{}
	}
	s.Axes, s.Events = map[string]any{}, []scriptEvent{}
	for axis, x := range v.Axes {
		s.Axes[axis] = x
	}
	if s.Marks == nil {
		s.Marks = []drawing.CurveMark{}
	}
	for i, e := range h.Events {
		s.Events = append(s.Events, scriptEvent{e.At.UnixMilli(), i + 1, e.IsRepair(), e.What})
	}
	s.Offsets = offsets(h.Zone, h.From.AddDate(-1, 0, 0), h.Until.AddDate(1, 0, 0))
}

// offsets are by how many ms local time is ahead, and since when in Unix ms.
func offsets(zone *time.Location, from, until time.Time) (out [][2]int64) {
	for t := from.In(zone); t.Before(until); {
		_, s := t.Zone()
		out = append(out, [2]int64{t.UnixMilli(), int64(s) * 1000})
		_, end := t.ZoneBounds()
		if end.IsZero() {
			break
		}
		t = end
	}
	return out
}

// maxRows is how much of the table behind the chart the page itself holds; the
// CSV has it all.
const maxRows = 120

// table fills in the first rows behind the chart.
func (b *chartBody) table(h *head, v chartView, data curves.View) {
	for _, l := range b.Legend {
		b.Columns = append(b.Columns, l.Name+", "+l.Unit)
	}
	b.Rows, b.RowsCut = curveRows(v.Keys, data, maxRows)
}

// curveRows lays columns out as rows, at most so many.
func curveRows(keys []curves.Key, data curves.View, most int) (rows []curveRow, cut bool) {
	row := func(at time.Time) *curveRow {
		rows = append(rows, curveRow{at, make([]string, len(keys))})
		return &rows[len(rows)-1]
	}
	if data.StepMS > 0 {
		for i := range data.Len() {
			if i == most {
				return rows, true
			}
			r := row(time.UnixMilli(data.FromMS + int64(i)*data.StepMS))
			for k, col := range data.Columns {
				if x := col.Bins[i]; x.Seen > 0 {
					r.Cells[k] = words.Fixed(float64(x.Mean), keys[k].Quantity.Shown())
				}
			}
		}
		return rows, false
	}
	next := make([]int, len(keys))
	for {
		at := int64(1) << 62
		for k, col := range data.Columns {
			if t := col.Readings; next[k] < t.Len() {
				at = min(at, t.AtMS[next[k]])
			}
		}
		if at >= data.UntilMS || len(rows) == most {
			return rows, at < data.UntilMS
		}
		r := row(time.UnixMilli(at))
		for k, col := range data.Columns {
			if t := col.Readings; next[k] < t.Len() && t.AtMS[next[k]] == at {
				r.Cells[k] = words.Fixed(t.Value[next[k]], keys[k].Quantity.Shown())
				next[k]++
			}
		}
		if at < data.FromMS {
			rows = rows[:0] // it only reaches into the stretch
		}
	}
}

// SheetBody is the winter sheet of one surface with its table.
type SheetBody struct {
	Surface      roof.Position
	SurfaceWords string
	Sheet        *picture.Scene
	HasWeather   bool // the sheet shows outdoors and sky
	Nights       []nightRow
	Said         words.SurfaceRecord // of the same nights
	Winters      []int
	Winter       int
	SheetFrom    time.Time
	SheetUntil   time.Time
	NightsCSV    string // address of the table
}

// sheetBody makes the sheet of the surface in view; window marks where the chart is.
func (p *Pages) sheetBody(ctx context.Context, h *head, a assessment.Answer, v chartView, window bool) (b SheetBody,
	err error) {
	wi, years := winterOf(h, v.winter)
	hourly, err := p.Record.Timeline(ctx, h.ID, wi.From, wi.Until, evidence.SheetStep(h.Zone, wi.From, wi.Until))
	if err != nil {
		return b, err
	}
	h.choose(h.Case, a, v.surface.ID)
	s := sheetOf(h, a, v.view, hourly, wi)
	if window {
		s.WindowFrom, s.WindowUntil = v.from, v.until
	}
	where := words.Surface(h.Case, v.surface)
	b = SheetBody{Surface: v.surface, SurfaceWords: where, Sheet: s.Scene(), Said: s.Said(where), Winters: years,
		SheetFrom: wi.From, SheetUntil: wi.Until, Nights: nightRows(s, func(from, until time.Time) string {
			w := v
			w.from, w.until, w.Axes, w.Marks = from, until, nil, nil
			return chartLink(h.ID, "chart", w)
		}), NightsCSV: v.to(h.ID, "nights.csv", v.from, v.until)}
	for _, n := range s.Nights {
		b.HasWeather = b.HasWeather || n.OutdoorMinC != nil
	}
	if len(years) > 0 {
		b.Winter = seasonYear(wi.From.In(h.Zone))
	}
	return b, nil
}
