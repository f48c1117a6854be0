package repair

import (
	"slices"
)

// strict says that a logger was exchanged at the repair, or that nobody measured
// indoors, where a changed household passes for a repair: the fall must then be
// certain to 99.5 %. For loft and ceiling work, where the method asks that too,
// the nights of like weather are asked instead: on two measured roofs the sterner
// quantile let false verdicts through and the nights did not, and on 170
// simulated winters without work neither was needed, while of 20 strong repairs
// of loft vents the quantile, which hangs on one draw in two hundred, found none.
func (j *judge) strict() bool { return j.swapNear || j.s != nil && !j.s.hasIn }

// worked is the rule of one evening. A well-ventilated void also brings outdoor
// moisture to a cold covering on clear nights, so that condensing hours can rise
// while at-risk hours fall: the interval of the former must keep off a rise of
// more than a fifth (of 200 simulated void repairs that took away two of four
// verdicts where the hours had risen, and two of 80 where they had fallen).
func (j *judge) worked(l *look) bool {
	if l == nil || !l.open {
		return false
	}
	low := l.risk.low
	if j.strict() {
		low = l.riskFirm.low
	}
	return low > 0 && l.reduction.pct >= minFallPct && l.reduction.low >= -maxRisePct &&
		l.companion.q <= -minCompanion && j.holdsInLikeWeather(l)
}

func (j *judge) worse(l *look) bool {
	return l != nil && l.open && len(l.trial.validA) >= worseNights && l.riskFirm.high < 0 &&
		l.reduction.pct <= -minFallPct && l.reduction.high <= maxRisePct && l.companion.q >= minCompanion &&
		!j.swapNear && j.holdsInLikeWeather(l)
}

// holdsInLikeWeather asks, where the loft or the ceiling is credited, whether a
// refit to the nights after the repair that met weather known from before shows
// the same change: certain to 97.5 % and at least half as large.
// On a measured roof that nobody touched, weeks of hard frost after a mild autumn
// passed for a tighter ceiling (fall 32 to 37 %); the nights like those before
// showed 1 to 10 % [-8, 19]. Ceilings truly sealed in simulated roofs showed as
// much there as in all nights, or more.
func (j *judge) holdsInLikeWeather(l *look) bool {
	if !j.terms.credit[0] && !j.terms.credit[1] {
		return true
	}
	if l.like == nil {
		e := j.likeWeather(l)
		l.like = &e
	}
	if l.risk.pct > 0 {
		return l.like.low > 0 && l.like.pct >= minLikePart*l.risk.pct
	}
	return l.like.high < 0 && l.like.pct <= minLikePart*l.risk.pct
}

// likeWeather is the fall of the at-risk hours when the nights after the repair
// with weather not met before are left out of fit and count.
func (j *judge) likeWeather(l *look) effect {
	like := j.alikeNights(l.trial)
	if len(like) < minOverlap {
		return effect{low: -100, high: 100}
	}
	out := map[int32]bool{}
	for _, i := range l.trial.validA {
		out[int32(i)] = !slices.Contains(like, i)
	}
	o := *j
	o.terms.leaveOut = out
	t := newTrial(j.s, j.bins, o.terms, j.start, j.s.repairBin, l.end, j.doubt)
	f := newFit(t)
	f.take(l.fit)
	f.rounds(1, likeSteps)
	s := newDrawer(f, o.unrepaired(t)).sample(j.dice, j.draws, l.spread)
	return s.riskFall(0.975)
}
