package cause

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// statesOf are the states a cause can show as.
func statesOf(c Cause) []state {
	switch c {
	case CeilingLeakage:
		return []state{stateU, stateVC}
	case BlockedVentilation:
		return []state{stateU}
	case UnventedBattenVoid:
		return []state{stateV, stateVC}
	case NightSkyCooling:
		return []state{stateS}
	case WaterIngress:
		return []state{stateW, stateWU}
	case ConstructionMoist:
		return []state{stateC}
	}
	return []state{stateN}
}

// countsFor says that a state counts, wholly or half, for a cause.
func countsFor(st state, c Cause) bool {
	if slices.Contains(statesOf(c), st) {
		return true
	}
	return st == stateWU && (c == CeilingLeakage || c == BlockedVentilation)
}

// Thresholds of section 8, in nats.
const (
	speaksFor     = 0.5
	speaksAgainst = -0.7
	mostLines     = 4
)

// evidence writes the lines for and against each cause (section 8): the
// measured ones first, then the survey's.
func (a *assessment) evidence(f *Finding) {
	for i := range f.Causes {
		s := &f.Causes[i]
		st := statesOf(s.Cause)[0]
		for _, o := range statesOf(s.Cause) {
			if a.post[o] > a.post[st] {
				st = o
			}
		}
		var pro, con []Evidence
		for g := range groups {
			if !a.scores.present[g] {
				continue
			}
			row := a.scores.group[g]
			if w := above(row, st, s.Cause); w > speaksFor {
				pro = append(pro, a.linesFor(g, st, s.Cause, w)...)
			}
			if row[st] < speaksAgainst {
				con = append(con, a.linesAgainst(g, st)...)
			}
		}
		s.For = append(largest(pro), a.surveyLines(s.Cause, st, true)...)
		s.Against = append(largest(con), a.surveyLines(s.Cause, st, false)...)
	}
}

// above sets a state's score beside the mean of those that are not the
// cause's.
func above(row [states]float64, st state, c Cause) float64 {
	others, n := 0.0, 0
	for o := range states {
		if !countsFor(o, c) {
			others, n = others+row[o], n+1
		}
	}
	return row[st] - others/float64(n)
}

// linesFor are a group's sentences for a cause: of several those whose own
// figure says so too.
func (a *assessment) linesFor(g group, st state, c Cause, weight float64) []Evidence {
	return a.agreeing(g, func(e Evidence) bool { return above(a.scores.own[e.of], st, c) > 0 },
		func(e *Evidence, alone bool) {
			e.Weight = weight
			if !alone {
				e.Text += " It speaks for this cause with the other figures on " + groupWords[g] + " only."
			}
			if a.scores.group[g][st] < speaksAgainst { // the same line stands under against as well
				e.Text += " This fits better than it fits most other causes, though not best."
			}
		})
}

// linesAgainst are a group's sentences against a state, with the causes that
// they fit best.
func (a *assessment) linesAgainst(g group, st state) []Evidence {
	fits := bestFit(a.scores.group[g])
	return a.agreeing(g, func(e Evidence) bool { return a.scores.own[e.of][st] < 0 }, func(e *Evidence, _ bool) {
		e.Weight, e.FitsBest = a.scores.group[g][st], fits
		if slices.Equal(bestFit(a.scores.own[e.of]), fits) {
			e.Text += " This fits " + names(fits) + " best."
		} else {
			e.Text += " With the other figures on " + groupWords[g] + " this fits " + names(fits) + " best."
		}
	})
}

// agreeing are a group's sentences of which each agrees by itself; where none
// does, its main one, of which alone is false.
func (a *assessment) agreeing(g group, agrees func(Evidence) bool, finish func(e *Evidence, alone bool)) []Evidence {
	all := a.sentences(g)
	var out []Evidence
	for _, e := range all {
		if agrees(e) {
			finish(&e, true)
			out = append(out, e)
		}
	}
	if len(out) == 0 && len(all) > 0 {
		finish(&all[0], false)
		out = all[:1]
	}
	return out
}

