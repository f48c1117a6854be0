package web

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/drawing"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/reason/openings"
	"dewcase/internal/reason/predict"
	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// helpBody is the page of what each work would do.
type helpBody struct {
	assessment.Help
	Faults   []string // of what was asked for
	Harms    []string // works that would make it worse, with their figures
	Fields   []planField
	Plans    []planned
	Kept     bool // the plan was kept in the case file just now
	OnFile   bool // the case file plans something
	OnPlan   string
	Eras     []roofDate
	Earlier  string // why the roof as it stands now has no answer, so that the earlier one is shown
	Surfaces []helpSurface
	Ranks    []helpRank
	Rules    openings.Answer
	NoRules  string
	Cautions []caution.Caution
	Closing  string
	Untold   []string // works of which nothing is said
}

// planned is a work that can be planned.
type planned struct {
	Key, Words string
	Chosen     bool
}

// planField is one size that can be changed.
type planField struct {
	Name, Label, Value, Unit string
}

type helpRank struct {
	assessment.HelpRank
	Words, Note string
	Bar         *rangeBar
}

type helpSurface struct {
	Words   string
	Refused string
	Differs string // the fitted roof from the count
	Before  float64
	Rows    []helpRow
}

type helpRow struct {
	assessment.Prediction
	Words string
	Bar   *rangeBar
}

// rangeBar draws hours left: both intervals, the best estimate, and where the
// roof stands now, in per cent of the width.
type rangeBar struct{ Low95, Wide95, Low80, Wide80, Best, Now, Words string }

// barLeft is the bar of what would be left of before hours, drawn up to most of
// them.
func barLeft(before, most float64, x assessment.Prediction) *rangeBar {
	of := func(pct *float64) float64 { return before * (1 + *pct/100) }
	at := func(h float64) string { return fmt.Sprintf("%.2f%%", 100*min(max(h, 0), most)/most) }
	wide := func(lo, hi float64) string { return fmt.Sprintf("%.2f%%", 100*(min(hi, most)-min(lo, most))/most) }
	lo95, hi95, lo80, hi80 := of(x.RiskLow), of(x.RiskHi), of(x.RiskLow80), of(x.RiskHigh80)
	return &rangeBar{Low95: at(lo95), Wide95: wide(lo95, hi95), Low80: at(lo80), Wide80: wide(lo80, hi80),
		Best: at(of(x.RiskPct)), Now: at(before),
		Words: words.LeftOf(before, words.Reach{Best: of(x.RiskPct), Low: lo80, High: hi80})}
}

// planOf reads the sizes that a form gave; what is not given, or cannot be and is
// told, is as the case file plans.
func planOf(c *roof.Case, q url.Values) (p predict.Plan, fields []planField, faults []string) {
	p = predict.PlanOf(c)
	left := 100 * p.HouseLeft
	for _, x := range []struct {
		name, label, unit string
		to                *float64
		lo, hi            float64
	}{{"void_eaves", "Void, each eaves", "mm", &p.VoidEavesMM, 0, roof.MostPlannedMM},
		{"void_ridge", "Void, ridge", "mm", &p.VoidRidgeMM, 0, roof.MostPlannedMM},
		{"loft_eaves", "Loft, each eaves", "mm", &p.LoftEavesMM, 0, roof.MostPlannedMM},
		{"loft_ridge", "Loft, ridge", "mm", &p.LoftRidgeMM, 0, roof.MostPlannedMM},
		{"house", "House vapour left", "%", &left, roof.LeastHouseLeftPct, 100}} {
		if given := q.Get(x.name); given != "" {
			v, err := strconv.ParseFloat(given, 64)
			if err != nil || math.IsNaN(v) || v < x.lo || v > x.hi {
				faults = append(faults, words.NotASize(x.label, given, x.lo, x.hi, *x.to, x.unit))
			} else {
				*x.to = v
			}
		}
		fields = append(fields, planField{x.name, x.label, strconv.FormatFloat(*x.to, 'f', -1, 64), x.unit})
	}
	p.HouseLeft = left / 100
	return p, fields, faults
}

