package repair

import (
	"fmt"
	"math"
	"slices"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

const (
	influentialNights = 10
	variantSteps      = 5
	variantDraws      = 80
)

// sensitivity does the same otherwise, one thing at a time, each a refit from
// the optimum. A row that turns the sign round takes a firm verdict back.
func (a *assessor) sensitivity(r *Result, j *judge, l *look) {
	sign := 1.0
	if r.Verdict == GotWorse {
		sign = -1
	}
	add := func(what string, fallPct float64, ok bool, why string) {
		v := Variant{What: what, Why: why}
		if ok {
			pct := tenth(fallPct)
			v.RiskFallPct = &pct
			v.Flips = fallPct*sign < 0
		}
		r.Sensitivity = append(r.Sensitivity, v)
	}
	vary := func(what string, change func(*terms)) {
		tm := j.terms
		change(&tm)
		f, ok := j.refit(l, tm)
		add(what, f, ok, "")
	}
	vary(fmt.Sprintf("without the %d nights that speak most for it", influentialNights),
		func(t *terms) { t.leaveOut = j.influential(l, sign) })
	for o, c := range [2]*series.Course{j.s.loftCourse, j.s.voidCourse} {
		if c == nil || o == 1 && !j.s.hasVoid || o == 0 && !j.s.hasLoft {
			continue
		}
		lim := accuracyOf(c, roof.RHPct, 2)
		vary(fmt.Sprintf("humidity of %s read %s %%", c.Position.ID, words.Plus(lim, 1)),
			func(t *terms) { t.shiftPct[o] = lim })
		vary(fmt.Sprintf("humidity of %s read %s %%", c.Position.ID, words.Plus(-lim, 1)),
			func(t *terms) { t.shiftPct[o] = -lim })
	}
	lim := accuracyOf(j.s.surface, roof.TempC, 0.3)
	for _, k := range []float64{lim, -lim} {
		f, ok := j.refitShifted(l, k)
		add(fmt.Sprintf("temperature of %s read %s K", r.Surface, words.Plus(k, 1)), f, ok, "")
	}
	if j.s.wind.any {
		f, ok := j.refitWind(l)
		add("with the station's wind", f, ok, "")
	}
	if j.s.hasIn {
		f, ok := a.blind(j, l)
		add("without the indoor logger", f, ok, "")
	}
	vary("no nights left out after the repair", func(t *terms) { t.lockNights = 0 })
	vary("8 nights left out after the repair", func(t *terms) { t.lockNights = 8 })
	vary("only the later half of the nights before", func(t *terms) { t.laterHalf = true })
	vary("all three changes credited", func(t *terms) { t.credit = [3]bool{true, true, j.s.hasVoid} })
	vary("sunny hours counted in full", func(t *terms) { t.sunWeight = 1 })
	vary("loggers allowed to drift twice as much", func(t *terms) { t.driftScale = 2 })
	wide := l.spread
	for k := range wide.change {
		wide.change[k] *= 1.5
	}
	a.interval(r, l, j, "changes that come of themselves half as large again", wide)
	wide = l.spread
	wide.surfaceK = math.Max(wide.surfaceK, 0.1)
	a.interval(r, l, j, "surface temperatures less certain (0.1 K)", wide)
	for _, v := range r.Sensitivity {
		if v.Flips {
			r.Verdict = NoChangeShown
			r.Reason = "the sign of the change hangs on one choice: " + v.What
			return
		}
	}
}

// interval adds a row that leaves the estimate and widens its interval.
func (a *assessor) interval(r *Result, l *look, j *judge, what string, sp spread) {
	d := newDrawer(l.fit, l.bare)
	s := d.sample(j.dice, variantDraws, sp)
	pct, low, high := s.riskFall(0.975).given().parts()
	r.Sensitivity = append(r.Sensitivity, Variant{What: what, RiskFallPct: pct, LowPct: low, HighPct: high})
}

// refit repeats the fit from the optimum under other terms and gives the fall of
// the at-risk hours there.
func (j *judge) refit(l *look, tm terms) (float64, bool) {
	o := *j
	o.terms = tm
	return o.refitWith(l)
}

func (j *judge) refitWith(l *look) (float64, bool) {
	t := newTrial(j.s, j.bins, j.terms, j.start, j.s.repairBin, l.end, j.doubt)
	if len(t.validB) < minNights/2 || len(t.validA) < minNights/2 {
		return 0, false
	}
	f := newFit(t)
	f.take(l.fit)
	f.minimise(variantSteps)
	d := newDrawer(f, j.unrepaired(t))
	w, o := d.central()
	a, b := t.count(t.bins, w, t.useA), t.count(d.bare, o, t.useA)
	return plain(a.riskH, b.riskH, 0, 0).pct, b.riskH > 0
}

// refitShifted moves the judged surface's temperature.
func (j *judge) refitShifted(l *look, k float64) (float64, bool) {
	o := *j
	s := *j.s
	move := func(c channel) channel {
		v := make([]float64, len(c.v))
		for i := range v {
			v[i] = c.v[i] + k
		}
		return channel{v: v, seen: c.seen, any: c.any}
	}
	if s.onLoft {
		s.lay = move(s.lay)
	} else {
		s.cover = move(s.cover)
	}
	o.s = &s
	o.prepareDrivers()
	return o.refitWith(l)
}

func (j *judge) refitWind(l *look) (float64, bool) {
	o := *j
	o.terms.wind = true
	o.prepareDrivers()
	return o.refitWith(l)
}

// blind repeats the fit as if nobody had measured indoors.
func (a *assessor) blind(j *judge, l *look) (float64, bool) {
	o := *j
	s := *j.s
	s.hasIn = false
	s.in = guessedIndoors(s.out)
	o.s = &s
	o.prepareDrivers()
	return o.refitWith(l)
}

// accuracyOf is the largest stated limit of a position's loggers, or the usual
// one where none is stated.
func accuracyOf(c *series.Course, q roof.Quantity, usual float64) float64 {
	x := 0.0
	for _, st := range c.Stints {
		if e, ok := evidence.ErrorOf(st, q); ok {
			x = math.Max(x, e.HalfWidth())
		}
	}
	if x == 0 {
		return usual
	}
	return x
}

// influential are the nights after the repair whose absence would move the fall
// furthest against the verdict.
func (j *judge) influential(l *look, sign float64) map[int32]bool {
	t := l.trial
	whole, bare := t.count(t.bins, l.with, t.useA), t.count(l.bare, l.without, t.useA)
	type pull struct {
		night int
		by    float64
	}
	var all []pull
	for _, i := range t.validA {
		use := t.binsOf(i)
		w, o := t.count(t.bins, l.with, use), t.count(l.bare, l.without, use)
		rest := math.Log((whole.riskH - w.riskH + fewHours) / (bare.riskH - o.riskH + fewHours))
		all = append(all, pull{i, sign * rest})
	}
	slices.SortStableFunc(all, func(a, b pull) int {
		switch {
		case a.by > b.by:
			return -1
		case a.by < b.by:
			return 1
		}
		return a.night - b.night
	})
	out := map[int32]bool{}
	for _, p := range all[:min(len(all), influentialNights)] {
		out[int32(p.night)] = true
	}
	return out
}

// binsOf are the counted bins of one night after the repair.
func (t *trial) binsOf(night int) []int32 {
	n := t.s.nights[night]
	lo, _ := slices.BinarySearch(t.useA, int32(n.from))
	hi, _ := slices.BinarySearch(t.useA, int32(n.until))
	return t.useA[lo:hi]
}
