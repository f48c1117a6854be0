package repair

import (
	"slices"

	"dewcase/internal/roof"
)

// strict says that a logger was exchanged at the repair, or that nobody measured
// indoors, where a changed household passes for a repair: the fall must then be
// certain to 99.5 %. For loft and ceiling work, where the method asks that too,
// the nights of like weather are asked instead: on two measured roofs the sterner
// quantile let false verdicts through and the nights did not, and on 170
// simulated winters without work neither was needed, while of 20 strong repairs
// of loft vents the quantile, which hangs on one draw in two hundred, found none.
//
// Where a weather station stands in for outdoor air the same is asked: its own
// errors move with the weather as a roof's do.
func (j *judge) strict() bool { return j.swapNear || j.s != nil && (!j.s.hasIn || j.s.station != nil) }

// SignWitness tells by something other than humidity whether an exchange of the
// roof's air has changed.
type SignWitness interface {
	// Sign is by how many standard errors the exchange has grown since the repair
	// (below 0: shrunk), by the readings before untilMS; 0 where it cannot be told.
	Sign(e roof.Event, surface roof.Position, exchange roof.Change, untilMS int64) float64
}

// leastWitness is from where on a witness counts, in standard errors.
const leastWitness = 1.0

// seconded asks the second witness about the one change that the work is credited
// with: the loft's exchange, that must have grown, or the ceiling's flow, that
// must have shrunk. Where several are credited it cannot say which made the fall.
func (j *judge) seconded(l *look) bool {
	sign := func(q roof.Change) float64 {
		return j.witness.Sign(j.s.event, j.s.surface.Position, q, j.s.at(l.end))
	}
	switch {
	case j.witness == nil:
		return false
	case j.terms.credit == [3]bool{true, false, false}:
		return sign(roof.LoftVentilation) >= leastWitness
	case j.terms.credit == [3]bool{false, true, false}:
		return sign(roof.CeilingChange) <= -leastWitness
	}
	return false
}

// certain says that the fall of the at-risk hours is sure enough: to 97.5 %, or
// 99.5 % where strict; where the loft's temperature shows the same change by
// itself, to 90 % and 97.5 %. The two witnesses share no reading but outdoor and
// indoor temperature: both err together less often than one alone.
func (j *judge) certain(l *look) bool {
	second := l.riskFair
	if j.strict() {
		second = l.risk
	}
	return j.alone(l) || l.witnessed && second.low > 0
}

// alone says that the fall is certain by the humidity alone.
func (j *judge) alone(l *look) bool {
	if j.strict() {
		return l.riskFirm.low > 0
	}
	return l.risk.low > 0
}

// wetSide says that the wet hours cannot well have risen. A well-ventilated void
// also brings outdoor moisture to a cold covering on clear nights, so that
// condensing hours can rise while at-risk hours fall: there the interval of the
// former must keep off a rise of three tenths (of 227 simulated void repairs one
// that raised the wet hours by over 5 % passes, as at two tenths, and 26 instead of
// 24 of the 30 that halved them). Less house air in the loft has no such second
// side: its wet and at-risk hours go the same way, and the interval is asked only
// where there are few wet hours to tell by.
func (j *judge) wetSide(l *look) bool {
	return !j.terms.credit[2] && !l.fewWet() || l.reduction.low >= -maxRisePct
}

// worked is the rule of one evening.
func (j *judge) worked(l *look) bool {
	return l != nil && l.open && j.certain(l) && l.reduction.pct >= minFallPct && j.wetSide(l) &&
		l.companion.q <= -minCompanion && j.holdsInLikeWeather(l)
}

func (j *judge) worse(l *look) bool {
	return l != nil && l.open && len(l.trial.validA) >= worseNights && l.riskFirm.high < 0 &&
		l.reduction.pct <= -minFallPct && l.reduction.high <= maxFallPct && l.companion.q >= minCompanion &&
		!j.swapNear && j.holdsInLikeWeather(l)
}

// holdsInLikeWeather asks, where the loft or the ceiling is credited, whether a
// refit to the nights after the repair that met weather known from before shows
// the same change: certain to 97.5 % (a fall that the loft's temperature
// witnesses needs no certainty of its own there) and at least half as large.
// On a measured roof that nobody touched, weeks of hard frost after a mild autumn
// passed for a tighter ceiling (fall 32 to 37 %); the nights like those before
// showed 1 to 10 % [-8, 19]. Ceilings truly sealed in simulated roofs showed as
// much there as in all nights, or more.
func (j *judge) holdsInLikeWeather(l *look) bool {
	if !j.terms.ofLoft() {
		return true
	}
	if l.like == nil {
		like := l.likeDraws()
		e := like.riskFall(0.975)
		l.like = &e
	}
	if l.risk.pct > 0 {
		return (l.witnessed || l.like.low > 0) && l.like.pct >= minLikePart*l.risk.pct
	}
	return l.like.high < 0 && l.like.pct <= minLikePart*l.risk.pct
}

// likeWeather is the fall of the at-risk hours when the nights after the repair
// with weather not met before are left out of fit and count.
func (j *judge) likeWeather(l *look) sample {
	like := j.alikeNights(l.trial)
	if len(like) < minOverlap {
		return sample{}
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
	return newDrawer(f, o.unrepaired(t)).sample(j.dice, j.draws, l.spread)
}
