package web

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/drawing"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/curves"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// chartData answers the chart's script: the columns of the keys in show over
// [from, to), in steps of step seconds, or the readings for step=0.
func (p *Pages) chartData(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	from, err1 := roof.ParseTime(q.Get("from"))
	until, err2 := roof.ParseTime(q.Get("to"))
	step, err3 := strconv.ParseInt(q.Get("step"), 10, 32)
	id := chi.URLParam(r, "case")
	c, err := p.Cases.Case(r.Context(), id)
	if err == nil && (err1 != nil || err2 != nil || err3 != nil) {
		err = fmt.Errorf("chart of case %s: from and to are RFC 3339 times, step whole seconds: %w", id, curves.ErrTooLong)
	}
	if err != nil {
		p.fail(w, r, err)
		return
	}
	v, err := p.curves(r.Context(), id, curves.ParseKeys(c, q.Get("show")), from, until, step*1000)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write(writeCurves(v))
}

// writeCurves writes columns compactly: figures as whole numbers of their last
// decimal, times as ms since the one before. What was not observed is null in
// mean; least and greatest are told as their distances from it. Of readings, gaps
// lists those after which nothing was observed until the next.
func writeCurves(v curves.View) []byte {
	b := make([]byte, 0, 1<<16)
	b = fmt.Appendf(b, `{"from":%d,"until":%d,"step":%d,"columns":[`, v.FromMS, v.UntilMS, v.StepMS)
	for i, col := range v.Columns {
		if i > 0 {
			b = append(b, ',')
		}
		scale := math.Pow10(col.Key.Quantity.Decimals())
		b = fmt.Appendf(b, `{"key":%q,"decimals":%d`, col.Key.String(), col.Key.Quantity.Decimals())
		list := func(name string, n int, each func(i int) (float64, bool)) {
			b = append(append(append(b, `,"`...), name...), `":[`...)
			for i := range n {
				if i > 0 {
					b = append(b, ',')
				}
				if x, ok := each(i); ok {
					b = strconv.AppendInt(b, int64(math.Round(x)), 10)
				} else {
					b = append(b, "null"...)
				}
			}
			b = append(b, ']')
		}
		if t := col.Readings; v.StepMS == 0 {
			last := v.FromMS
			list("at", t.Len(), func(i int) (float64, bool) {
				d := t.AtMS[i] - last
				last = t.AtMS[i]
				return float64(d), true
			})
			list("value", t.Len(), func(i int) (float64, bool) { return t.Value[i] * scale, true })
			var gaps []int
			for i, joined := range t.Joined {
				if !joined {
					gaps = append(gaps, i)
				}
			}
			list("gaps", len(gaps), func(i int) (float64, bool) { return float64(gaps[i]), true })
		} else {
			n, seen := len(col.Bins), func(i int) bool { return col.Bins[i].Seen > 0 }
			list("mean", n, func(i int) (float64, bool) { return float64(col.Bins[i].Mean) * scale, seen(i) })
			list("under", n, func(i int) (float64, bool) {
				return math.Max(0, float64(col.Bins[i].Mean-col.Bins[i].Min)*scale), seen(i)
			})
			list("over", n, func(i int) (float64, bool) {
				return math.Max(0, float64(col.Bins[i].Max-col.Bins[i].Mean)*scale), seen(i)
			})
			if slices.ContainsFunc(col.Bins, func(x curves.Bin) bool { return x.Seen > 0 && x.Seen < 0.995 }) {
				list("seen", n, func(i int) (float64, bool) { return math.Ceil(float64(col.Bins[i].Seen) * 100), true })
			}
		}
		b = append(b, '}')
	}
	return append(b, `]}`...)
}

// chartCSV is the table behind the chart, as it is seen, under lines that say what
// it is; they begin with #, as programs that read tables know comments.
func (p *Pages) chartCSV(w http.ResponseWriter, r *http.Request) {
	h, err := p.head(r.Context(), chi.URLParam(r, "case"))
	if err == nil && !h.HasRecord {
		err = fmt.Errorf("case %s has no readings: %w", h.ID, roof.ErrNotFound)
	}
	if err != nil {
		p.fail(w, r, err)
		return
	}
	v := readChart(h, assessment.Answer{}, r.URL.Query())
	step := drawing.CurveStep(h.Case, v.until.Sub(v.from))
	data, err := p.curves(r.Context(), h.ID, v.Keys, v.from, v.until, step)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	out := csvAnswer(w, h.ID+"-chart.csv")
	oneCell := strings.NewReplacer(",", ";", `"`, "'")
	for _, line := range captionOf(h, v, data) {
		_, _ = fmt.Fprintln(w, "# "+oneCell.Replace(strings.Join(strings.Fields(line), " ")))
	}
	head := []string{"time", "until"}
	for _, k := range v.Keys {
		name := drawing.CurveName(h.Case, k) + ", " + k.Quantity.Unit()
		if head = append(head, name); step > 0 {
			head = append(head, name+", least", name+", greatest", name+", observed share")
		}
	}
	_ = out.Write(head)
	stamp := func(ms int64) string { return time.UnixMilli(ms).In(h.Zone).Format(time.RFC3339) }
	if step == 0 {
		rows, _ := curveRows(v.Keys, data, math.MaxInt)
		for _, row := range rows {
			_ = out.Write(append([]string{row.At.In(h.Zone).Format(time.RFC3339Nano), ""}, row.Cells...))
		}
		out.Flush()
		return
	}
	for i := range data.Len() {
		at := data.FromMS + int64(i)*step
		row := []string{stamp(at), stamp(at + step)}
		for _, col := range data.Columns {
			x, d := col.Bins[i], col.Key.Quantity.Decimals()
			if x.Seen == 0 {
				row = append(row, "", "", "", "0")
				continue
			}
			for _, f := range []float32{x.Mean, x.Min, x.Max} {
				row = append(row, strconv.FormatFloat(float64(f), 'f', d, 64))
			}
			row = append(row, strconv.FormatFloat(math.Min(float64(x.Seen), 1), 'f', 3, 64))
		}
		_ = out.Write(row)
	}
	out.Flush()
}

// captionOf says what a chart shows: house, stretch, steps, and how much of each
// curve was observed.
func captionOf(h *head, v chartView, data curves.View) []string {
	const layout = "2 Jan 2006 15:04"
	observed := make([]string, len(v.Keys))
	for i, k := range v.Keys {
		observed[i] = drawing.CurveName(h.Case, k) + " " +
			words.Percent(data.Observed(i, v.from.UnixMilli(), v.until.UnixMilli())) + " %"
	}
	return []string{fmt.Sprintf("%s (%s), %s to %s", h.Label, h.ID, v.from.In(h.Zone).Format(layout),
		v.until.In(h.Zone).Format(layout)),
		fmt.Sprintf("Times in %s; %s", h.Zone, words.Step(time.Duration(data.StepMS)*time.Millisecond)),
		"Observed: " + strings.Join(observed, "; ")}
}
