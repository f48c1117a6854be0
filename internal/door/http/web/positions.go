package web

import (
	"fmt"
	"net/http"
	"sort"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// positionsBody is the page of what the loggers say now.
type positionsBody struct {
	Sentence string
	Rows     []positionRow
	Unknown  []unfitted // heard, but fitted nowhere
	Waiting  []waitingRow
	Done     string
	Fault    string
	Chart    *picture.Scene
}

type positionRow struct {
	Latest
	Words  string
	Silent bool
	QuietS int    // s without a word before it counts as silent
	Low    bool   // battery
	Check  string // the last check against a reference
	Away   string // of a weather station that stands in: where it stands
}

// positions shows each position's last values, live with script.
func (p *Pages) positions(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	h, err := p.head(ctx, chi.URLParam(r, "case"))
	if err != nil {
		p.fail(w, r, err)
		return
	}
	latest, err := p.Record.Latest(ctx, h.ID)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	var b positionsBody
	b.Rows = positionRows(h, latest, p.Now())
	if h.HasRecord {
		from := h.Until.Add(-3 * 24 * time.Hour)
		v, err := p.Record.Timeline(ctx, h.ID, from, h.Until, drawing.StepFor(h.Until.Sub(from)))
		if err != nil {
			p.fail(w, r, err)
			return
		}
		b.Chart = drawing.Multiples(h.Case, v, h.Zone).Scene()
	}
	b.Unknown = unfittedOf(h.Case, latest, "positions")
	if b.Waiting, err = p.waiting(ctx, h.ID, "positions"); err != nil {
		p.fail(w, r, err)
		return
	}
	b.Done, b.Fault = news(r.URL.Query())
	b.Sentence = loggersSentence(b.Rows)
	p.render(w, r, http.StatusOK, "positions", page{Title: "Loggers now, " + h.Label, Case: h, Tab: "positions", Body: b})
}

// positionRows are the positions with what was heard last of each.
func positionRows(h *head, latest []Latest, now time.Time) []positionRow {
	var rows []positionRow
	seen := map[string]bool{}
	for _, l := range latest {
		row := positionRow{Latest: l, Silent: now.Sub(l.At) > quiet(l.Usual), QuietS: int(quiet(l.Usual).Seconds()),
			Low: l.BatteryPct != nil && *l.BatteryPct <= 15}
		pos, ok := h.Case.Position(l.Position)
		if !ok {
			continue
		}
		row.Place, row.Words, row.Check = pos.Place, words.Position(pos), lastCheck(h, l.Logger, now)
		seen[pos.ID] = true
		if of, _ := h.Case.Logger(l.Logger); of.Station != nil {
			row.Away = words.Station(of.Station.Source, of.Station.DistanceKM, of.Station.HeightDifferenceM)
		}
		rows = append(rows, row)
	}
	for _, pos := range h.Case.Positions {
		if !seen[pos.ID] {
			rows = append(rows, positionRow{Words: words.Position(pos), Silent: true,
				Latest: Latest{Position: pos.ID, Place: pos.Place, Logger: words.List(fittedNow(h.Case, pos.ID, now))}})
		}
	}
	sort.SliceStable(rows, func(i, j int) bool { return drawing.Rank(rows[i].Place) < drawing.Rank(rows[j].Place) })
	return rows
}

// fittedNow lists the loggers that the case file has at a position.
func fittedNow(c *roof.Case, position string, now time.Time) (ids []string) {
	for _, l := range c.Loggers {
		if series.FittedAt(l, now) == position {
			ids = append(ids, l.ID)
		}
	}
	return ids
}

// loggersSentence says whether every fitted logger reports.
func loggersSentence(rows []positionRow) string {
	var silent, flat, empty []string
	fitted := 0
	for _, r := range rows {
		if r.At.IsZero() {
			empty = append(empty, strings.TrimSuffix(r.Position+" ("+r.Logger+")", " ()"))
			continue
		}
		fitted++
		if r.Silent {
			silent = append(silent, r.Logger)
		}
		if r.Low {
			flat = append(flat, r.Logger)
		}
	}
	var s string
	switch {
	case fitted == 0:
		return "No logger has been heard yet."
	case len(silent) == 0 && fitted == 1:
		s = "The logger reports"
	case len(silent) == 0:
		s = fmt.Sprintf("All %d loggers report", fitted)
	case len(silent) == fitted && fitted > 1:
		s = fmt.Sprintf("All %d loggers are silent", fitted)
	case len(silent) > 3:
		s = fmt.Sprintf("%d of %d loggers are silent", len(silent), fitted)
	default:
		s = words.Upper(silentWords(silent))
	}
	if len(flat) > 0 {
		s += "; battery low: " + words.List(flat)
	}
	if len(empty) > 0 {
		s += "; nothing heard at " + words.List(empty)
	}
	return s + "."
}

// lastCheck says when a logger was last held against a reference, and which.
func lastCheck(h *head, logger string, now time.Time) string {
	l, _ := h.Case.Logger(logger)
	var last roof.Offset
	for _, o := range l.Offsets {
		if !o.From.After(now) && o.From.After(last.From) {
			last = o
		}
	}
	if last.From.IsZero() {
		return ""
	}
	return strings.TrimSuffix(last.From.In(h.Zone).Format("2 Jan 2006")+": "+last.Check, ": ")
}