// groupWords say what a group of figures is on.
var groupWords = [groups]string{groupLoad: "the loft's moisture", groupExchange: "the loft's exchange of air",
	groupHouse: "house air in the loft", groupVoid: "the void",
	groupCovering: "where water forms", groupSky: "cooling by the sky", groupTime: "the course over the winter"}

func largest(e []Evidence) []Evidence {
	slices.SortStableFunc(e, func(x, y Evidence) int { return cmp.Compare(math.Abs(y.Weight), math.Abs(x.Weight)) })
	return e[:min(len(e), mostLines)]
}

// bestFit are the causes of the state that a group fits best.
func bestFit(row [states]float64) []Cause {
	best := stateU
	for st := range states {
		if row[st] > row[best] {
			best = st
		}
	}
	var out []Cause
	for _, c := range Named() {
		if countsFor(best, c) {
			out = append(out, c)
		}
	}
	return out
}

func names(c []Cause) string {
	var out []string
	for _, x := range c {
		out = append(out, string(x))
	}
	return strings.Join(out, " or ")
}

// surveyLines are what was seen on site and moves a cause.
func (a *assessment) surveyLines(c Cause, st state, pro bool) []Evidence {
	var out []Evidence
	for _, l := range a.survey.lines {
		w := l.moves[st]
		if l.splits {
			split := math.Log(a.survey.ceilingShare / (1 - a.survey.ceilingShare))
			switch c {
			case CeilingLeakage:
				w += split
			case BlockedVentilation:
				w -= split
			}
		}
		if w == 0 || (w > 0) != pro {
			continue
		}
		out = append(out, Evidence{Text: "survey: " + l.text, Basis: "survey", Group: "survey", Weight: w,
			FromMS: a.g.fromMS(), UntilMS: a.g.untilMS()})
	}
	return out
}

// line fills what every measured sentence carries.
func (a *assessment) line(g group, f feature, unit string, figure float64, parts []*air, format string,
	args ...any) Evidence {
	e := Evidence{Text: fmt.Sprintf(format, args...), Basis: "measured", Group: groupNames[g], Feature: about(f).id, of: f,
		Unit: unit, FromMS: a.g.fromMS(), UntilMS: a.g.untilMS()}
	if known(figure) {
		e.Figure = &figure
	}
	if u := 2 * a.f.se[f]; known(u) {
		e.Accuracy = &u
	}
	seen := make([]int, a.nights)
	total := make([]int, a.nights)
	for k, n := range a.nightOf {
		total[n]++
		all := true
		for _, p := range parts {
			all = all && (known(p.vapourPa[k]) || known(p.tempC[k]))
		}
		if all {
			seen[n]++
		}
	}
	for n := range seen {
		if 2*seen[n] >= total[n] && total[n] >= 12 {
			e.Nights++
		}
	}
	for _, p := range parts {
		e.Positions = append(e.Positions, p.ids...)
	}
	return e
}

// give formats an accuracy, or says that it is not known.
func (a *assessment) give(f feature, unit string, decimals int) string {
	u := a.f.se[f]
	if !known(u) {
		return "accuracy not known"
	}
	return fmt.Sprintf("+-%.*f%s", decimals, 2*u, unit)
}

