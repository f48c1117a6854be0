//go:build trials

package mechanism

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// trial is what one winter answered on one quantity.
type trial struct {
	seed    uint64
	truth   float64
	ever    int     // evening at which changed stood first, 0 never
	sign    float64 // of the change then
	held    bool    // at the last evening
	at30    factor
	unshown bool // at 30 nights: a large change excluded (void, ceiling)
}

// TestTrials measures the operating figures of one quantity on simulated winters,
// looked at every evening (void) or every third (loft and ceiling), one line a
// winter. TRIAL_WHAT is the quantity declared, TRIAL_WORK what was done (see the
// work constants), TRIAL_FROM and TRIAL_TO the seeds; TRIAL_BLIND leaves out what is
// logged outdoors (void), TRIAL_WITHOUT a place (indoor_air, say), and TRIAL_STATION
// puts a weather station in the outdoor logger's stead.
func TestTrials(t *testing.T) {
	number := func(key string, usual int) int {
		if n, err := strconv.Atoi(os.Getenv(key)); err == nil {
			return n
		}
		return usual
	}
	w, what := work(os.Getenv("TRIAL_WORK")), roof.Change(os.Getenv("TRIAL_WHAT"))
	if w == "" {
		w = noWork
	}
	if what == "" {
		what = roof.VoidVentilation
	}
	var all []trial
	for seed := uint64(number("TRIAL_FROM", 1)); seed <= uint64(number("TRIAL_TO", 20)); seed++ {
		s := simulate(t, seed, w, what)
		x, ok := s.try(what)
		if !ok {
			fmt.Printf("%d not judged\n", seed)
			continue
		}
		x.seed = seed
		all = append(all, x)
		fmt.Printf("%d truth %.2f ever %d sign %+.0f held %v at30 %.2f (%.2f to %.2f) unshown %v\n", seed, x.truth, x.ever,
			x.sign, x.held, x.at30.mid, x.at30.low, x.at30.high, x.unshown)
	}
	fmt.Printf("%s, %s declared, seeds to %d\n%s", w, what, number("TRIAL_TO", 20), table(all))
}

func (s *simulated) try(what roof.Change) (x trial, ok bool) {
	a := newAssessor(s.set)
	x.truth = s.factor[what]
	if what != roof.VoidVentilation {
		ok = s.tryPair(a, what, &x)
		return x, ok
	}
	surface, _ := s.set.Case.Position("slate")
	var r Result
	cover, air := a.voidOf(s.event, surface)
	v := a.lookAtVoid(s.event, cover, air, &r)
	if os.Getenv("TRIAL_BLIND") != "" {
		return x, a.tryBlind(s.event, cover, air, &x)
	}
	if v == nil {
		return x, false
	}
	if n := firstRun(len(v.evenings), v.holds); n > 0 {
		x.ever, x.sign = n-1+firstVoidNight, math.Copysign(1, v.at(n-1).w.ln)
	}
	x.held, _ = steady(len(v.evenings), v.holds, v.falls)
	if i := 30 - firstVoidNight; i < len(v.evenings) && v.at(i).w.ok {
		x.at30 = v.factor(&v.at(i).w)
		x.unshown = x.at30.within(voidUnshown)
	}
	return x, true
}

// tryBlind is the same of a void without outdoor air.
func (a *assessor) tryBlind(e roof.Event, cover, air *series.Course, x *trial) bool {
	fromMS, untilMS := repair.Window(a.set, e, cover.Position)
	rec := newRecord(e.At.UnixMilli(), fromMS, untilMS, e.Uncertain.Milliseconds())
	one := func(c *series.Course) *column { return rec.temperature([]*series.Course{c}) }
	airC, coverC, loft := one(air), one(cover), rec.temperature(a.best(roof.LoftAir, fromMS, untilMS))
	var r Result
	if !a.asked(e, cover, air, &rec, coverC, airC, &r) || loft == nil {
		return false
	}
	b := newBlindLooks(&rec, airC, coverC, loft)
	if n := firstRun(len(b.evenings), b.holds); n > 0 {
		x.ever, x.sign = n-1+firstVoidNight, math.Copysign(1, b.at(n-1).response.ln)
	}
	x.held, _ = steady(len(b.evenings), b.holds, b.falls)
	return true
}

// tryPair is the same of loft and ceiling.
func (s *simulated) tryPair(a *assessor, what roof.Change, x *trial) bool {
	p := a.pairOf(s.event)
	if p.looks == nil || p.looks.follow() == nil {
		return false
	}
	part := loftPart
	if what == roof.CeilingChange {
		part = ceilingPart
	}
	v := p.looks
	if n := firstRun(len(v.looks), func(i int) bool { return math.Abs(v.z(i, part)) > pairZ }); n > 0 {
		x.ever, x.sign = v.night(n-1), math.Copysign(1, v.z(n-1, part))
	}
	x.held, _ = v.stands(part)
	if s.winter == s.twin {
		return true // spares a fit
	}
	i := (30 - firstPairNight) / pairNights
	x.at30, _ = v.factor(i, part)
	_, witness := v.heat(i, part)
	x.unshown = witness && part == ceilingPart && x.at30.within(ceilingClear)
	return true
}

// bands of the true factor, by its logarithm's size.
var bands = []struct {
	name      string
	low, high float64
}{{"under 1.15", 0, 1.15}, {"1.15 to 2", 1.15, 2}, {"2 to 4", 2, 4}, {"4 to 10", 4, 10}, {"over 10", 10, math.Inf(1)}}

var trialNights = []int{7, 10, 14, 21, 30, 45, 60}

func table(all []trial) string {
	out := "true factor either way: changed by night 7 10 14 21 30 45 60; wrong sign; held; interval at 30 covers; " +
		"excluded\n"
	for _, b := range bands {
		n, wrong, held, cover, figures, excluded := 0, 0, 0, 0, 0, 0
		by := make([]int, len(trialNights))
		for _, x := range all {
			size := math.Exp(math.Abs(math.Log(x.truth)))
			if size < b.low || size >= b.high {
				continue
			}
			n++
			for k, night := range trialNights {
				if x.ever > 0 && x.ever <= night {
					by[k]++
				}
			}
			if x.ever > 0 && x.sign*math.Log(x.truth) < 0 {
				wrong++
			}
			if x.held {
				held++
			}
			if x.at30.mid > 0 {
				figures++
				if x.at30.low <= x.truth && x.truth <= x.at30.high {
					cover++
				}
				if x.unshown {
					excluded++
				}
			}
		}
		if n > 0 {
			out += fmt.Sprintf("%-10s n %3d: %v %s; wrong %d; held %d; covers %d of %d %s; excluded %d\n", b.name, n, by,
				wilson(by[len(by)-1], n), wrong, held, cover, figures, wilson(cover, figures), excluded)
		}
	}
	return out
}

// wilson is a rate with its 95 % interval.
func wilson(k, n int) string {
	if n == 0 {
		return ""
	}
	p, m := float64(k)/float64(n), float64(n)
	const z = 1.96
	mid := (p + z*z/2/m) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/4/m/m)
	return fmt.Sprintf("%.1f %% [%.1f, %.1f]", 100*p, 100*math.Max(mid-half, 0), 100*math.Min(mid+half, 1))
}
