package report

import (
	"fmt"
	"sort"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// repairs is the part on whether each repair worked.
func (b *builder) repairs(p *part) {
	if len(b.Case.Repairs()) == 0 {
		return
	}
	for _, e := range b.Case.Repairs() {
		p.para("%s %s", bold("Done on "+local(e.At, b.zone, timeLayout)+":"), words.Sentence(e.What))
		b.treats(p, e)
	}
	if len(b.Answer.Repairs) == 0 {
		p.lead("No repair can be judged from this record.")
		return
	}
	p.quiet("How it is judged: a model of the roof is fitted to its own nights before and after the repair and run " +
		"twice through the weather measured since, with the repair and without it, the household as measured. The " +
		"difference is the effect, in like weather. The verdict rests on hours at risk, which hardly feel an offset " +
		"of a logger.")
	var told []string
	for _, i := range drawing.ResultsInOrder(b.Case, b.Answer) {
		told = b.result(p, i, told)
	}
	b.objections(p)
}

func (b *builder) treats(p *part, e roof.Event) {
	var out []string
	if len(e.Treats) > 0 {
		out = append(out, "treats "+words.List(e.Treats))
	} else {
		out = append(out, "treats every surface (none is named)")
	}
	if len(e.Changes) > 0 {
		var c []string
		for _, x := range e.Changes {
			c = append(c, words.Key(string(x)))
		}
		out = append(out, "declared to change "+words.List(c))
	}
	p.quiet("By the case file it %s.", words.List(out))
}

// result is one surface. What the work changed is told once where it is the same for
// several; told is what was.
func (b *builder) result(p *part, i int, told []string) []string {
	r := b.Answer.Repairs[i]
	pos, _ := b.Case.Position(r.Surface)
	p.head("Repair of %s, %s (%s): %s", local(r.At, b.zone, dayLayout), pos.Place.Words(), r.Surface,
		bold(words.Key(string(r.Verdict))))
	told = b.exchanges(p, i, told)
	p.add(Lead, b.Answer.Verdict(b.Case, i).Sentence())
	for _, three := range assessment.Three(r) {
		if s := three.String(); s != "" {
			p.para("%s", s)
		}
	}
	if r.Reason != "" && !r.OfLeak() {
		p.para("%s", words.Sentence(r.Reason))
	}
	for _, s := range assessment.Leak(r) {
		p.para("%s", s)
	}
	if r.OnlySeen != nil {
		for _, s := range r.OnlySeen.Text {
			p.para("%s", s)
		}
	}
	if house := b.Answer.House(i); house != "" {
		p.para("%s", words.Sentence(house))
	}
	if r.Needs != "" && r.Verdict != repair.TooEarly {
		p.para("Needed for more: %s", words.Sentence(r.Needs))
	}
	b.effect(p, i)
	b.foretold(p, r)
	b.mechanism(p, r.Result)
	b.fair(p, i)
	for k, n := range r.Notes {
		if k == 0 { // what it is credited with
			p.para("%s", words.Sentence(n))
			continue
		}
		p.warn("%s", words.Sentence(n))
	}
	b.gates(p, r.Result)
	b.sensitivity(p, r.Result)
	b.leftOut(p, r.Result)
	return told
}

// effect is the figures with their intervals, and the nights since.
func (b *builder) effect(p *part, i int) {
	r := b.Answer.Repairs[i]
	if r.Wet == nil {
		return
	}
	id := fmt.Sprint(i)
	if r.ReductionPct == nil && r.AtRiskReductionPct == nil && r.CondensateReductionPct == nil {
		p.para("How far hours fell because of the repair is not given: not all the conditions below hold.")
	} else {
		b.effectPicture(p, id, i)
	}
	t := &Table{Caption: "The effect over the nights that count: falls in per cent with their 95 % intervals",
		Head: []string{"What", "Unrepaired, h", "Measured, h", "Fall, measured against unrepaired", "By the model, h",
			"Fall, by the model", "Fall, like nights"}, Numeric: []bool{false, true, true, true, true, true, true}}
	row := func(what, key string, c *repair.Comparison, model Text) {
		at := func(field string, x float64) Text { return Text{hoursAt(repairPath(i, key+"."+field), &x)} }
		t.Rows = append(t.Rows, Row{Cells: []Text{say("%s", what), at("unrepaired_h", c.UnrepairedH),
			at("measured_h", c.MeasuredH), b.fall(i, key+".measured", c.Measured), at("model_h", c.ModelH),
			model, b.fall(i, key+".like_nights", c.Like)}})
	}
	row("Hours at risk", "at_risk_hours", r.AtRisk,
		b.fallAt(i, riskNames, r.AtRiskReductionPct, r.AtRiskLowPct, r.AtRiskHighPct))
	row("Wet hours", "wet_hours", r.Wet, b.fallAt(i, wetNames, r.ReductionPct, r.LowPct, r.HighPct))
	none := say("–")
	t.Rows = append(t.Rows, Row{Cells: []Text{say("Condensed water"), none, none, none, none,
		b.fallAt(i, massNames, r.CondensateReductionPct, r.CondensateLowPct, r.CondensateHighPct), none}})
	p.table(t)
	if s := assessment.BeyondModel(r); s != "" {
		p.quiet("%s", s)
	}
	p.quiet("The verdict rests on the hours at risk. Measured hours are counted on half-hour means over the nights that " +
		"count, and so differ from the hours of part 2.")
	wet, risk := drawing.Paired(r.Result, "report-"+id, b.zone)
	if len(wet.Nights) > 0 {
		legend := "Filled: measured. Outline: the same night in the same weather without the repair, by the model. " +
			"Hatched: not observed well enough. All nights since are drawn, by plain count, also those that do not count for " +
			"the verdict, so that these sums are not those of the table above. "
		p.figure("pairs", wet.Scene(), GapLegend,
			say("Wet hours, each night since the repair. %s%s", legend, wet.Scene().Desc))
		p.figure("pairs", risk.Scene(), GapLegend,
			say("Hours at risk, each night since the repair. %s%s", legend, risk.Scene().Desc))
	}
}

// fall is a fall with its own interval: 71 (39 to 93).
func (b *builder) fall(i int, path string, e *repair.Effect) Text {
	if e == nil {
		return say("–")
	}
	return b.fallAt(i, [3]string{path + ".fall_pct", path + ".low_pct", path + ".high_pct"}, &e.Pct, &e.Low, &e.High)
}

// fallAt is the same of the contract's keys.
func (b *builder) fallAt(i int, names [3]string, x, lo, hi *float64) Text {
	return say("%s (%s to %s)", figureAt(repairPath(i, names[0]), x, 0), figureAt(repairPath(i, names[1]), lo, 0),
		figureAt(repairPath(i, names[2]), hi, 0))
}

func (b *builder) effectPicture(p *part, id string, i int) {
	p.figure("effect", picture.Effect{ID: "report-effect-" + id, Falls: b.Answer.Verdict(b.Case, i).Falls()}.Scene(),
		NoLegend, say("What the repair took away, in like weather. Line: best estimate. Bar: 95 % interval. To the right "+
			"of “no "+
			"change” there is less of it, to the left more."))
}

func (b *builder) mechanism(p *part, r repair.Result) {
	if len(r.Mechanism) > 0 {
		t := &Table{Caption: "What physically changed: exchange after over before (1 is no change)",
			Head:    []string{"What", "Times", "95 %: from", "to", "Credited to the repair", "Known from these readings"},
			Numeric: []bool{false, true, true, true}}
		for _, m := range r.Mechanism {
			t.Rows = append(t.Rows, cells(words.Upper(m.What), words.Figure(m.Factor), words.Figure(m.Low),
				words.Figure(m.High), yes(m.Credited), yes(m.Identified)))
		}
		p.table(t)
		p.quiet("These are the fitted model's own. What the work changed, above, is told without that model, from " +
			"temperatures or vapour alone: two estimates of one thing, to be read with their intervals.")
	}
}

func yes(x bool) string {
	if x {
		return "yes"
	}
	return "no"
}

// fair is what makes before and after comparable, and the checks beside the
// model.
func (b *builder) fair(p *part, i int) {
	r, a := b.Answer.Repairs[i], b.Answer.Repairs[i]
	p.para("%s: %s nights before and %s after count; %s of those after had an outdoor temperature and a clear sky within "+
		"the range met before. %s", bold("Was it fair"),
		countAt(repairPath(i, "nights_before"), a.NightsBefore), countAt(repairPath(i, "nights_after"), a.NightsAfter),
		fmt.Sprint(r.Overlap), words.Sentence(r.Weather))
	if c := r.Companion; c != nil && c.Text != "" {
		p.para("%s %s", bold("Counted beside the model:"), words.Sentence(c.Text))
	}
	if c := r.CrossCheck; c != nil && c.Text != "" {
		agrees := "It does not contradict the model."
		if !c.Agrees {
			agrees = "It does not agree: weigh the verdict with that."
		}
		p.para("%s %s %s", bold("Checked without the model:"), words.Sentence(c.Text), agrees)
	} else {
		p.para("%s could not be made from these nights.", bold("A check without the model"))
	}
	if c := r.Control; c != nil {
		p.para("%s %s", bold("An untouched place ("+c.Surface+"):"), words.Sentence(c.Text))
	} else {
		p.para("%s: no position of the case file is marked untouched, so no such place could be "+
			"judged beside it.", bold("Control"))
	}
	if r.Sigma[0] != nil || r.Sigma[1] != nil {
		for k, what := range []string{"of the loft", "of the air at the covering"} {
			if s := r.Sigma[k]; s != nil {
				p.para("The fitted model misses the measured dew point %s by %s K (standard deviation).", what, words.Fixed(*s, 2))
			}
		}
	}
}

func (b *builder) gates(p *part, r repair.Result) {
	t := &Table{Caption: "What must hold before any verdict but “too early”",
		Head: []string{"Condition", "Found", "Wanted", "Holds"}}
	for _, g := range r.Gates {
		t.Rows = append(t.Rows, cells(words.Upper(g.Name), g.Figure, g.Limit, yes(g.Open)))
	}
	p.table(t)
	e := &Table{Caption: "The evenings behind the verdict, latest first",
		Head: []string{"Evening", "Fall of hours at risk, % (95 %)", "Fall of wet hours, % (95 %)",
			"Counted against expected (log)", "Holds"}, Numeric: []bool{false, true, true, true}}
	for _, x := range r.Evenings {
		e.Rows = append(e.Rows, cells(runs([]string{x.Night}), words.Fall(x.AtRisk).String(), words.Fall(x.Wet).String(),
			words.Fixed(x.Q, 2), yes(x.Holds)))
	}
	p.table(e)
}

func (b *builder) sensitivity(p *part, r repair.Result) {
	t := &Table{Caption: "Does it hold if something is done otherwise",
		Head:    []string{"Done otherwise", "Fall of hours at risk, %", "95 %", "Changes the verdict"},
		Numeric: []bool{false, true, true}}
	for _, v := range r.Sensitivity {
		fall, between, flips := "–", "as above", yes(v.Flips)
		if v.RiskFallPct != nil {
			fall = words.Fixed(*v.RiskFallPct, 0)
		}
		if v.LowPct != nil && v.HighPct != nil {
			between = words.Fixed(*v.LowPct, 0) + " to " + words.Fixed(*v.HighPct, 0)
		} else if v.RiskFallPct != nil {
			between = "–"
		}
		if v.Why != "" {
			flips, between = v.Why, "–"
		}
		t.Rows = append(t.Rows, cells(words.Upper(v.What), fall, between, flips))
	}
	p.table(t)
}

// leftOut counts the nights that did not count, by reason, with their dates.
func (b *builder) leftOut(p *part, r repair.Result) {
	type reason struct {
		period, why string
		nights      []string
	}
	var all []*reason
	by := map[[2]string]*reason{}
	used := map[string]int{}
	for _, n := range r.Nights {
		if n.Used {
			used[n.Period]++
			continue
		}
		key := [2]string{n.Period, n.Why}
		x, ok := by[key]
		if !ok {
			x = &reason{period: n.Period, why: n.Why}
			by[key] = x
			all = append(all, x)
		}
		x.nights = append(x.nights, n.Night)
	}
	if len(r.Nights) == 0 {
		return
	}
	order := map[string]int{"before": 0, "lock": 1, "after": 2}
	periods := map[string]string{"before": "before the repair", "lock": "about the repair", "after": "after the repair"}
	sort.SliceStable(all, func(i, j int) bool { return order[all[i].period] < order[all[j].period] })
	t := &Table{Caption: "Nights left out, and why", Head: []string{"Period", "Why", "Nights", "Evenings of"},
		Numeric: []bool{false, false, true}}
	for _, x := range all {
		period := periods[x.period]
		if period == "" {
			period = x.period
		}
		t.Rows = append(t.Rows, cells(words.Upper(period), words.Sentence(x.why), fmt.Sprint(len(x.nights)), runs(x.nights)))
	}
	if len(all) == 0 {
		p.para("No night was left out.")
	}
	p.table(t)
}

// runs writes dates shortly: those in a row as first to last.
func runs(dates []string) string {
	var out []string
	var first, last time.Time
	flush := func() {
		switch {
		case first.IsZero():
		case first.Equal(last):
			out = append(out, first.Format("2 Jan 2006"))
		default:
			out = append(out, first.Format("2 Jan")+" to "+last.Format("2 Jan 2006"))
		}
	}
	for _, d := range dates {
		t, err := time.Parse(time.DateOnly, d)
		if err != nil {
			out = append(out, d)
			continue
		}
		if !last.IsZero() && t.Equal(last.AddDate(0, 0, 1)) {
			last = t
			continue
		}
		flush()
		first, last = t, t
	}
	flush()
	s := ""
	for i, d := range out {
		if i > 0 {
			s += ", "
		}
		s += d
	}
	return s
}

// objections are what the other side will say, with what can be answered.
func (b *builder) objections(p *part) {
	p.head("Objections, and what can be answered")
	p.list(Bullets, []Text{
		say("%s Both runs go through the same measured weather; nights are compared only where weather of the kind was "+
			"met before, and the list above says how many were. A winter without such nights gives no verdict.",
			bold("“The weather was milder.”")),
		say("%s The household’s air is measured indoors and goes into both runs alike. Without an indoor logger a usual "+
			"house is assumed, the intervals are wider for it, and the notes say so.", bold("“They lived differently.”")),
		say("%s An offset is the same before and after and enters both runs; hours at risk, on which the verdict rests, "+
			"hardly feel it. A logger exchanged near the repair widens the interval and raises the bar, and the notes say so.",
			bold("“The loggers are inaccurate.”")),
		say("%s The verdict must hold on several evenings running, must not turn in the sensitivity list, and is set "+
			"against counts that use no model and against a pretended repair on nights before the real one.",
			bold("“A model can be made to say anything.”")),
		say("%s An untouched place, where there is one, is judged the same way and can veto the verdict.",
			bold("“Something else changed at the same time.”")),
	})
}
