package repair

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/words"
)

// judge looks at one surface around one repair, as often as the rule asks.
type judge struct {
	s        *site
	m        measured
	bins     []bin
	loftCols regressors
	airCols  regressors
	terms    terms
	start    int
	doubt    int // bins, of an uncertain repair time
	dice     dice
	draws    int
	witness  Witness // nil for none
	swapNear bool    // a logger of this air, surface or the loft changed within 7 days of the repair
	wander   [3]float64
	wandered bool
}

// look is one nightly evaluation: everything as of one noon.
type look struct {
	end       int
	trial     *trial
	fit       *fit
	bare      []bin
	gates     []Gate
	open      bool
	needs     string // of the first gate that is shut
	sample    sample
	with      *lane // at the optimum
	without   *lane
	spread    spread
	reduction effect // of condensing hours, per cent
	risk      effect
	riskFirm  effect // 99 % interval
	riskFair  effect // 80 % interval
	water     effect
	beyond    float64 // the fall of the wet hours as roofs react beyond the model
	companion companion
	lean      *float64      // of the witness on the ceiling; nil until asked for
	like      *effect       // risk, on nights with weather met before; nil until asked for
	likeDraws func() sample // the draws behind it
}

// effect is a fall in per cent with its interval.
type effect struct{ pct, low, high float64 }

// given is an effect as printed; nil where it is none.
func (e effect) given() *Effect {
	if math.IsNaN(e.pct+e.low+e.high) || math.IsInf(e.pct+e.low+e.high, 0) {
		return nil
	}
	return &Effect{tenth(e.pct), tenth(e.low), tenth(e.high)}
}

// tenth rounds once, where a figure is made; nothing is never minus nothing.
func tenth(x float64) float64 { return math.Round(x*10)/10 + 0 }

// companion sets the measured hours at risk against the model's own
// expectation, after against before, with no estimate of the change in it.
type companion struct {
	obsBefore, obsAfter, expBefore, expAfter float64
	q                                        float64
}

// Limits of the gates and the rule (method, sections 7 and 8).
const (
	minNights       = 14
	minWetH         = 20 // of the unrepaired run, within its interval
	maxSigmaK       = 0.8
	maxDrift        = 2.5 // ratio of modelled to counted hours, after over before
	minOverlap      = 5
	fairChance      = 0.9 // that a surface's fall needs to share in the house's
	minLikePart     = 0.5 // of the fall, on nights with weather met before
	minFallPct      = 20.0
	maxRisePct      = 30.0 // of the condensing hours, that a worked may leave possible
	maxFallPct      = 20.0 // the same of a got worse
	minCompanion    = 0.10
	worseNights     = 28
	minRisePct      = 10.0 // of the at-risk hours, for a got worse
	runWorked       = 3
	runWorse        = 7
	patienceNights  = 45
	smallEffectPct  = 40.0
	spreadLoft      = 0.6
	spreadOther     = 0.3
	surfaceSpreadK  = 0.05
	swapSpreadK     = 0.15
	swapNearMS      = 7 * 24 * 3600 * 1000
	winterOverC     = 8.0
	dryH            = 1.0 // wet hours of the unrepaired run: less, and no water formed in this weather
	companionOffset = 10.0
	likeSteps       = 8
)

// How much less the model reacts to a repair than roofs do, as factors on the
// logarithm of the fall with their spread. In weeks with a film the air is
// pinned near saturation, exchange is known from the gaps between them only, and
// what the loft dries by a ventilated void is booked on nobody. The method's own
// bed gave 1.2 +- 0.4 and about 1 for wet and at-risk hours, the simulator of
// this repository 1.3 and 1.2; the values lie between. No fall that is given is
// multiplied by them: they come of simulated roofs, and would make the most
// favourable figure the first. They widen the intervals, and are told by
// themselves (Correction).
const (
	correctionFrom           = "simulated roofs of two kinds, repaired and unrepaired in the same weather"
	wetGain, wetGainSpread   = 1.3, 0.45
	riskGain, riskGainSpread = 1.15, 0.3
	// Changes of loft and ceiling are shrunk more, since the season moves them
	// too: wet and at-risk hours alike.
	loftGain, loftWetSpread, loftRiskSpread = 1.5, 0.6, 0.5
	// What the count of wet hours misses besides, as a logarithm: always, and for
	// each unit of the largest credited change (chosen on 147 repaired winters of
	// this repository's simulator, of which 95 % were then covered).
	wetFloor, wetChange = 0.08, 0.06
)

