package cause

import (
	"fmt"
	"math"

	"dewcase/internal/words"
)

// seen is a line of the survey.
func (a *assessment) seen(text string) Evidence {
	return Evidence{Text: "survey: " + text, Basis: "survey", Group: "survey", FromMS: a.g.fromMS(),
		UntilMS: a.g.untilMS()}
}

// ofNothing are the figures of which 0 says that there is nothing: no excess, no
// exchange, no trend.
var ofNothing = [features]bool{fEl: true, fElB: true, fSrc: true, fWo: true, fWiZ: true, fVo: true, fRt: true,
	fDecay: true, fDecayI: true}

// NearZero is said of a figure that its accuracy does not tell from 0. The scales
// of the table hold the loggers' errors already, so that the weight beside it is
// that of a figure known no better; it still weighs where other causes would put
// the figure far from 0.
const NearZero = " Its accuracy does not tell it from zero; it weighs because other causes would put it elsewhere."

// sentence is the line of one figure.
func (a *assessment) sentence(f feature) Evidence {
	text, unit, parts := a.told(f)
	e := Evidence{Text: text, Basis: "measured", Group: groupNames[about(f).group], Feature: about(f).id, Unit: unit,
		FromMS: a.g.fromMS(), UntilMS: a.g.untilMS()}
	figure, u := a.figure(f)
	figure = math.Round(1e4*figure) / 1e4
	e.Figure = &figure
	if known(u) {
		u = math.Round(2e4*u) / 1e4
		e.Accuracy = &u
		if ofNothing[f] && math.Abs(figure) <= u {
			e.NearZero = true
			e.Text += NearZero
		}
	}
	switch f {
	case fLHc, fWhere:
		e.FromMS, e.UntilMS = a.busiestWeek(a.f.wetAtC)
	case fLHu:
		e.FromMS, e.UntilMS = a.busiestWeek(a.f.wetAtU)
	case fUc:
		if _, at := quantile(a.f.fallK, 0.95); at >= 0 {
			e.FromMS, e.UntilMS = a.nightAround(at)
		}
	}
	e.Nights = a.nightsSeen(parts)
	for _, p := range parts {
		e.Positions = append(e.Positions, p.ids...)
	}
	return e
}

// figure is what a line quotes, with its standard uncertainty: hours where the
// method scores their logarithm, a share where it scores its t value.
func (a *assessment) figure(f feature) (x, u float64) {
	x, u = a.f.value[f], a.f.se[f]
	switch f {
	case fLHc:
		x = a.f.hc
	case fLHu:
		x = a.f.hu
	case fLflux:
		x = math.Exp(x) - 2
	case fWiZ:
		x, u = a.f.fast.wi, math.Abs(a.f.fast.wi/a.f.value[f])
	}
	return x, u
}

// nightsSeen counts the nights of which all the courses were seen for half.
func (a *assessment) nightsSeen(parts []*air) (nights int) {
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
			nights++
		}
	}
	return nights
}

// give formats an accuracy, or says that it is not known.
func (a *assessment) give(f feature, unit string, decimals int) string {
	u := a.f.se[f]
	if !known(u) {
		return "accuracy not known"
	}
	return words.Give(2*u, decimals, unit)
}

