package web

import (
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/cause"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// caseRoutes are the pages of a case that stand on the causes, the repairs and
// the build-up.
func (p *Pages) caseRoutes(r chi.Router) {
	r.Get("/diagnosis", p.diagnosis)
	r.Get("/repairs", p.repairs)
	r.Get("/help", p.help)
	r.Get("/buildup", p.buildUp)
	r.Get("/physics", p.physics)
	r.Get("/sure", p.howSure)
}

// asked loads what the analysis pages need; ok is false once an answer was
// written.
func (p *Pages) asked(w http.ResponseWriter, r *http.Request, tab string) (h *head, a assessment.Answer, ok bool) {
	h, err := p.head(r.Context(), chi.URLParam(r, "case"))
	if err != nil {
		p.fail(w, r, err)
		return nil, a, false
	}
	if !h.HasRecord || len(h.Surfaces) == 0 && (tab == "answer" || tab == "chart") {
		p.render(w, r, http.StatusOK, "empty", page{Title: h.Label, Case: h, Tab: tab,
			Body: assessment.Kits(h.Case)})
		return nil, a, false
	}
	if a, err = p.Record.Answer(r.Context(), h.ID); err != nil {
		p.fail(w, r, err)
		return nil, a, false
	}
	h.Coverage = meanCoverage(a)
	return h, a, true
}

// diagnosisBody is the page of what the evidence supports.
type diagnosisBody struct {
	Sentence   string
	Finding    cause.Finding
	Causes     []causeRow
	Settle     []assessment.Settle
	Cautions   []caution.Caution
	From       time.Time
	Until      time.Time
	Everywhere string
	Help       string // what would help, where the cause cannot be told
}

type causeRow struct {
	Name, Words  string
	Support      float64
	FromReadings float64 // with everything seen on the survey left out
	Against      string  // the cause that its ledger sets it against
	Lines        []evidenceRow
	Sum          float64
	Odds         string
	Open         bool // shown unfolded
}

// evidenceRow is a line of the ledger with its weight against one rival, above
// zero for the cause it stands under.
type evidenceRow struct {
	cause.Line
	Said   string // the sentence without its basis, which stands beside it
	Link   string // the stretch of timeline it rests on
	Weight float64
}

func (p *Pages) diagnosis(w http.ResponseWriter, r *http.Request) {
	h, a, ok := p.asked(w, r, "diagnosis")
	if !ok {
		return
	}
	f := a.Finding
	b := diagnosisBody{Sentence: a.Cause(h.Case).Sentence().String(), Finding: f, Everywhere: caution.Everywhere,
		Settle:   a.Settling(assessment.OfCause),
		Cautions: caution.For(slices.Concat(f.Activities, a.SettleActivities(assessment.OfCause))...)}
	if f.Window.UntilMS > 0 {
		b.From, b.Until = time.UnixMilli(f.Window.FromMS), time.UnixMilli(f.Window.UntilMS)
	}
	for i, c := range f.Causes {
		row := causeRow{Name: string(c.Cause), Words: c.Cause.Words(), Support: c.Support, FromReadings: c.FromReadings,
			Open: i == 0}
		if column, ok := f.Ledger.Column(c.Cause); ok {
			sign, against := 1.0, f.Ledger.Against[column]
			if i > 0 {
				sign, against = -1, f.Ledger.Cause
			}
			row.Against, row.Lines = against.Words(), ledgerRows(h, f.Ledger, column, sign)
			row.Sum = sign * f.Ledger.Sums[column]
			row.Odds = words.Odds(row.Sum)
		}
		b.Causes = append(b.Causes, row)
	}
	if f.Finding == cause.Undetermined {
		if ahead, ok := p.Record.AheadSoon(h.ID); ok {
			_, help := ahead.Predict(ahead.Plan(), true)
			b.Help = help.Sentence
		}
	}
	p.render(w, r, http.StatusOK, "diagnosis", page{Title: "Diagnosis, " + h.Label, Case: h, Tab: "diagnosis", Body: b})
}

// ledgerRows are the lines that weigh anything against one rival, each linked to
// the stretch of timeline it rests on, at the surface it speaks of where it
// speaks of one.
func ledgerRows(h *head, l *cause.Ledger, column int, sign float64) []evidenceRow {
	var out []evidenceRow
	for _, e := range l.Lines {
		if e.Weights[column] == 0 {
			continue
		}
		row := evidenceRow{Line: e, Said: strings.TrimPrefix(e.Text, e.Basis+": "), Weight: sign * e.Weights[column]}
		row.Link = evidenceLink(h, e.Evidence)
		out = append(out, row)
	}
	return out
}