// What the fall of the at-risk hours, and of the water, misses on the side of more,
// as a logarithm: always, and of the hours for each unit of the largest credited
// change. Where the model saw no change of a void or ceiling that had changed, its
// interval was too near to nothing: of 289 repaired winters' surfaces 27 had a
// greater fall of the at-risk hours than its end, and 28 of the water (chosen on
// them). The end towards no change, which verdicts rest on, is not moved.
const (
	riskMore, riskMoreChange = 0.06, 0.1
	waterMore                = 0.3
)

// ceilingLeast is the part of the least fall of the at-risk hours, as a logarithm,
// that is certain of ceiling work. A surface that outdoor air alone brings within 1 K
// of its dew point stays at risk whatever the house sends up; the model, which sees
// the loft dry, credits the ceiling with those hours too. Of 150 surfaces of this
// repository's simulator (seeds 16401 to 16480) 8 had fallen by less than the interval's
// least, 2 by less than a third of it.
const ceilingLeast = 0.25

// Condensed mass hangs on how far the exchange grew even where the hours do not:
// more ventilation also brings outdoor moisture to a cold covering on clear
// nights, and the model gives too much of it. On the simulator of this
// repository its film balance alone missed the logarithm of the fall by 0.34 on
// the mean and 0.34 beside it, with a stated error of about 0.2. So the
// interval reaches as far as that of a fall that leans on the wet hours' by
// waterLean, whose logarithm carries a further error of waterSpread for each unit
// of the largest credited change.
const (
	waterLean   = 0.6
	waterSpread = 0.3
)

// evaluate is one look at the record up to the bin end; from is an earlier fit
// to start from, nil for a cold one.
func (j *judge) evaluate(end int, from *fit, draws int) *look {
	t := newTrial(j.s, j.bins, j.terms, j.start, j.s.repairBin, end, j.doubt)
	l := &look{end: end, trial: t}
	if !j.countNights(l) {
		return l
	}
	l.fit = j.fitTo(t, from)
	l.bare = j.unrepaired(t)
	j.placebo(l)
	d := newDrawer(l.fit, l.bare)
	l.spread = j.spread()
	l.sample = d.sample(j.dice, draws, l.spread)
	l.likeDraws = sync.OnceValue(func() sample { return j.likeWeather(l) })
	w, o := d.central()
	l.with, l.without = w, o
	l.summarise(j.terms, l.largestChange())
	j.compare(l)
	j.judgeGates(l)
	return l
}

// countNights is gate 1, the only one that needs no fit.
func (j *judge) countNights(l *look) bool {
	t := l.trial
	b, a := len(t.validB), len(t.validA)
	g := Gate{Name: GateNights, Figure: fmt.Sprintf("%d before, %d after", b, a),
		Limit: fmt.Sprintf("%d before and %d after", minNights, minNights), Open: b >= minNights && a >= minNights}
	l.gates = append(l.gates, g)
	switch {
	case b == 0:
		l.needs = words.Need{Kind: words.NoNightsBefore}.String()
	case b < minNights:
		l.needs = words.Need{Kind: words.MoreBefore, Least: minNights, Have: b}.String()
	case a < minNights:
		l.needs = words.Need{Kind: words.MoreAfter, Least: minNights, Have: a, Left: j.terms.lockNights}.String()
	}
	return g.Open
}