func (p *Pages) help(w http.ResponseWriter, r *http.Request) {
	h, a, ok := p.asked(w, r, "help")
	if !ok {
		return
	}
	f, err := p.Record.Ahead(r.Context(), h.ID)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	q := r.URL.Query()
	plan, fields, faults := planOf(h.Case, q)
	b := helpBody{Fields: fields, Faults: faults, Closing: caution.Everywhere, Kept: q.Get("kept") != "",
		OnFile: h.Case.Planned != roof.Planned{}, OnPlan: assessment.Planned(h.Case),
		Cautions: caution.For(caution.LookInLoft, caution.CutOpenings, caution.SealCeiling, caution.WorkOutside)}
	since := f.Since != nil && q.Get("roof") != "before"
	predictions, help := f.Predict(plan, since)
	if since && len(help.Ranking) == 0 && q.Get("roof") == "" {
		b.Earlier, since = help.Sentence, false
		predictions, help = f.Predict(plan, false)
	}
	b.Help = help
	b.Planned = h.Case.Planned.Work
	if f.Since != nil {
		at := func(roof string) string {
			q := url.Values{"roof": {roof}}
			for _, x := range fields {
				q.Set(x.Name, x.Value)
			}
			return "/cases/" + h.ID + "/help?" + q.Encode()
		}
		b.Eras = []roofDate{{Words: "before any work", Link: at("before"), Chosen: !since},
			{Words: "since the work of " + words.Date(f.Since.Era.After.At, h.Zone), Link: at("now"), Chosen: since}}
	}
	for _, w := range roof.PlannedWorks() {
		b.Plans = append(b.Plans, planned{w, words.Work(w), w == h.Case.Planned.Work})
	}
	b.fill(h, a, predictions)
	if b.Rules, err = openings.Advise(h.Case.RoofAt(p.Now()), openings.Since(h.Case, string(a.Finding.Finding),
		p.Now()), "",
		0); err != nil {
		b.NoRules = err.Error()
	}
	p.render(w, r, http.StatusOK, "help", page{Title: "What would help, " + h.Label, Case: h, Tab: "help", Body: b})
}

// keepPlan keeps the sizes and the work that a form gave in the case file. Sizes that
// cannot be are shown and nothing is kept; a file that takes no plan is shown with
// its faults.
func (p *Pages) keepPlan(w http.ResponseWriter, r *http.Request) {
	h, file, etag, err := p.kept(r.Context(), chi.URLParam(r, "case"))
	if err != nil {
		p.fail(w, r, err)
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, 16<<10)
	if err := r.ParseForm(); err != nil {
		p.fail(w, r, err)
		return
	}
	q := r.PostForm
	help := "/cases/" + h.ID + "/help?"
	plan, _, faults := planOf(h.Case, q)
	if len(faults) > 0 {
		http.Redirect(w, r, help+q.Encode(), http.StatusSeeOther)
		return
	}
	left := 100 * plan.HouseLeft
	planned := roof.Planned{Work: q.Get("work"), HouseLeftPct: &left, Opened: roof.Openings{
		VoidEavesMM: &plan.VoidEavesMM, VoidRidgeMM: &plan.VoidRidgeMM, LoftEavesMM: &plan.LoftEavesMM,
		LoftRidgeMM: &plan.LoftRidgeMM}}
	if q.Get("forget") != "" {
		planned = roof.Planned{}
	}
	b := editorBody{File: casefile.WithPlanned(string(file), planned), ETag: etag}
	_, _, err = p.Cases.Put(r.Context(), h.ID, []byte(b.File), casebook.If{Match: etag}, p.who(r))
	switch {
	case err == nil:
		http.Redirect(w, r, help+"kept=1", http.StatusSeeOther)
	case errors.As(err, &b.Faults):
		p.render(w, r, http.StatusUnprocessableEntity, "editor",
			page{Title: "Case file, " + h.Label, Case: h, Tab: "file", Body: b})
	default:
		p.fail(w, r, err)
	}
}

