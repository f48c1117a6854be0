package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/buildup"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/openings"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// caseRoutes are the pages of a case that stand on the causes, the repairs and
// the build-up.
func (p *Pages) caseRoutes(r chi.Router) {
	r.Get("/diagnosis", p.diagnosis)
	r.Get("/repairs", p.repairs)
	r.Get("/stretch", p.stretchPart)
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
	if !h.HasRecord {
		p.render(w, r, http.StatusOK, "empty", page{Title: h.Label, Case: h, Tab: tab})
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
	Cautions   []caution.Caution
	From       time.Time
	Until      time.Time
	Everywhere string
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
	b := diagnosisBody{Sentence: a.Cause(h.Case).Sentence().String(), Finding: f, Everywhere: caution.Everywhere(),
		Cautions: caution.For(f.Activities...)}
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
		if e.Basis == "measured" {
			v := view{}
			for _, s := range h.Case.Surfaces() {
				for _, id := range e.Positions {
					if v.surface.ID == "" && (s.ID == id || s.Meets == id) {
						v.surface = s
					}
				}
			}
			row.Link = v.link(h.ID, time.UnixMilli(e.FromMS), time.UnixMilli(e.UntilMS)) + "#margin"
		}
		out = append(out, row)
	}
	return out
}

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

// sureBody is the page of how sure the hours are.
type sureBody struct{ Surfaces []sureSurface }

type sureSurface struct {
	assessment.Surface
	Words, Sentence string
	Doubts          []assessment.HowSure
	Bar             *sureBar // nil where there is no interval
}

func (p *Pages) howSure(w http.ResponseWriter, r *http.Request) {
	h, a, ok := p.asked(w, r, "sure")
	if !ok {
		return
	}
	var b sureBody
	for i, s := range a.Surfaces {
		pos, _ := h.Case.Position(s.Surface)
		row := sureSurface{Surface: s, Words: words.Surface(h.Case, pos)}
		row.Sentence, row.Bar = sureSentence(s, row.Words, a.Hours(i).Hours()), barOf(s)
		for _, x := range s.HowSure {
			if x.Part > 0 {
				row.Doubts = append(row.Doubts, x)
			}
		}
		b.Surfaces = append(b.Surfaces, row)
	}
	turn := drawing.Turn(h.Case, a)
	slices.SortStableFunc(b.Surfaces, func(x, y sureSurface) int {
		return turn(x.Surface.Surface) - turn(y.Surface.Surface)
	})
	p.render(w, r, http.StatusOK, "sure", page{Title: "How sure, " + h.Label, Case: h, Tab: "sure", Body: b})
}

// sureBar is the interval of the wet hours as shares of the hours observed, per
// cent.
type sureBar struct{ Low, Wide, Best, Words string }

func barOf(s assessment.Surface) *sureBar {
	if len(s.Spans) > 0 || s.HoursCondensing == nil || s.HoursCondensingLow == nil || s.HoursCondensingHigh == nil ||
		s.HoursObserved <= 0 {
		return nil
	}
	share := func(h float64) string { return fmt.Sprintf("%.2f%%", min(h/s.HoursObserved, 1)*100) }
	return &sureBar{Low: share(*s.HoursCondensingLow), Wide: share(*s.HoursCondensingHigh - *s.HoursCondensingLow),
		Best: share(*s.HoursCondensing),
		Words: fmt.Sprintf("%s h expected, %s to %s h the 95 %% interval, of %s h observed", words.Hours(*s.HoursCondensing),
			words.Hours(*s.HoursCondensingLow), words.Hours(*s.HoursCondensingHigh), words.Hours(s.HoursObserved))}
}

func sureSentence(s assessment.Surface, where string, spans []words.Text) string {
	switch {
	case s.HoursCondensing == nil:
		return "Wet hours " + where + " could not be counted."
	case s.HoursCondensingLow == nil || s.HoursCondensingHigh == nil:
		return fmt.Sprintf("%s wet hours %s; how sure cannot be said, because a logger’s accuracy is not in the case file.",
			words.Hours(*s.HoursCondensing), where)
	}
	if *s.HoursCondensingHigh < 0.05 {
		return "No wet hours " + where + ", and no error within the loggers’ accuracy would make any."
	}
	out := fmt.Sprintf("%s wet hours %s, and with the loggers’ accuracy anything from %s to %s (95 %%).",
		words.Hours(*s.HoursCondensing), where, words.Hours(*s.HoursCondensingLow), words.Hours(*s.HoursCondensingHigh))
	if len(spans) == 2 { // never added up
		out = words.Upper(where) + ": " + spans[0].String() + " " + spans[1].String()
	}
	best := -1
	for i, x := range s.HowSure {
		if best < 0 || x.Part > s.HowSure[best].Part {
			best = i
		}
	}
	if best >= 0 {
		x := s.HowSure[best]
		out += fmt.Sprintf(" The largest part of the doubt, %s %%, is the %s of %s.", words.Percent(x.Part),
			quantityWords(x.Quantity), x.Logger)
	}
	return out
}

func quantityWords(q string) string {
	switch q {
	case "temp_c":
		return "temperature"
	case "rh_pct":
		return "humidity"
	}
	return q
}

// stretch is a link's span as query values.
func stretch(from, until time.Time) url.Values {
	return url.Values{"from": {from.UTC().Format(time.RFC3339)}, "to": {until.UTC().Format(time.RFC3339)}}
}