func (j *judge) fitTo(t *trial, from *fit) *fit {
	f := newFit(t)
	if from != nil {
		f.take(from)
		f.rounds(1, 4)
		return f
	}
	f.minimise(startSteps)
	other := newFit(t)
	for k := range extraStarts {
		other.u = j.start0(t, k)
		other.minimise(startSteps)
		if other.cost < f.cost {
			f.u, f.cost = other.u, other.cost
		}
	}
	f.rounds(3, 12)
	return f
}

const (
	startSteps = 6

	extraStarts = 2
	startSpread = 0.7
)

// start0 is another place to start from: an optimum for a tight underlay beside
// the one for an open one, and some at random (the cost has several valleys).
func (j *judge) start0(t *trial, k int) vector {
	var u vector
	if k == 0 {
		u[pCoupling] = (-3 - t.pr[pCoupling].mean) / t.pr[pCoupling].sd
		u[pVoid] = (1 - t.pr[pVoid].mean) / t.pr[pVoid].sd
		return u
	}
	for i := range u {
		if t.pr[i].sd > 0 {
			u[i] = startSpread * j.dice.z[2*(k-1)%len(j.dice.z)][i]
		}
	}
	return u
}

// unrepaired are the drivers of the run without the repair.
func (j *judge) unrepaired(t *trial) []bin {
	bare := make([]bin, t.end)
	use := func(from, to int) func(int) bool {
		return func(k int) bool { return k >= from && k < to }
	}
	tt := j.s.unrepairedTemps(j.loftCols, j.airCols, use(t.start, t.lastBefore), use(t.firstAfter, t.end), t.repair, t.end)
	j.s.drive(bare, tt, t.repair, t.end, j.terms.wind)
	return bare
}

// placebo pretends a repair in the middle of the nights before, once: what the
// credited changes make of nothing widens every interval of this roof.
func (j *judge) placebo(l *look) {
	if j.wandered {
		return
	}
	j.wandered = true
	t := l.trial
	mid := j.s.nights[t.validB[len(t.validB)/2]].from
	p := newTrial(j.s, j.bins, j.terms, t.start, mid, t.lastBefore, 0)
	f := newFit(p)
	f.take(l.fit)
	f.u[pD], f.u[pC], f.u[pV], f.u[pLoftStep], f.u[pVoidStep] = 0, 0, 0, 0, 0
	f.rounds(2, 8)
	j.wander[0], j.wander[1], j.wander[2] = p.changes(&f.u)
}

// spread combines what roofs do by themselves with what this one did.
func (j *judge) spread() spread {
	s := spread{surfaceK: j.terms.structuralK}
	if j.swapNear {
		s.surfaceK = math.Max(s.surfaceK, swapSpreadK)
	}
	s0 := [3]float64{spreadLoft, spreadOther, spreadOther}
	if !j.s.hasIn {
		s0[0], s0[1] = 2*s0[0], 2*s0[1]
	}
	for k := range s0 {
		s0[k] *= j.terms.spreadScale
		if !j.s.hasLoft || j.s.station != nil {
			s0[k] *= 1.5
		}
		s.change[k] = math.Sqrt((2*s0[k]*s0[k] + j.wander[k]*j.wander[k]) / 3)
	}
	return s
}

func square(x float64) float64 { return x * x }

// fall turns a log ratio into a fall in per cent.
func fall(lnRatio float64) float64 { return 100 * (1 - math.Exp(lnRatio)) }