// fill lays the predictions out surface by surface and ranks them.
func (b *helpBody) fill(h *head, a assessment.Answer, predictions []assessment.Prediction) {
	turn := drawing.Turn(h.Case, a)
	slices.SortStableFunc(predictions, func(x,
		y assessment.Prediction) int {
		return turn(x.Surface) - turn(y.Surface)
	})
	for _, r := range b.Ranking {
		row := helpRank{HelpRank: r, Words: words.Work(r.Work)}
		switch {
		case r.MakesWorse:
			row.Note = "would probably make it worse"
		case r.Work == b.Planned && r.Work != b.Recommended:
			row.Note = "planned"
		case r.Work == b.Recommended:
			row.Note = "would help most"
		case r.Alike && b.Recommended != "" && r.Helps:
			row.Note = "about as much"
		}
		b.Ranks = append(b.Ranks, row)
	}
	for i, x := range predictions {
		where := words.SurfaceOf(h.Case, x.Surface)
		if x.MakesWorse {
			b.Harms = append(b.Harms, x.Sentence)
		}
		if i == 0 || predictions[i-1].Surface != x.Surface {
			s := helpSurface{Words: where, Refused: x.Refused}
			for _, d := range b.Differs {
				if d.Surface == x.Surface {
					s.Differs = d.Text
				}
			}
			b.Surfaces = append(b.Surfaces, s)
		}
		s := &b.Surfaces[len(b.Surfaces)-1]
		if x.Refused == "" {
			s.Refused = ""
		}
		if x.RiskH != nil {
			s.Before = *x.RiskH
		}
		if x.Work != "leave" {
			s.Rows = append(s.Rows, helpRow{Prediction: x, Words: words.Work(x.Work)})
		}
	}
	for _, x := range b.NotPredicted {
		b.Untold = append(b.Untold, words.Work(x.Work))
	}
	for i := range b.Surfaces {
		s := &b.Surfaces[i]
		most := 1.2 * s.Before
		for _, x := range s.Rows {
			if x.RiskHigh80 != nil {
				most = max(most, min(s.Before*(1+*x.RiskHigh80/100), 2*s.Before))
			}
		}
		for k := range s.Rows {
			if s.Rows[k].RiskPct != nil && most > 0 {
				s.Rows[k].Bar = barLeft(s.Before, most, s.Rows[k].Prediction)
			}
		}
	}
}

// faredBody is the page of how predictions fared over all houses.
type faredBody struct {
	Sentence string
	WetWords string
	Rows     []faredRow
	Early    []faredRow // whose verdict is still too early
	Working  int        // houses still being worked out
}

type faredRow struct {
	assessment.Score
	ID, Label, Words, Where, Date string
}

func (p *Pages) fared(w http.ResponseWriter, r *http.Request) {
	var b faredBody
	hits, wetHits, wetN := 0, 0, 0
	for _, c := range p.Cases.All() {
		if len(c.Repairs()) == 0 {
			continue
		}
		f, ok := p.Record.AheadSoon(c.ID)
		if !ok {
			b.Working++
			continue
		}
		for _, s := range f.Scores {
			if s.AtRisk == nil {
				continue
			}
			row := faredRow{Score: s, ID: c.ID, Label: c.Property.Label, Words: words.Work(s.Work),
				Where: words.SurfaceOf(c, s.Surface), Date: words.ShortDate(s.At, c.Property.Zone)}
			if row.Label == "" {
				row.Label = c.ID
			}
			if !s.Counts {
				b.Early = append(b.Early, row)
				continue
			}
			b.Rows = append(b.Rows, row)
			if s.Hit {
				hits++
			}
			if s.Wet != nil && s.WetFound != nil {
				wetN++
				if s.WetHit {
					wetHits++
				}
			}
		}
	}
	b.Sentence = words.Tally(hits, len(b.Rows))
	if wetN > 0 {
		b.WetWords = words.WetTally(wetHits, wetN)
	}
	p.render(w, r, http.StatusOK, "fared", page{Title: "How predictions fared", Tab: "fared", Body: b})
}
