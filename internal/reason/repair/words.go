package repair

import (
	"fmt"
	"math"
	"strings"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

func changesText(cs []roof.Change) string {
	words := map[roof.Change]string{roof.LoftVentilation: "the loft's ventilation",
		roof.VoidVentilation: "the void's ventilation", roof.CeilingChange: "the ceiling",
		roof.UnderlayChange: "the underlay", roof.WaterEntry: "where water gets in", roof.Household: "the household"}
	var out []string
	for _, c := range cs {
		if w, ok := words[c]; ok {
			out = append(out, w)
		} else {
			out = append(out, string(c))
		}
	}
	return strings.Join(out, ", ")
}

func creditText(c Credit) string {
	var on []roof.Change
	if c.LoftVentilation {
		on = append(on, roof.LoftVentilation)
	}
	if c.Ceiling {
		on = append(on, roof.CeilingChange)
	}
	if c.VoidVentilation {
		on = append(on, roof.VoidVentilation)
	}
	from := "inferred from the places it treats; the key changes of the event would say it for certain"
	if c.Declared {
		from = "as the event declares"
	}
	var text string
	if len(on) > 0 {
		text = fmt.Sprintf("credited with changes of %s (%s)", changesText(on), from)
	} else {
		text = "credited with nothing that the method can model (" + from + ")"
	}
	if len(c.NotModelled) > 0 {
		text += "; changes of " + changesText(c.NotModelled) + " are not modelled"
	}
	return text
}

func ptr(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// write fills the answer from the last look.
func (a *assessor) write(r *Result, j *judge, f findings) {
	r.Notes = append(r.Notes, j.s.notes...)
	r.Notes = append(r.Notes, j.s.blindness()...)
	if j.swapNear {
		r.Notes = append(r.Notes, swapNote)
	}
	if len(f.looks) == 0 {
		r.Needs, r.Reason = words.Need{Kind: words.NightsAfter}.String(), "no whole night has passed since the repair"
		return
	}
	l := f.looks[0]
	t := l.trial
	r.NightsBefore, r.NightsAfter = len(t.validB), len(t.validA)
	r.Nights = j.nightUse(t)
	r.Gates, r.Needs = l.gates, l.needs
	if l.fit == nil {
		r.Reason = "too few nights"
		return
	}
	for o := range 2 {
		if len(t.out[o].hour) > 0 {
			r.Sigma[o] = ptr(t.out[o].sigma)
		}
	}
	r.Mechanism = j.mechanism(l)
	r.Overlap = j.overlap(t)
	r.Weather = j.weather(t, r.Overlap) + fmt.Sprintf(
		"; they hold %.0f %% of the hours at risk that the unrepaired roof would have had", 100*j.metShare(l))
	c := l.companion
	r.Companion = &Companion{Before: ratio(c.obsBefore, c.expBefore), After: ratio(c.obsAfter, c.expAfter), Q: c.q}
	r.Companion.Text = words.Companion(r.Companion.Before, r.Companion.After)
	for i, k := range f.looks {
		if k.fit == nil {
			continue
		}
		ev := Evening{Night: j.s.nights[j.s.nightOf[k.end-1]].Date, Q: k.companion.q, Holds: f.holds(j, i)}
		if risk, wet := k.risk.given(), k.reduction.given(); risk != nil && wet != nil {
			ev.AtRisk, ev.Wet = *risk, *wet
		}
		r.Evenings = append(r.Evenings, ev)
	}
	if l.open {
		r.CrossCheck = j.cross(l)
		if !a.opts.NoSensitivity {
			r.Course = j.drawing(l)
		}
		r.AtRiskReductionPct, r.AtRiskLowPct, r.AtRiskHighPct = l.risk.given().parts()
		if l.fewWet() {
			r.Notes = append(r.Notes, words.FewWet(l.sample.without.wetH, minWetH))
		} else {
			r.ReductionPct, r.LowPct, r.HighPct = l.reduction.given().parts()
			r.CondensateReductionPct, r.CondensateLowPct, r.CondensateHighPct = l.water.given().parts()
			gain, spread := t.terms.wetGains()
			r.Correction = &Correction{Factor: gain, FactorLow: tenth(max(gain-evidence.Z95*spread, 0)),
				FactorHigh: tenth(gain + evidence.Z95*spread), From: correctionFrom, WetPct: tenth(l.beyond)}
		}
	}
	r.Wet, r.AtRisk = j.threefold(l, r.CrossCheck)
}

// parts are an effect's figures for the keys of the contract.
func (e *Effect) parts() (pct, low, high *float64) {
	if e == nil {
		return nil, nil, nil
	}
	return &e.Pct, &e.Low, &e.High
}

func ratio(a, b float64) float64 { return (a + companionOffset) / (b + companionOffset) }

// swapNote is said when a logger was exchanged about the time of the repair.
const swapNote = "a logger was exchanged within 7 days of the repair: the interval is wider and the bar higher for " +
	"it; check the old and the new logger side by side"

// blindness says what a missing logger hides.
func (s *site) blindness() []string {
	var out []string
	if !s.hasIn {
		out = append(out, "no indoor logger: a usual house is assumed, and an absence, guests or a change of heating "+
			"would be taken for the roof's")
	}
	if !s.hasLoft {
		out = append(out, "no loft logger: the loft is guessed from indoors and outdoors, and the interval is wider for it")
	}
	if !s.hasVoid {
		out = append(out, "no logger in a batten void: the loft is judged by itself")
	}
	if !s.hasCover {
		out = append(out, "no temperature of the covering: outdoor air stands for it")
	}
	return out
}

var factorNames = [3]string{"exchange of the loft with outdoor air", "leakage through the ceiling",
	"exchange of the void with outdoor air"}

// mechanism reports what physically changed.
func (j *judge) mechanism(l *look) []Factor {
	var out []Factor
	f := l.fit
	t := l.trial
	for i, p := range [3]int{pD, pC, pV} {
		if i == 2 && !j.s.hasVoid || i != 2 && !j.s.hasLoft && !t.terms.credit[i] {
			continue
		}
		m := t.pr[p].value(f.u[p])
		sd := t.pr[p].sd * f.sdOf(p)
		x := Factor{What: factorNames[i], Factor: math.Exp(m), Low: math.Exp(m - evidence.Z95*sd),
			High: math.Exp(m + evidence.Z95*sd), Credited: t.terms.credit[i], Identified: sd <= 1}
		x.Text = fmt.Sprintf("%s × %.2g (%.2g to %.2g)", x.What, x.Factor, x.Low, x.High)
		if !x.Identified {
			x.Text += ", not identified by these readings"
		}
		if !x.Credited {
			x.Text += "; noticed, not credited to the repair"
		}
		out = append(out, x)
	}
	return out
}

// sdOf is the posterior standard deviation of one unknown in standard units.
func (f *fit) sdOf(p int) float64 {
	m := len(f.free)
	y := make([]float64, m)
	for a, k := range f.free {
		if k == p {
			y[a] = 1
		}
	}
	solveCholesky(f.chol, m, y)
	for a, k := range f.free {
		if k == p {
			return math.Sqrt(math.Max(y[a], 0))
		}
	}
	return 0
}

// apart says on which side of something a temperature stands: 0.5 K above.
func apart(k float64) string {
	if k >= 0 {
		return words.Signed(k) + " K above"
	}
	return words.Signed(-k) + " K below"
}

// weather compares the nights after with those before.
func (j *judge) weather(t *trial, inside int) string {
	get := func(ns []int) (c, k float64) {
		for _, i := range ns {
			c, k = c+j.s.nights[i].outC, k+j.s.nights[i].clearK
		}
		n := float64(max(len(ns), 1))
		return c / n, k / n
	}
	bc, bk := get(t.validB)
	ac, ak := get(t.validA)
	text := fmt.Sprintf("outdoor air averaged %s °C before and %s °C after", words.Signed(bc), words.Signed(ac))
	if j.s.hasCover {
		text += fmt.Sprintf(", and stood %s the covering before and %s it after", apart(bk), apart(ak))
	}
	return text + fmt.Sprintf("; %d of the %s since had weather like some night before", inside,
		words.Count(len(t.validA), "night"))
}

func (j *judge) nightUse(t *trial) []NightUse {
	used := map[int]bool{}
	for _, i := range append(append([]int(nil), t.validB...), t.validA...) {
		used[i] = true
	}
	var out []NightUse
	for i, n := range j.s.nights {
		u := NightUse{Night: n.Date, FromMS: n.FromMS, Used: used[i], OutdoorC: n.outC, ClearK: n.clearK,
			Coverage: n.coverage, Why: n.why}
		switch {
		case n.until <= t.lastBefore:
			u.Period = "before"
		case n.from < t.firstAfter-24 && !used[i]:
			u.Period = "lock"
			u.Why = "within the days around the repair that count nothing"
		default:
			u.Period = "after"
		}
		if !u.Used && u.Why == "" {
			u.Why = "not a whole night of the period judged"
		}
		out = append(out, u)
	}
	return out
}

// conclude words the verdict, after control and sensitivity have had their say.
func (r *Result) conclude(j *judge, f findings) {
	if len(f.looks) == 0 || f.looks[0].fit == nil || !f.looks[0].open {
		if r.Reason == "" {
			r.Reason = "the conditions for an answer are not met"
		}
		return
	}
	l := f.looks[0]
	switch r.Verdict {
	case Worked:
		r.Reason = l.risk.said(words.RiskHours).Moved(runWorked)
		if f.house != nil {
			r.Reason = f.house.said().String()
		}
		if l.reduction.low <= 0 {
			r.Notes = append(r.Notes, "that the hours at risk fell is shown; that the wet hours fell is probable only, as "+
				"their interval takes in no change")
		}
	case GotWorse:
		r.Reason = l.risk.said(words.RiskHours).Moved(runWorse)
	default:
		if r.Reason == "" {
			r.Reason = l.risk.said(words.RiskHours).Untold()
		}
		r.Needs = j.needs(l)
	}
	r.Progress = r.Needs
	if l.fewWet() {
		return
	}
	if said := words.WaterAgainstHours(l.water.said(words.Water), l.reduction.said(words.WetHours)); said != "" {
		r.Notes = append(r.Notes, said)
	}
}

// said is an effect as it is put into words.
func (e effect) said(what string) words.Change {
	return words.Change{What: what, Pct: &e.pct, Low: &e.low, High: &e.high}
}