// summarise makes the falls and their intervals of the draws; change is the
// largest credited change.
func (l *look) summarise(tm terms, change float64) {
	s := &l.sample
	gain, gainSpread := tm.wetGains()
	m := gain * s.wetMean
	u := evidence.Z95 * math.Sqrt(square(gain*s.wetSD)+square(gainSpread*s.wetMean)+square(wetFloor)+
		square(wetChange*change))
	own := evidence.Z95 * math.Sqrt(square(s.wetSD)+square(wetFloor)+square(wetChange*change))
	l.reduction = plain(s.with.wetH, s.without.wetH, fall(math.Max(m+u, s.wetMean+own)),
		fall(math.Min(m-u, s.wetMean-own)))
	l.beyond = fall(m)
	wm := (1-waterLean)*s.waterMean + waterLean*m
	wu := evidence.Z95 * math.Hypot(s.waterSD, waterSpread*change)
	l.water = plain(s.with.water, s.without.water, fall(math.Max(wm, s.waterMean)+wu),
		fall(math.Min(wm, s.waterMean)-math.Hypot(wu, evidence.Z95*waterMore)))
	more := math.Hypot(riskMore, riskMoreChange*change)
	l.risk, l.riskFirm = s.riskFall(0.975).reaching(evidence.Z95*more), s.riskFall(0.995).reaching(evidence.Z99*more)
	l.riskFair = s.riskFall(fairChance)
	if tm.ofCeiling() {
		l.risk, l.riskFirm = l.risk.atLeast(ceilingLeast), l.riskFirm.atLeast(ceilingLeast)
	}
}

// atLeast is an effect of whose least change, where it has one, a part alone is
// certain. What the interval says of its sign stays.
func (e effect) atLeast(part float64) effect {
	switch {
	case e.low > 0:
		e.low = fall(part * math.Log(1-e.low/100))
	case e.high < 0:
		e.high = fall(part * math.Log(1-e.high/100))
	}
	return e
}

// reaching is an effect whose interval goes further towards a fall: by more, a
// logarithm that is independent of what it holds already.
func (e effect) reaching(more float64) effect {
	if e.high < 100 && e.pct < 100 {
		mid, far := math.Log(1-e.pct/100), math.Log(1-e.high/100)
		e.high = fall(mid - math.Hypot(mid-far, more))
	}
	return e
}

// largestChange is the greatest of the credited changes, as a logarithm.
func (l *look) largestChange() float64 {
	d, c, v := l.trial.changes(&l.fit.u)
	largest := 0.0
	for k, x := range [3]float64{d, c, v} {
		if l.trial.terms.credit[k] {
			largest = math.Max(largest, math.Abs(x))
		}
	}
	return largest
}

// compare counts what was measured against what the model expected.
func (j *judge) compare(l *look) {
	t := l.trial
	c := &l.companion
	c.obsBefore, c.obsAfter = sumOver(j.m.risk, t.useB), sumOver(j.m.risk, t.useA)
	c.expBefore = t.count(t.bins, l.with, t.useB).riskH
	c.expAfter = t.count(l.bare, l.without, t.useA).riskH
	c.weigh()
}

func (c *companion) weigh() {
	c.q = math.Log((c.obsAfter+companionOffset)/(c.expAfter+companionOffset)) - math.Log(
		(c.obsBefore+companionOffset)/(c.expBefore+companionOffset))
}

// judgeGates are gates 2 to 5.
func (j *judge) judgeGates(l *look) {
	t := l.trial
	add := func(name, figure, limit string, open bool, needs string) {
		l.gates = append(l.gates, Gate{Name: name, Figure: figure, Limit: limit, Open: open})
		if !open && l.needs == "" {
			l.needs = needs
		}
	}
	h0 := j.unrepairedWet(l)
	add(GateWeather, fmt.Sprintf("%.0f h would have been wet without the repair, %s h with 95 %% "+
		"certainty", h0.MeanH, words.Interval(h0.LowH, h0.HighH)), fmt.Sprintf("%d h within that", minWetH),
		h0.HighH >= minWetH, h0.String())
	o := &t.out[1]
	if j.s.onLoft {
		o = &t.out[0]
	}
	strange := words.Need{Kind: words.UsualPhysics}.String()
	add(GateFit, fmt.Sprintf("the model misses the air's dew point by %.2f K", o.sigma),
		fmt.Sprintf("at most %.1f K", maxSigmaK), o.sigma <= maxSigmaK, strange)
	mb, ma := t.count(t.bins, l.with, t.useB).wetH, t.count(t.bins, l.with, t.useA).wetH
	qb := (mb + 10) / (sumOver(j.m.wet, t.useB) + 10)
	qa := (ma + 10) / (sumOver(j.m.wet, t.useA) + 10)
	r := math.Max(qa/qb, qb/qa)
	add(GateSame, fmt.Sprintf("modelled over counted wet hours: %.2f before, %.2f after", qb, qa),
		fmt.Sprintf("a factor %.1f apart at most", maxDrift), r <= maxDrift, strange)
	n := j.overlap(t)
	add(GateLike, fmt.Sprintf("%s after the repair with weather met before it", words.Count(n, "night")),
		fmt.Sprintf("at least %d", minOverlap), n >= minOverlap,
		words.Need{Kind: words.LikeWeather}.String())
	l.open = true
	for _, g := range l.gates {
		l.open = l.open && g.Open
	}
}

