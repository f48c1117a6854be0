package web

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// remarkForm is what the chart page shows for a note or a stretch left out.
type remarkForm struct {
	From, To time.Time // what the fields begin with
	Excluded []excludedRow
	Where    []pickRow // positions
}

// excludedRow is one stretch that is left out.
type excludedRow struct{ Words, Link string }

// remarks fills in the form and what is left out already.
func (b *chartBody) remarks(h *head, v chartView) {
	b.Remark.From, b.Remark.To = v.from, v.until
	for _, x := range h.Case.Views {
		b.Kept = append(b.Kept, zoom{Words: x.Name, Link: "/cases/" + h.ID + "/chart?" + x.Query + "#margin"})
	}
	for _, p := range h.Case.Positions {
		b.Remark.Where = append(b.Remark.Where, pickRow{Key: p.ID, Name: words.Position(p)})
	}
	for _, x := range h.Case.Excluded {
		w := v
		pad := max(x.To.Sub(x.From), 6*time.Hour)
		w.from, w.until, w.Marks = x.From.Add(-pad), x.To.Add(pad), nil
		b.Remark.Excluded = append(b.Remark.Excluded, excludedRow{
			words.LeftOutStretch(x.From, x.To, h.Zone, x.Position, x.Reason), chartLink(h.ID, "chart", w) + "#margin"})
	}
}

// remark writes a note, or a stretch left out with its reason, into the case
// file. A note stands at the beginning of the stretch picked.
func (p *Pages) remark(w http.ResponseWriter, r *http.Request) {
	h, file, etag, err := p.kept(r.Context(), chi.URLParam(r, "case"))
	if err != nil {
		p.fail(w, r, err)
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, 32<<10)
	if err := r.ParseForm(); err != nil {
		p.fail(w, r, err)
		return
	}
	q := r.PostForm
	from, to := localTime(q.Get("from"), h.Zone), localTime(q.Get("to"), h.Zone)
	what := strings.TrimSpace(q.Get("what"))
	b := editorBody{File: string(file), ETag: etag}
	var events []roof.Event
	var excluded []roof.Excluded
	var views []roof.View
	switch q.Get("do") {
	case "view":
		views = []roof.View{{Name: what, Query: viewAgain(q.Get("view"))}}
		if views[0].Query == "" {
			what = "" // an address without a view shows nothing anew
		}
	case "exclude":
		excluded = []roof.Excluded{{From: from, To: to, Position: q.Get("position"), Reason: what}}
	default:
		events = []roof.Event{{At: from, Kind: roof.Note, What: what}}
	}
	changed, err := casefile.Remark("case file", file, events, excluded, views)
	if what == "" && err == nil {
		err = roof.Faults{{File: "case file", Line: 1, Key: "what", Problem: "is empty",
			Remedy: "write what is to be noted"}}
	}
	if err == nil {
		_, _, err = p.Cases.Put(r.Context(), h.ID, changed, casebook.If{Match: etag}, p.who(r))
	}
	switch {
	case err == nil:
		http.Redirect(w, r, "/cases/"+h.ID+"/chart?"+viewAgain(q.Get("view"))+"#remarks", http.StatusSeeOther)
	case errors.As(err, &b.Faults):
		p.render(w, r, http.StatusUnprocessableEntity, "editor",
			page{Title: "Case file, " + h.Label, Case: h, Tab: "file", Body: b})
	default:
		p.fail(w, r, err)
	}
}

// localTime reads a form's time, of the house's zone where it names none; the zero
// time where it is none, which the case file refuses.
func localTime(s string, zone *time.Location) time.Time {
	if t, err := roof.ParseTime(s); err == nil {
		return t.UTC().Truncate(time.Second)
	}
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05"} {
		if t, err := time.ParseInLocation(layout, s, zone); err == nil {
			return t.UTC()
		}
	}
	return time.Time{}
}

// viewAgain is a chart's view as it was given, if it is one.
func viewAgain(query string) string {
	q, err := url.ParseQuery(strings.TrimPrefix(query, "?"))
	if err != nil {
		return ""
	}
	return q.Encode()
}