// sentences are what one group says, the first being its main one.
func (a *assessment) sentences(g group) []Evidence {
	v := a.f.value
	p := a.p
	var out []Evidence
	switch g {
	case groupLoad:
		switch {
		case known(v[fElB]):
			out = append(out, a.line(g, fElB, "Pa", v[fElB], []*air{p.loft, p.void},
				"The loft holds %s vapour than the batten void; where loft moisture feeds the void the two differ by less than 30.",
				a.moreOrLess(fElB)))
		case known(v[fEl]):
			out = append(out, a.line(g, fEl, "Pa", v[fEl], []*air{p.loft, p.outdoor},
				"Loft air held %s vapour than outdoors over %.0f days; a dry loft holds under 25 Pa more, a moist one over 90.",
				a.moreOrLess(fEl), a.g.days()))
		case known(v[fRH90]):
			out = append(out, a.line(g, fRH90, "h/30 d", v[fRH90], []*air{p.loft},
				"Loft air stood above 90 %%RH for %.0f h a month (%s); a dry loft shows about 60, a moist one over 450.", v[fRH90],
				a.give(fRH90, " h", 0)))
		}
		if known(v[fSrc]) && v[fSrc] > 0.2 && a.f.eiPa > 0 && v[fEl] > 0 {
			wi := math.Max(a.f.fast.wi, 0)
			share := wi / (wi + math.Max(a.f.fast.wo, 0.08)) / (v[fEl] / math.Max(a.f.eiPa, 40))
			out = append(out, a.line(g, fSrc, "", v[fSrc], []*air{p.loft, p.indoor, p.outdoor},
				"House air explains about %.0f %% of that excess over outdoors; the rest needs another source.",
				100*math.Min(share, 1)))
		}
	case groupExchange:
		if known(v[fWo]) {
			n := a.f.airHour
			out = append(out, a.line(g, fWo, "", v[fWo], []*air{p.loft, p.outdoor, p.indoor},
				"The loft follows %.0f %% (%s) of a quick change of outdoor humidity, about %.2g (%.2g to %.2g) air changes an "+
					"hour; an aired loft follows 40-80 %%, a shut one under 20 %%.",
				100*math.Max(v[fWo], 0), a.percentGive(fWo), n, n/2, n*2))
		} else if known(v[fSb]) {
			out = append(out, a.line(g, fSb, "", v[fSb], []*air{p.loft, p.outdoor, p.indoor},
				"From day to day wet wood or a source of its own, rather than outdoors, sets %.0f %% of the loft's vapour; an "+
					"aired loft shows under 30 %%.", 100*v[fSb]))
		}
	case groupHouse:
		if known(v[fHeat]) {
			out = append(out, a.line(g, fHeat, "", v[fHeat], []*air{p.loft, p.underlay, p.indoor},
				"At night the loft is %.1f K warmer than the underlay for %.1f K between house and loft (ratio %.3f, %s); over "+
					"0.045 points to warm air through the ceiling.",
				a.f.nightLU, a.f.nightIL, v[fHeat], a.give(fHeat, "", 3)))
		}
		if known(v[fWiZ]) {
			does := "does not answer"
			if v[fWiZ] > 1 {
				does = "answers"
			}
			out = append(out, a.line(g, fWiZ, "t", v[fWiZ], []*air{p.loft, p.indoor, p.outdoor},
				"Loft humidity %s indoor showers and cooking (t = %.1f).", does, v[fWiZ]))
		}
	case groupVoid:
		out = append(out, a.line(g, fVo, "", v[fVo], []*air{p.void, p.outdoor, p.loft},
			"The void follows %.0f %% (%s) of outdoor changes: %s.", 100*math.Max(v[fVo], 0), a.percentGive(fVo),
			voidWords(v[fVo], a.f.se[fVo], v[fWo])))
	case groupCovering:
		if known(v[fLHc]) {
			text := fmt.Sprintf("%.0f h of condensation a month (%s) at the covering; outdoor air alone would give %.0f of them",
				a.f.hc, a.give(fLHc, " h", 0), math.Max(a.f.hc-a.f.hca, 0))
			if known(a.f.hu) {
				text += fmt.Sprintf("; under the underlay it is %.0f h", a.f.hu)
			}
			e := a.line(g, fLHc, "h/30 d", a.f.hc, []*air{p.covering, p.void, p.outdoor}, "%s.", text)
			e.FromMS, e.UntilMS = a.busiestWeek(a.f.wetAtC)
			out = append(out, e)
		}
	case groupSky:
		if known(v[fUc]) {
			e := a.line(g, fUc, "K", v[fUc], []*air{p.covering, p.outdoor},
				"On clear nights the covering falls %.1f K (%s) below outdoor air; over 4 is strong cooling by the sky.", v[fUc],
				a.give(fUc, " K", 1))
			if _, at := quantile(a.f.fallK, 0.95); at >= 0 {
				e.FromMS, e.UntilMS = a.nightAround(at)
			}
			out = append(out, e)
		}
	case groupTime:
		if known(v[fDecay]) {
			out = append(out, a.line(g, fDecay, "1/30 d", v[fDecay], []*air{p.loft, p.outdoor},
				"At equal temperature the loft's excess changed by %+.0f %% a month (%s).", percentChange(v[fDecay]),
				a.percentGive(fDecay)))
		}
		if known(v[fDecayI]) {
			out = append(out, a.line(g, fDecayI, "1/30 d", v[fDecayI], []*air{p.indoor, p.outdoor},
				"At equal temperature the house's excess changed by %+.0f %% a month (%s).", percentChange(v[fDecayI]),
				a.percentGive(fDecayI)))
		}
	}
	return out
}