// told is the sentence on one figure, with its unit and the courses it is made of.
func (a *assessment) told(f feature) (text, unit string, of []*air) {
	v, p := a.f.value, a.p
	x := v[f]
	say := func(format string, args ...any) string { return words.Typeset(fmt.Sprintf(format, args...)) }
	switch f {
	case fEl:
		return say("Loft air held %s vapour than outdoors over %.0f days; a dry loft holds under 25 Pa more, a moist one "+
			"over 90.", a.moreOrLess(f), a.g.days()), "Pa", []*air{p.loft, p.outdoor}
	case fLflux:
		return say("By that and its exchange of air the loft gives off about %.1f g of moisture a day for each cubic "+
			"metre; a "+
			"dry one gives off under 2, a moist one about 8.", math.Exp(x)-2), "g/(m3 d)", []*air{p.loft, p.outdoor, p.indoor}
	case fSrc:
		mix := x - v[fEl]/math.Max(a.f.eiPa, 40)
		text = say("The loft holds %s %% (%s) of what the house's air has above outdoors; what it takes in of house air "+
			"explains "+
			"%s %%",
			words.Whole(100*(x-mix)), a.percentGive(f), words.Whole(-100*mix))
		if x > 0.2 {
			text += ", the rest needs another source"
		}
		return text + ".", "", []*air{p.loft, p.indoor, p.outdoor}
	case fLHu:
		return say("Under the underlay it is below the dew point over water for %.0f h a month (%s; frost forms above it "+
				"too); a sound roof shows a few, a moist loft over 100.", a.f.hu, a.give(f, " h", 0)),
			"h/30 d", []*air{p.underlay, p.loft}
	case fRH90:
		return say("Loft air stood above 90 %%RH for %.0f h a month (%s); a dry loft shows about 60, a moist one over 450.",
			x, a.give(f, " h", 0)), "h/30 d", []*air{p.loft}
	case fElB:
		return say("The loft holds %s vapour than the batten void; where loft moisture feeds the void the two differ by "+
			"less than 30.", a.moreOrLess(f)), "Pa", []*air{p.loft, p.void}
	case fWo:
		n := a.f.airHour
		return say("The loft follows %.0f %% (%s) of a quick change of outdoor humidity, about %.2g (%.2g to %.2g) air "+
				"changes "+
				"an hour; an aired loft follows 40 to 80 %%, a shut one under 20 %%.",
				100*math.Max(x, 0), a.percentGive(f), n, n/2, n*2), "",
			[]*air{p.loft, p.outdoor, p.indoor}
	case fSb:
		return say("From day to day wet wood or a source of its own, rather than outdoors, sets %.0f %% of the loft's "+
			"vapour; "+
			"an aired loft shows under 30 %%.", 100*x), "", []*air{p.loft, p.outdoor, p.indoor}
	case fHeat:
		warmer := "warmer"
		if math.Round(10*a.f.nightLU) < 0 {
			warmer = "colder"
		}
		return say("At night the loft is %.1f K %s than the underlay for %.1f K between house and loft (ratio %.3f, %s); "+
				"over 0.045 points to warm air through the ceiling.", math.Abs(a.f.nightLU), warmer, a.f.nightIL, x,
				a.give(f, "", 3)), "",
			[]*air{p.loft, p.underlay, p.indoor}
	case fWiZ:
		share, u := a.figure(f)
		give := "accuracy not known"
		if known(u) {
			give = words.Give(200*u, 1, "")
		}
		return say("The loft follows %.1f %% (%s) of a quick change of the house's humidity, as by showers and cooking.",
			100*share, give), "", []*air{p.loft, p.indoor, p.outdoor}
	case fVo:
		return say("The void follows %.0f %% (%s) of outdoor changes: %s.", 100*math.Max(x, 0), a.percentGive(f),
			voidWords(x, a.f.se[f], v[fWo])), "", []*air{p.void, p.outdoor, p.loft}
	case fLHc:
		return say("At the covering it is below the dew point over water for %.0f h a month (%s; frost forms above it "+
				"too); outdoor air alone explains about %.0f of them.", a.f.hc, a.give(f, " h", 0),
				math.Max(a.f.hc-a.f.hca, 0)),
			"h/30 d", []*air{p.covering, p.void, p.outdoor}
	case fWhere:
		return say("Beyond what outdoor air gives, it is below the dew point over water for %.0f h a month at the "+
				"covering, and for %.0f h under the underlay.", a.f.hca, a.f.hu),
			"", []*air{p.covering, p.void, p.underlay, p.loft, p.outdoor}
	case fUc:
		return say("On clear nights the covering falls %.1f K (%s) below outdoor air; over 4 is strong cooling by the sky.",
			x, a.give(f, " K", 1)), "K", []*air{p.covering, p.outdoor}
	case fRt:
		return say("Over the record the loft's vapour above outdoors went with time by a rank correlation of %s (%s).",
			words.Weight(x), a.give(f, "", 2)), "", []*air{p.loft, p.outdoor}
	case fDecay:
		return say("At equal temperature the loft's vapour above outdoors %s.", grew(x,
			a.percentGive(f))), "1/30 d", []*air{p.loft, p.outdoor}
	default:
		return say("At equal temperature the house's vapour above outdoors %s.", grew(x,
			a.percentGive(f))), "1/30 d", []*air{p.indoor, p.outdoor}
	}
}

// grew says how much something changed by in a month at a rate,
// and how surely that is known.
func grew(rate float64, give string) string {
	pct := 100 * (math.Exp(math.Min(rate, 5)) - 1)
	if way := words.WayOf(-pct); way != words.Same {
		return fmt.Sprintf("%s by %s %% a month (%s)", way, words.Whole(math.Abs(pct)), give)
	}
	return "stayed the same from month to month (" + give + ")"
}

// moreOrLess words a difference of vapour pressures: 32 Pa (±42) more.
func (a *assessment) moreOrLess(f feature) string {
	more := "more"
	if math.Round(a.f.value[f]) < 0 {
		more = "less"
	}
	return fmt.Sprintf("%s Pa (%s) %s", words.Whole(math.Abs(a.f.value[f])), a.give(f, "", 0), more)
}

// percentGive is give for a share or a rate, in per cent without a sign.
func (a *assessment) percentGive(f feature) string {
	if u := a.f.se[f]; known(u) {
		return words.Give(200*u, 0, "")
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
