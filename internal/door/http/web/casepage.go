package web

import (
	"encoding/csv"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// nightRow is one night of the table behind the sheet.
type nightRow struct {
	Night     picture.Night
	Wet, Near float64 // hours
	WetWords  string
	Frost     float64
	Observed  string
	Link      string
	Verdict   string
}

// zoom is one link of the chart's tool bar.
type zoom struct {
	Words, Link string
	Key         string // the shortcut, said in the title
	Chosen      bool
}

// view is what the address asks for.
type view struct {
	surface     roof.Position
	from, until time.Time
	winter      int
}

// readView reads the address; whatever makes no sense falls back to the
// default, so that an old link still shows something.
func readView(h *head, a assessment.Answer, q url.Values) view {
	var v view
	if first := drawing.Order(h.Case, a); len(first) > 0 {
		v.surface = first[0]
	}
	for _, s := range h.Case.Surfaces() {
		if s.ID == q.Get("surface") {
			v.surface = s
		}
	}
	v.winter, _ = strconv.Atoi(q.Get("winter"))
	v.from, v.until = h.Until.Add(-14*24*time.Hour), h.Until
	if v.from.Before(h.From) {
		v.from = h.From
	}
	if v.until.Sub(v.from) < time.Minute { // a record of one reading
		v.from = v.until.Add(-time.Hour)
	}
	if n, err := time.ParseInLocation(time.DateOnly, q.Get("night"), h.Zone); err == nil {
		v.from = time.Date(n.Year(), n.Month(), n.Day(), 12, 0, 0, 0, h.Zone)
		v.until = evidence.NoonAfter(v.from, 1, h.Zone)
	}
	from, err1 := roof.ParseTime(q.Get("from"))
	until, err2 := roof.ParseTime(q.Get("to"))
	if err1 == nil && err2 == nil && until.Sub(from) >= time.Minute && until.Sub(from) < 20*366*24*time.Hour {
		v.from, v.until = from, until
	}
	return v
}

// link is the address of the chart of a stretch; to, that of another page of it.
func (v view) link(id string, from, until time.Time) string { return v.to(id, "chart", from, until) }

func (v view) to(id, page string, from, until time.Time) string {
	q := url.Values{"from": {from.UTC().Format(time.RFC3339)}, "to": {until.UTC().Format(time.RFC3339)}}
	if v.surface.ID != "" {
		q.Set("surface", v.surface.ID)
	}
	if v.winter != 0 {
		q.Set("winter", strconv.Itoa(v.winter))
	}
	return "/cases/" + id + "/" + page + "?" + q.Encode()
}

func seasonYear(t time.Time) int {
	if t.Month() < time.July {
		return t.Year() - 1
	}
	return t.Year()
}

func nightRows(s picture.WinterSheet, link func(from, until time.Time) string) []nightRow {
	rows := make([]nightRow, 0, len(s.Nights))
	for _, n := range s.Nights {
		sum := n.Sum()
		row := nightRow{Night: n, Wet: sum.CondensingMin / 60, Near: (sum.AtRiskMin - sum.CondensingMin) / 60,
			Frost: sum.FrostMin / 60, WetWords: words.NightHours(n.State(), sum.CondensingMin/60),
			Observed: words.Percent(n.Coverage()), Link: link(n.From, n.Until)}
		switch state := n.State(); {
		case state == words.NotSeen:
			row.Verdict = "not observed"
		case state == words.DryNight && sum.AtRiskMin >= picture.ShortMin:
			row.Verdict = "near"
		case state == words.DryNight:
			row.Verdict = "dry"
		default:
			row.Verdict = words.Night{State: state, Frost: n.IsFrost()}.Consultant()
		}
		rows = append(rows, row)
	}
	return rows
}

// zooms are the chart's steps from the whole record to an hour, around the
// middle of the view.
func zooms(h *head, shownFrom, shownUntil time.Time, link func(from, until time.Time) string) []zoom {
	span := shownUntil.Sub(shownFrom)
	mid := shownFrom.Add(span / 2)
	around := func(d time.Duration) string {
		from := mid.Add(-d / 2)
		if from.Add(d).After(h.Until) {
			from = h.Until.Add(-d)
		}
		if from.Before(h.From) {
			from = h.From
		}
		return link(from.Truncate(time.Minute), from.Add(d).Truncate(time.Minute))
	}
	const day = 24 * time.Hour
	out := []zoom{{Words: "whole record", Link: link(h.From, h.Until), Key: "Home",
		Chosen: !shownFrom.After(h.From) && !shownUntil.Before(h.Until)}}
	for _, z := range []struct {
		words string
		d     time.Duration
	}{{"month", 30 * day}, {"fortnight", 14 * day}, {"week", 7 * day}, {"day", day}, {"6 hours", 6 * time.Hour},
		{"hour", time.Hour}} {
		if z.d < h.Until.Sub(h.From) {
			near := span - z.d
			out = append(out, zoom{Words: z.words, Link: around(z.d), Chosen: !out[0].Chosen && near > -2*time.Minute &&
				near < 2*time.Minute})
		}
	}
	return append(out, zoom{Words: "earlier", Link: link(shownFrom.Add(-span), shownFrom)},
		zoom{Words: "later", Link: link(shownUntil, shownUntil.Add(span))})
}

// viewed reads which view of which case a table is asked of; ok is false where
// the asker was told why there is none.
func (p *Pages) viewed(w http.ResponseWriter, r *http.Request) (h *head, a assessment.Answer, v view, ok bool) {
	h, err := p.head(r.Context(), chi.URLParam(r, "case"))
	if err == nil && (!h.HasRecord || len(h.Surfaces) == 0) {
		err = fmt.Errorf("case %s has no surface with readings: %w", h.ID, roof.ErrNotFound)
	}
	if err != nil {
		p.fail(w, r, err)
		return nil, a, view{}, false
	}
	if a, err = p.Record.Answer(r.Context(), h.ID); err != nil {
		p.fail(w, r, err)
		return nil, a, view{}, false
	}
	return h, a, readView(h, a, r.URL.Query()), true
}

// sheetOf makes the winter sheet of the surface in view; nothing is observed on
// it where the surface rests on a logger whose units cannot be.
func sheetOf(h *head, a assessment.Answer, v view, hourly timeline.View, wi winter) picture.WinterSheet {
	s := drawing.Sheet(h.Case, hourly, v.surface, wi.From, wi.Until, h.Zone)
	for _, of := range a.Surfaces {
		if of.Surface == v.surface.ID && a.DoubtAt(of) != "" {
			s.Forget()
		}
	}
	return s
}

// nightsCSV is the table behind the winter sheet.
func (p *Pages) nightsCSV(w http.ResponseWriter, r *http.Request) {
	h, a, v, ok := p.viewed(w, r)
	if !ok {
		return
	}
	wi, _ := winterOf(h, v.winter)
	hourly, err := p.Record.Timeline(r.Context(), h.ID, wi.From, wi.Until, evidence.SheetStep(h.Zone, wi.From, wi.Until))
	if err != nil {
		p.fail(w, r, err)
		return
	}
	out := csvAnswer(w, h.ID+"-"+v.surface.ID+"-nights.csv")
	_ = out.Write([]string{"night_from", "night_until", "surface", "wet_h", "at_risk_h", "frost_h", "observed_share",
		"outdoor_min_c", "undercooling_k", "sky"})
	for _, n := range sheetOf(h, a, v, hourly, wi).Nights {
		s := n.Sum()
		_ = out.Write([]string{n.From.In(h.Zone).Format(time.RFC3339), n.Until.In(h.Zone).Format(time.RFC3339), v.surface.ID,
			hoursCSV(s.ObservedMin, s.CondensingMin), hoursCSV(s.ObservedMin, s.AtRiskMin), hoursCSV(s.ObservedMin, s.FrostMin),
			strconv.FormatFloat(n.Coverage(), 'f', 3, 64), orEmpty(n.OutdoorMinC), orEmpty(n.UndercoolingK), n.Sky().String()})
	}
	out.Flush()
}

// hoursCSV leaves the cell empty where nothing was observed.
func hoursCSV(observedMin, minutes float64) string {
	if observedMin == 0 {
		return ""
	}
	return strconv.FormatFloat(minutes/60, 'f', 2, 64)
}

func orEmpty(x *float64) string {
	if x == nil {
		return ""
	}
	return strconv.FormatFloat(*x, 'f', 2, 64)
}

// csvAnswer begins a CSV download. No cell of ours begins with = + - @ but for
// numbers, because ids cannot.
func csvAnswer(w http.ResponseWriter, name string) *csv.Writer {
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
	return csv.NewWriter(w)
}
