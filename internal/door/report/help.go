package report

import (
	"fmt"
	"slices"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// help is the part on what each work would have done.
func (b *builder) help(p *part) {
	a := b.Answer
	if a.Help == nil || !b.recorded() {
		return
	}
	if s := assessment.Planned(b.Case); s != "" {
		p.para("%s", s)
	}
	b.candidates(p, *a.Help, "predictions", a.Predictions, "what_would_help.ranking")
	if n := a.Now; n != nil {
		p.head("The roof as it stands since the work of %s", local(*n.After, b.zone, dayLayout))
		b.candidates(p, n.Help, "what_would_help_now.predictions", n.Predictions, "what_would_help_now.ranking")
	}
	p.quiet("%s %s %s", words.OverTheseNights, words.OnlyAir, words.FromTrials)
	var rules []Text
	if o := b.Answer.Behind.Openings; o != nil {
		for _, l := range o.Lines {
			rules = append(rules, say("%s: %s mm continuous (%s)", words.Upper(l.Where.Words()),
				words.Whole(l.NeededMM),
				l.Rule.Source))
		}
	}
	p.para("%s", bold(words.RulesDecide))
	p.list(Bullets, rules)
	p.quiet("Before anyone cuts or seals: see the cautions at the end.")
}

// candidates are the works over one time, ranked, then surface by surface.
func (b *builder) candidates(p *part, h assessment.Help, at string, predictions []assessment.Prediction,
	ranking string) {
	p.add(Lead, h.Said.Headline())
	if h.Water != "" {
		p.warn("%s Nothing is recommended until that is settled.", h.Water)
	}
	for _, x := range predictions {
		if x.MakesWorse {
			p.warn("%s", x.Sentence)
		}
	}
	if len(h.Ranking) == 0 {
		return
	}
	p.quiet("Had it been done before the night of %s: what the nights to %s would have been. Works within 10 "+
		"points of each "+
		"other cannot be told apart.", local(h.From, b.zone, dayLayout), local(h.Until, b.zone, dayLayout))
	t := &Table{Caption: "Every candidate over all surfaces, best first",
		Head:    []string{"Work", "Taken to be", "Hours at risk left", "Change, %"},
		Numeric: []bool{false, false, true, true}}
	for i, r := range h.Ranking {
		path := fmt.Sprintf("%s.%d.", ranking, i)
		t.Rows = append(t.Rows, Row{Cells: []Text{say("%s", words.Upper(words.Work(r.Work))), say("%s", r.Assumes),
			{hoursAt(path+"hours_at_risk_with_work", &r.RiskAfterH)}, {figureAt(path+"at_risk_change_pct",
				&r.ChangePct, 0)}}})
	}
	p.table(t)
	var told []string
	for _, x := range predictions {
		if slices.Contains(told, x.Surface) {
			continue
		}
		told = append(told, x.Surface)
		pos, _ := b.Case.Position(x.Surface)
		b.surfaceHelp(p, pos, at, predictions)
	}
	for _, d := range h.Differs {
		p.warn("%s: %s", words.Upper(words.SurfaceOf(b.Case, d.Surface)), d.Text)
	}
	var untold []string
	for _, n := range h.NotPredicted {
		untold = append(untold, words.Work(n.Work))
	}
	p.para("Not predicted, since loggers of air cannot tell of it: %s. Look first.", words.List(untold))
}

func (b *builder) surfaceHelp(p *part, pos roof.Position, at string, predictions []assessment.Prediction) {
	t := &Table{Caption: words.Upper(words.Surface(b.Case, pos)) + ": changes in per cent with their 95 % intervals",
		Head:    []string{"Work", "Hours at risk", "Wet hours", "Condensed water"},
		Numeric: []bool{false, true, true, true}}
	var why string
	for i, x := range predictions {
		if x.Surface != pos.ID || x.Work == "leave" {
			continue
		}
		if x.Refused != "" {
			why = x.Refused
			t.Rows = append(t.Rows, Row{Cells: []Text{say("%s", words.Upper(words.Work(x.Work))), say("not predicted"),
				say("–"), say("–")}})
			continue
		}
		cell := func(names [3]string, x, low, high *float64) Text {
			if x == nil {
				return say("not predicted")
			}
			at := func(k int, v *float64) Run { return figureAt(fmt.Sprintf("%s.%d.%s", at, i, names[k]), v, 0) }
			return say("%s (%s to %s)", at(0, x), at(1, low), at(2, high))
		}
		t.Rows = append(t.Rows, Row{Cells: []Text{say("%s", words.Upper(words.Work(x.Work))),
			cell([3]string{"at_risk_change_pct", "at_risk_low_pct", "at_risk_high_pct"}, x.RiskPct, x.RiskLow,
				x.RiskHi),
			cell([3]string{"hours_condensing_change_pct", "low_pct", "high_pct"}, x.WetPct, x.Low, x.High),
			cell([3]string{"condensate_change_pct", "condensate_low_pct", "condensate_high_pct"}, x.WaterPct,
				x.WaterLow,
				x.WaterHigh)}})
	}
	if !slices.ContainsFunc(predictions,
		func(x assessment.Prediction) bool { return x.Surface == pos.ID && x.Refused == "" }) {
		p.para("%s: not predicted: %s.", words.Upper(words.Surface(b.Case, pos)), why)
		return
	}
	p.table(t)
	if why != "" {
		p.quiet("Not predicted: %s.", why)
	}
}

// foretold is what was predicted before a work, beside what was found.
func (b *builder) foretold(p *part, r assessment.Repair) {
	for _, s := range b.Answer.Scores {
		if s.At.Equal(r.At) && s.Surface == r.Surface {
			p.para("%s", s.Sentence)
		}
	}
}