func percentChange(rate float64) float64 { return 100 * (math.Exp(math.Min(rate, 5)) - 1) }

// moreOrLess words a difference of vapour pressures: 32 Pa (+-42) more.
func (a *assessment) moreOrLess(f feature) string {
	more := "more"
	if math.Round(a.f.value[f]) < 0 {
		more = "less"
	}
	return fmt.Sprintf("%.0f Pa (%s) %s", math.Abs(a.f.value[f]), a.give(f, "", 0), more)
}

// percentGive is give for a share or a rate, in per cent without a sign.
func (a *assessment) percentGive(f feature) string {
	if u := a.f.se[f]; known(u) {
		return fmt.Sprintf("+-%.0f", 200*u)
	}
	return "accuracy not known"
}

// The share of outdoor changes below which a void is called shut and above
// which aired.
const (
	shutBelow  = 0.15
	airedAbove = 0.35
	// A loft that follows this much of a quick outdoor change brings to a void
	// the same changes as outdoor air would, so that a low share of the void's
	// own does not show it shut. On simulated winters voids of 20 to 90 air
	// changes an hour had shares of -0.5 to 0.1 beside such lofts.
	loftHidesVoid = 0.35
	// A share further below nothing than this is no share: something else moves
	// the void.
	noShare = -0.1
)

const untold = "these readings do not tell whether it is shut or aired"

// voidWords say how far a void is aired, no more surely than the share, with
// twice its standard error, is known and than the loft lets it be seen; loft is
// the share of a quick outdoor change that the loft itself follows.
func voidWords(share, se, loft float64) string {
	low, high := share, share
	if known(se) {
		low, high = share-2*se, share+2*se
	}
	switch {
	case low < shutBelow && high > airedAbove:
		return untold
	case share < noShare:
		return untold
	case share < shutBelow && !known(loft):
		return "as a shut one does, but an aired one can look so too where the loft itself follows outdoors, which is not " +
			"known here"
	case share < shutBelow && loft >= loftHidesVoid:
		return "as a shut one does, but an aired one can look so too where the loft itself follows outdoors, as here"
	case high < shutBelow:
		return "it is shut"
	case low > airedAbove:
		return "it is aired"
	case share < shutBelow:
		return "it is shut or nearly so"
	case share > airedAbove:
		return "it is aired or nearly so"
	}
	return "it is between shut and aired"
}

// busiestWeek is the week with most of something, for the page to open.
func (a *assessment) busiestWeek(x []float64) (fromMS, untilMS int64) {
	const week = 7 * 24
	if len(x) <= week {
		return a.g.fromMS(), a.g.untilMS()
	}
	sum := make([]float64, len(x)+1)
	for i, v := range x {
		sum[i+1] = sum[i]
		if known(v) {
			sum[i+1] += v
		}
	}
	at := 0
	for i := 0; i+week <= len(x); i += 24 {
		if sum[i+week]-sum[i] > sum[at+week]-sum[at]+1e-9 {
			at = i
		}
	}
	return a.g.edgeMS(at), a.g.edgeMS(at + week)
}

// nightAround is the noon-to-noon night of a sample.
func (a *assessment) nightAround(k int) (fromMS, untilMS int64) {
	lo, hi := k, k
	for lo > 0 && a.nightOf[lo-1] == a.nightOf[k] {
		lo--
	}
	for hi < len(a.nightOf)-1 && a.nightOf[hi+1] == a.nightOf[k] {
		hi++
	}
	return a.g.edgeMS(lo), a.g.edgeMS(hi + 1)
}
