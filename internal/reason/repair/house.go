package repair

import (
	"slices"

	"dewcase/internal/words"
)

// House is what the surfaces of one repair show together, where the work changed
// the loft that they share. It stands beside the verdicts of the surfaces.
type House struct {
	Surfaces []string `json:"surfaces" doc:"those whose gates are open"`
	Verdict  Verdict  `json:"verdict"`
	AtRisk   *Effect  `json:"at_risk" doc:"the verdict rests on this fall of the hours at risk of all of them"`
	Wet      *Effect  `json:"wet"`
	Reason   string   `json:"reason"`
}

// joint is the looks at several surfaces of one repair, evening by evening.
type joint struct {
	rows []*row
	j    *judge // that the rule asks: strict as the strictest of them
	held bool   // the rule of successive evenings
	sums []*look
}

// leastJoint is how many surfaces make a house, minRiskPct how far the hours at risk
// of a surface must have fallen for it to share in what the house shows.
const (
	leastJoint = 2
	minRiskPct = 5.0
)

// together looks at the surfaces of one change of loft or ceiling as one: the
// change is the same for all, so that its structural error is drawn once for them
// and counts once. What the house shows lends its certainty to a surface whose own
// fall points the same way (shares). It is nil where there is no such house.
func (a *assessor) together(rows []*row) *joint {
	h := newJoint(rows)
	if h == nil {
		return nil
	}
	last := h.at(0)
	if last == nil {
		return nil
	}
	h.held = !last.straddles() && last.risk.pct > 0 && held(h.at, h.j.worked, runWorked)
	for _, w := range h.rows {
		if f := &w.findings; h.held && !f.firm && h.shares(w) {
			f.verdict, f.firm, f.house = Worked, true, h
			f.looks = w.looks
		}
	}
	return h
}

// verdict is the answer for the house once sensitivity and untouched places have
// had their say on its surfaces: where they left none of them worked, nor is the
// house.
func (h *joint) verdict() *House {
	l := h.at(0)
	out := &House{Surfaces: h.open(), AtRisk: l.risk.given(), Verdict: h.j.provisional(l)}
	if !l.fewWet() {
		out.Wet = l.reduction.given()
	}
	said := h.said()
	said.Worked = false
	for _, w := range h.rows {
		said.Worked = said.Worked || h.held && w.Verdict == Worked
		if w.findings.firm && w.Verdict == NoChangeShown {
			said.Taken = w.Reason
		}
	}
	said.Worked = said.Worked && said.Taken == ""
	switch {
	case said.Worked:
		out.Verdict = Worked
	case slices.ContainsFunc(h.rows, func(w *row) bool { return w.Verdict == Worked }):
		out.Verdict = TooEarly // one surface shows it, all of them do not yet
	}
	out.Reason = said.String()
	return out
}

// open are the surfaces whose gates are open on the last evening.
func (h *joint) open() (ids []string) {
	for _, w := range h.rows {
		if w.at(0).open {
			ids = append(ids, w.Surface)
		}
	}
	return ids
}

func (h *joint) said() words.House {
	l := h.at(0)
	return words.House{Surfaces: h.open(), Risk: l.risk.said(words.RiskHours), Worked: h.held, Evenings: runWorked}
}

// newJoint is nil where fewer than two surfaces have been looked at on the same
// evenings, or where the void alone was worked on: each slope has its own.
func newJoint(rows []*row) *joint {
	h := &joint{}
	for _, w := range rows {
		if w.j == nil || len(w.ends) == 0 || !w.j.terms.ofLoft() {
			continue
		}
		if n := len(h.rows); n > 0 && (w.fromMS != h.rows[0].fromMS || w.untilMS != h.rows[0].untilMS ||
			w.j.terms.credit != h.j.terms.credit) {
			continue
		}
		if h.j == nil {
			j := *w.j
			h.j = &j
		}
		h.j.swapNear = h.j.swapNear || w.j.swapNear
		h.rows = append(h.rows, w)
	}
	if len(h.rows) < leastJoint {
		return nil
	}
	return h
}

// at is the look at all surfaces i evenings ago whose gates were open then; nil
// where there are fewer than two.
func (h *joint) at(i int) *look {
	for len(h.sums) <= i {
		h.sums = append(h.sums, h.sum(len(h.sums)))
	}
	return h.sums[i]
}

func (h *joint) sum(i int) *look {
	var open []*look
	for _, w := range h.rows {
		if l := w.at(i); l != nil && l.open {
			open = append(open, l)
		}
	}
	if len(open) < leastJoint {
		return nil
	}
	sum := &look{open: true, end: open[0].end, trial: open[0].trial, fit: open[0].fit}
	var draws []sample
	change := 0.0
	c := &sum.companion
	for _, l := range open {
		draws = append(draws, l.sample)
		change = max(change, l.largestChange())
		o := l.companion
		c.obsBefore, c.obsAfter = c.obsBefore+o.obsBefore, c.obsAfter+o.obsAfter
		c.expBefore, c.expAfter = c.expBefore+o.expBefore, c.expAfter+o.expAfter
	}
	c.weigh()
	sum.sample = addUp(draws, h.j)
	sum.summarise(h.j.terms, change)
	sum.likeDraws = func() sample {
		var like []sample
		for _, l := range open {
			s := l.likeDraws()
			if len(s.risk) == 0 {
				return sample{}
			}
			like = append(like, s)
		}
		return addUp(like, h.j)
	}
	return sum
}

// addUp adds the tolls of several surfaces draw by draw: all throw the same dice,
// so that one draw is one change of the loft for all of them.
func addUp(all []sample, j *judge) sample {
	var s sample
	for i := range all[0].bare {
		var with, without toll
		for _, x := range all {
			with.add(x.repaired[i])
			without.add(x.bare[i])
		}
		s.repaired, s.bare = append(s.repaired, with), append(s.bare, without)
	}
	s.digest(j.dice, j.terms)
	return s
}

// shares says that a surface takes part in what the house shows: on the evenings
// that the rule asks, its own fall is probable, as large as a worked asks, and not
// against what was measured there.
func (h *joint) shares(w *row) bool {
	for i := range runWorked {
		l := w.at(i)
		if l == nil || !l.open || l.riskFair.low <= 0 || l.risk.pct < minRiskPct || l.reduction.pct < minFallPct ||
			l.companion.q > 0 {
			return false
		}
	}
	return true
}
