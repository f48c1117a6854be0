package web

import (
	"net/http"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/drawing"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/predict"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// answerBody is the first page of a house: what it is, whether the work worked,
// what the work changed, what speaks against and what to do next; then the
// winter sheet.
type answerBody struct {
	Headline string
	Doubt    string // a logger's figures cannot be right: said instead of any cause
	Cause    words.Text
	Shares   []causeRow // the first two
	Verdict  words.Text // of the latest repair at the surface shown
	Plain    string
	House    string // of all surfaces that share the work
	Eras     []era
	Of       string // which nights the table counts, where not all
	Changed  []words.Text
	Against  []string
	Next     []string
	Cautions []caution.Caution

	SheetBody
	stillWet bool     // though the repair worked
	Unheard  string   // which loggers are silent; "" none
	Nightly  string   // the nights in a sentence
	Hours    string   // and their hours
	Notes    []string // of the surface
}

// era is one column of the table of figures: before the repair, since it, or all.
type era struct {
	Words  string
	Nights words.Nights
	*assessment.Span
}

func (p *Pages) answerPage(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	if q.Has("from") || q.Has("night") { // until the chart had a page of its own, it stood here
		http.Redirect(w, r, "/cases/"+chi.URLParam(r, "case")+"/chart?"+r.URL.RawQuery, http.StatusFound)
		return
	}
	h, a, ok := p.asked(w, r, "answer")
	if !ok {
		return
	}
	var b answerBody
	var err error
	if b.SheetBody, err = p.sheetBody(r.Context(), h, a, readChart(h, a, q), false); err != nil {
		p.fail(w, r, err)
		return
	}
	latest, err := p.Record.Latest(r.Context(), h.ID)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	if rows := positionRows(h, latest, p.Now()); slices.ContainsFunc(rows, func(r positionRow) bool { return r.Silent }) {
		b.Unheard = loggersSentence(rows)
	}
	b.Nightly = b.Said.Nights()
	b.tell(h, a)
	b.next(p, h, a)
	p.render(w, r, http.StatusOK, "answer", page{Title: h.Label, Case: h, Tab: "answer", Body: b})
}

// tell fills in what is known of the surface shown.
func (b *answerBody) tell(h *head, a assessment.Answer) {
	said := b.Said
	for i, of := range a.Surfaces {
		if of.Surface != b.Surface.ID {
			continue
		}
		for _, t := range a.Hours(i).Hours() {
			b.Hours += t.String() + " "
		}
		b.Notes = of.Notes
		if a.DoubtAt(of) != "" {
			b.Nightly, b.Hours = words.Untold(b.SurfaceWords), ""
			break
		}
		for k := range of.Spans {
			if len(said.Spans) == len(of.Spans) {
				b.Eras = append(b.Eras, era{[]string{"Before", "Since"}[k], said.Spans[k].Nights, &of.Spans[k]})
			}
		}
	}
	c := a.Cause(h.Case)
	var work *words.Verdict
	here := false
	if order := drawing.ResultsInOrder(h.Case, a); len(order) > 0 {
		// The verdict at the surface shown; where it has none, the first that there is.
		at := slices.IndexFunc(order, func(i int) bool { return a.Repairs[i].Surface == b.Surface.ID })
		here = at >= 0
		i := order[max(at, 0)]
		x := a.Verdict(h.Case, i)
		work = &x
		b.judge(h, a, i)
	}
	if b.Headline = words.Headline(c, work); len(a.Doubts) > 0 {
		b.Headline, b.Doubt = words.Upper(a.Doubts[0].Said), a.Doubts[0].Said
	}
	b.Cause = c.Sentence()
	f := a.Finding
	for _, x := range f.Causes[:min(2, len(f.Causes))] {
		b.Shares = append(b.Shares, causeRow{Words: x.Cause.Words(), Support: x.Support})
	}
	b.weigh(c, f)
	if len(said.Spans) == 2 && here && work.Kind == words.Worked {
		if still := words.StillWet(said.Spans[1].Nights); still != "" {
			b.Against, b.stillWet = append(b.Against, still), true
		}
	}
	if len(b.Against) == 0 && (f.Finding != cause.Undetermined || work != nil && work.Kind != words.TooEarly) {
		b.Against = []string{words.NothingAgainst}
	}
}

// weigh says what speaks against the cause named: the runner-up, and the line of
// the evidence that weighs most for it.
func (b *answerBody) weigh(c words.Cause, f cause.Finding) {
	most, line := 0.0, ""
	if l := f.Ledger; l != nil && f.Finding != cause.Undetermined && len(l.Against) > 0 {
		for _, e := range l.Lines {
			if e.Basis != "" && e.Weights[0] < most {
				most = e.Weights[0]
				line = strings.TrimSuffix(strings.TrimPrefix(e.Text, e.Basis+": "), cause.NearZero)
			}
		}
	}
	if rival := c.Rival(line); rival != "" {
		b.Against = append([]string{rival}, b.Against...)
	} else if line != "" {
		b.Against = append([]string{words.Sentence(line)}, b.Against...)
	}
}

// judge says what the i-th result found, and which checks of it do not agree.
func (b *answerBody) judge(h *head, a assessment.Answer, i int) {
	r := a.Repairs[i]
	b.Verdict, b.House = a.Verdict(h.Case, i).Sentence(), a.House(i)
	if c := r.AtRisk; c != nil && !r.OfLeak() {
		three := assessment.Three(r)[0]
		b.Plain = words.Plain{What: three.What, MeasuredH: c.MeasuredH, UnrepairedH: c.UnrepairedH, Measured: three.Measured,
			Model: three.Model, Before: r.NightsBefore, After: r.NightsAfter}.Sentence()
	}
	for _, x := range a.Exchanges(i) {
		b.Changed = append(b.Changed, x.Brief())
	}
	b.Against = append(b.Against, assessment.Apart(h.Case, r)...)
	for _, k := range drawing.ResultsInOrder(h.Case, a) {
		if o := a.Repairs[k]; o.At.Equal(r.At) && o.Surface != r.Surface && o.Verdict != r.Verdict {
			b.Against = append(b.Against, words.OtherwiseAt(words.SurfaceOf(h.Case, o.Surface), words.VerdictKind(o.Verdict)))
		}
	}
	if r.Control != nil && r.Control.Vetoes {
		b.Against = append(b.Against, words.Sentence(r.Control.Text))
	}
	if r.CrossCheck != nil && !r.CrossCheck.Agrees {
		b.Against = append(b.Against, words.Sentence(r.CrossCheck.Text))
	}
	for _, x := range r.Sensitivity {
		if x.Flips {
			b.Against = append(b.Against, words.Flips(x.What))
		}
	}
	if r.Verdict == repair.GotWorse {
		b.Next = append(b.Next, words.LookAtTheWork)
	}
	if next := r.Progress; next != "" {
		b.Next = append(b.Next, words.Sentence(next))
	} else if r.Needs != "" {
		b.Next = append(b.Next, words.Sentence(r.Needs))
	}
	if unseen := a.Unseen(h.Case, i); unseen != "" {
		b.Next = append(b.Next, words.Sentence(unseen))
	}
}

// next lists what a person should do now, the most pressing first.
func (b *answerBody) next(p *Pages, h *head, a assessment.Answer) {
	var first []string
	for _, n := range a.Finding.Next {
		first = append(first, words.Sentence(n))
	}
	b.Next = append(first, b.Next...)
	do := slices.Clone(a.Finding.Activities)
	if len(a.Doubts) == 0 && !sound(a.Finding.Finding) {
		f, ok := p.Record.AheadSoon(h.ID)
		if !ok {
			b.Next = append(b.Next, words.HelpComing)
		} else if _, help := f.Predict(predict.DefaultPlan(), true); help.Recommended != "" {
			b.Next = append(b.Next, help.Sentence)
			do = append(do, caution.LookInLoft, caution.CutOpenings, caution.SealCeiling, caution.WorkOutside)
		}
	}
	slices.Sort(do)
	b.Cautions = caution.For(slices.Compact(do)...)
	switch {
	case len(b.Next) > 0:
	case b.stillWet && !sound(a.Finding.Finding):
		b.Next = []string{words.NextStillWet}
	default:
		b.Next = []string{words.NothingNext}
	}
}