// unrepairedWet is how long the roof, unrepaired, would have been wet since the
// repair, with the doubt of the model and of the loggers' accuracy, which moves
// the limit. A roof that was cured is dry in weather that would have wetted it:
// what is counted on it says nothing about the weather.
func (j *judge) unrepairedWet(l *look) words.Need {
	limitK := 0.0
	for _, k := range l.trial.useA {
		limitK += square(j.marginErrorK(int(k)))
	}
	limitK = math.Sqrt(limitK / float64(max(len(l.trial.useA), 1)))
	wet := make([]float64, len(l.sample.bare))
	for i, o := range l.sample.bare {
		wet[i] = clamp(o.wetH+limitK*j.dice.g[i]*(o.riskH-o.wetH), 0, o.riskH)
	}
	slices.Sort(wet)
	mean := l.sample.without.wetH
	n := words.Need{Kind: words.ColdWeather, Least: minWetH, MeanH: mean,
		LowH: math.Min(evidence.Quantile(wet, 0.025), mean), HighH: math.Max(evidence.Quantile(wet, 0.975), mean)}
	if n.HighH < dryH {
		n.Kind = words.AnyWeather
	}
	return n
}

// fewWet says that the unrepaired roof is not expected to have been wet for long
// enough that a fall of its wet hours, or of the water, could be given.
func (l *look) fewWet() bool { return l.sample.without.wetH < minWetH }

// overlap counts nights after whose temperature and clearness lie inside the
// 2..98 % range of those before.
func (j *judge) overlap(t *trial) int { return len(j.alikeNights(t)) }

func (j *judge) alikeNights(t *trial) []int {
	loT, hiT := j.range98(t.validB, func(n night) float64 { return n.outC })
	loK, hiK := j.range98(t.validB, func(n night) float64 { return n.clearK })
	var out []int
	for _, i := range t.validA {
		x := j.s.nights[i]
		if x.outC >= loT && x.outC <= hiT && (!j.s.hasCover || x.clearK >= loK && x.clearK <= hiK) {
			out = append(out, i)
		}
	}
	return out
}

// metShare is the part of the at-risk hours without the repair that falls on
// nights with weather met before it.
func (j *judge) metShare(l *look) float64 {
	all := l.trial.count(l.bare, l.without, l.trial.useA).riskH
	met := 0.0
	for _, i := range j.alikeNights(l.trial) {
		met += l.trial.count(l.bare, l.without, l.trial.binsOf(i)).riskH
	}
	return met / math.Max(all, 1)
}

func (j *judge) range98(nights []int, get func(night) float64) (lo, hi float64) {
	v := make([]float64, 0, len(nights))
	for _, i := range nights {
		v = append(v, get(j.s.nights[i]))
	}
	slices.Sort(v)
	return evidence.Quantile(v, 0.02), evidence.Quantile(v, 0.98)
}

// straddles says that the sign of the at-risk fall is open: its 95 % interval
// takes in 0.
func (l *look) straddles() bool {
	return l.risk.low <= 0 && l.risk.high >= 0
}
