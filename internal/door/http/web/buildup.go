package web

import (
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/picture"
	"dewcase/internal/reason/buildup"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/openings"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// buildUpBody is the page of what was found on sight and what to open.
type buildUpBody struct {
	Report   buildup.Report
	Groups   []findingGroup
	Openings openings.Answer
	Fault    string // why the openings could not be worked out
	Sets     []openings.RuleSet
	VentMM2  string
	Section  *picture.Scene // the roof cut open
	Cautions []caution.Caution
	Dates    []roofDate // of the roof, where works have changed it; the chosen one is shown
	Past     bool       // not the roof of today
	Before   string     // the day of the work before which it is, as asked for
}

// roofDate is the roof between two works.
type roofDate struct {
	Words, Link string
	Chosen      bool
}

// roofDates lists the roof before each work and now, and picks what the address
// asks for.
func roofDates(h *head, asked string, now time.Time) (dates []roofDate, at time.Time) {
	at = now
	for _, e := range h.Case.Works(now) {
		day := e.At.In(h.Zone)
		d := roofDate{Words: "before the work of " + words.Date(day, h.Zone),
			Link: "/cases/" + h.ID + "/buildup?before=" + day.Format(time.DateOnly), Chosen: asked == day.Format(time.DateOnly)}
		if d.Chosen {
			at = e.At.Add(-1)
		}
		dates = append(dates, d)
	}
	if len(dates) > 0 {
		dates = append(dates, roofDate{Words: "now", Link: "/cases/" + h.ID + "/buildup", Chosen: at.Equal(now)})
	}
	return dates, at
}

type findingGroup struct {
	Title    string
	Verdict  buildup.Verdict
	Findings []buildup.Finding
}

func (p *Pages) buildUp(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	h, err := p.head(ctx, chi.URLParam(r, "case"))
	if err != nil {
		p.fail(w, r, err)
		return
	}
	begins := p.Now()
	finding := string(cause.Undetermined)
	if h.HasRecord {
		begins = h.From
		a, err := p.Record.Answer(ctx, h.ID)
		if err != nil {
			p.fail(w, r, err)
			return
		}
		finding = string(a.Finding.Finding)
		h.Coverage = meanCoverage(a)
	}
	q := r.URL.Query()
	now := p.Now() // once: the clock goes on
	dates, at := roofDates(h, q.Get("before"), now)
	b := buildUpBody{Report: buildup.Check(h.Case, begins, at), Sets: openings.RuleSets(), VentMM2: q.Get("vent"),
		Dates: dates}
	if at.Before(now) {
		b.Past, b.Before = true, q.Get("before")
	}
	for _, g := range []findingGroup{{Title: "What is wrong", Verdict: buildup.Fault},
		{Title: "What to look at first", Verdict: buildup.Ask},
		{Title: "Worth knowing", Verdict: buildup.Remark}, {Title: "What is sound", Verdict: buildup.Sound}} {
		for _, f := range b.Report.Findings {
			if f.Verdict == g.Verdict {
				g.Findings = append(g.Findings, f)
			}
		}
		if len(g.Findings) > 0 {
			b.Groups = append(b.Groups, g)
		}
	}
	vent, err := strconv.ParseFloat(b.VentMM2, 64)
	if err != nil || b.VentMM2 == "" {
		vent = 0
	}
	set := q.Get("rules")
	if !openings.Known(set) {
		set = ""
	}
	if b.Openings, err = openings.Advise(h.Case.RoofAt(at), openings.Since(h.Case, finding, at), set,
		vent); err != nil {
		b.Fault = err.Error()
	}
	latest, err := p.Record.Latest(ctx, h.ID)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	if b.Past {
		latest = nil // they are of the roof of today
	}
	b.Section = section(h.Case, at, latest)
	b.Cautions = append(b.Cautions, b.Report.Cautions...)
	for _, c := range b.Openings.Cautions {
		if !slices.Contains(b.Cautions, c) {
			b.Cautions = append(b.Cautions, c)
		}
	}
	p.render(w, r, http.StatusOK, "buildup", page{Title: "Build-up, " + h.Label, Case: h, Tab: "buildup", Body: b})
}
