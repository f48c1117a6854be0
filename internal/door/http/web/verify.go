package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// repairsBody is the contractor's page.
type repairsBody struct {
	Sentence string
	Changed  []words.Exchange  // of all repairs, each once
	Cautions []caution.Caution // where the page sends somebody to look
	Houses   []string          // all surfaces of a repair together
	Apart    []string          // answers that differ by more than their intervals
	Results  []resultView
}

type resultView struct {
	assessment.Repair
	Words      string // of the surface
	Sentence   string
	Effect     *picture.Scene
	Wet, Risk  *picture.Scene // nights after, measured against unrepaired
	Used, Left int
	LeftOut    []repair.NightUse
	Before     string // link to the chart around the repair
	Conditions []gateRow
	Three      [2]words.Three
	Rows       []comparisonRow
	Water      *words.Fall
	Beyond     string
	Probe      string            // what wood at the wet spot would tell of a leak
	Mended     []string          // what a verdict on a leak was made of
	Leaked     string            // what became of the leak, for a table
	Work       []words.Exchange  // what the work changed, told before whether it helped
	Foretold   *assessment.Score // what was predicted before the work; nil where nothing was worked out
}

// comparisonRow is one quantity's hours with the three answers on it.
type comparisonRow struct {
	*repair.Comparison
	words.Three
}

// tell adds what a repair changed, once each: several surfaces share a loft.
func (b *repairsBody) tell(work []words.Exchange) {
	for _, x := range work {
		if !slices.ContainsFunc(b.Changed, func(o words.Exchange) bool {
			return o.What == x.What && o.Place == x.Place && o.At.Equal(x.At)
		}) {
			b.Changed = append(b.Changed, x)
			if x.Kind == words.ExchangeUnshown {
				b.Cautions = caution.Essential(caution.LookInLoft, caution.WorkOutside)
			}
		}
	}
}

func (p *Pages) repairs(w http.ResponseWriter, r *http.Request) {
	h, a, ok := p.asked(w, r, "repairs")
	if !ok {
		return
	}
	var b repairsBody
	ahead := &assessment.Foresight{}
	if len(a.Repairs) > 0 {
		var err error
		if ahead, err = p.Record.Ahead(r.Context(), h.ID); err != nil {
			p.fail(w, r, err)
			return
		}
	}
	for _, i := range drawing.ResultsInOrder(h.Case, a) {
		res := a.Repairs[i]
		pos, _ := h.Case.Position(res.Surface)
		v := resultView{Repair: res, Words: words.Surface(h.Case, pos)}
		said := a.Verdict(h.Case, i)
		if v.Sentence = said.Sentence().String(); said.Leak != nil {
			v.Leaked = "leak " + said.Leak.Brief()
		}
		if res.ReductionPct != nil || res.AtRiskReductionPct != nil || res.CondensateReductionPct != nil {
			v.Effect = picture.Effect{ID: fmt.Sprintf("effect-%d", i), Falls: a.Verdict(h.Case, i).Falls()}.Scene()
		}
		for _, n := range res.Nights {
			if n.Used {
				v.Used++
			} else {
				v.Left++
				v.LeftOut = append(v.LeftOut, n)
			}
		}
		if wet, risk := drawing.Paired(res.Result, strconv.Itoa(i), h.Zone); len(wet.Nights) > 0 {
			v.Wet, v.Risk = wet.Scene(), risk.Scene()
		}
		v.Work, v.Mended = a.Exchanges(i), assessment.Leak(res)
		b.tell(v.Work)
		for _, s := range a.Settling(assessment.OfWorked) {
			if s.Check == assessment.WoodProbe && s.Surface == res.Surface && res.Leak != nil {
				v.Probe = s.Text
			}
		}
		v.Three, v.Beyond = assessment.Three(res), assessment.BeyondModel(res)
		b.Apart = append(b.Apart, assessment.Apart(h.Case, res)...)
		if house := a.House(i); house != "" {
			b.Houses = append(b.Houses, house)
		}
		for k, c := range []*repair.Comparison{res.AtRisk, res.Wet} {
			if c != nil {
				v.Rows = append(v.Rows, comparisonRow{c, v.Three[k]})
			}
		}
		if x, lo, hi := res.CondensateReductionPct, res.CondensateLowPct, res.CondensateHighPct; x != nil {
			v.Water = &words.Fall{Pct: *x, Low: *lo, High: *hi}
		}
		v.Before, v.Conditions = aroundRepair(h, res), gateRows(h, res)
		v.Foretold = ahead.ScoreOf(res)
		b.Results = append(b.Results, v)
	}
	switch {
	case !h.Repairs:
		b.Sentence = "No repair is in the case file."
	case len(b.Results) == 0:
		b.Sentence = "No repair can be judged yet."
	default:
		b.Sentence = b.Results[0].Sentence
	}
	p.render(w, r, http.StatusOK, "repairs", page{Title: "Did it work, " + h.Label, Case: h, Tab: "repairs", Body: b})
}
