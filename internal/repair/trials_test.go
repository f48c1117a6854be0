//go:build trials

package repair

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"
	"time"
)

// TestTrials measures the operating figures: every world is looked at every
// TRIAL_EVERY nights (2), and one line a look goes to TRIAL_OUT for the table.
// TRIAL_WORK names the kind of work, TRIAL_FROM and TRIAL_TO the seeds.
func TestTrials(t *testing.T) {
	number := func(key string, usual int) int {
		if n, err := strconv.Atoi(os.Getenv(key)); err == nil {
			return n
		}
		return usual
	}
	from, to, every := number("TRIAL_FROM", 1), number("TRIAL_TO", 20), number("TRIAL_EVERY", 4)
	draws := number("TRIAL_DRAWS", 160)
	out, err := os.OpenFile(os.Getenv("TRIAL_OUT"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	w := work(os.Getenv("TRIAL_WORK"))
	for seed := uint64(from); seed <= uint64(to); seed++ {
		s := simulate(t, seed, w, 66, 10*time.Minute)
		s.follow(t, fmt.Sprintf("%s,%d", w, seed), every, draws, func(line string) { fmt.Fprintln(out, line) })
	}
}

// follow looks at one world evening by evening, each fit from the last.
func (s *simulated) follow(t *testing.T, name string, every, draws int, emit func(string)) {
	a := &assessor{set: s.set, opts: Options{Draws: draws}, cache: newLayCache(), repairs: s.set.Case.Repairs()}
	fromMS, untilMS, _ := a.window(0, s.set.Course(s.surface).Position)
	j, err := a.judge(s.event, s.surface, fromMS, untilMS, credit(s.set.Case, s.event))
	if err != nil {
		t.Logf("%s: %v", name, err)
		return
	}
	var last *look
	n := 0
	for i, end := range j.ends() {
		if (len(j.ends())-1-i)%every != 0 {
			continue
		}
		var from *fit
		if last != nil && n%7 != 0 {
			from = last.fit
		}
		l := j.evaluate(end, from, draws)
		if l.fit == nil {
			continue
		}
		n++
		last = l
		// Where the conditions hold, the evenings that follow decide.
		firm := ""
		for _, rule := range []struct {
			name  string
			holds func(*look) bool
			run   int
		}{{"worked", j.worked, runWorked}, {"worse", j.worse, runWorse}} {
			ok, prev := rule.holds(l), l
			for k := 1; ok && k < rule.run; k++ {
				if ok = i+k < len(j.ends()); ok {
					prev = j.evaluate(j.ends()[i+k], prev.fit, draws)
					ok = rule.holds(prev)
				}
			}
			if ok {
				firm = rule.name
			}
		}
		tw, tr, tm, wi, wo := s.truth(nightsOf(l.trial))
		d, c, v := l.trial.changes(&l.fit.u)
		gates := 0
		for g, x := range l.gates {
			if !x.Open {
				gates |= 1 << g
			}
		}
		cf := 999.0
		if x := j.cross(l); x.FallPct != nil {
			cf = *x.FallPct
		}
		emit(fmt.Sprintf("%s,%d,%d,%d,%.4f,%.4f,%.4f,%.1f,%.1f,%.2f,%.2f,%.2f,%.2f,%.2f,%.2f,%.2f,%.2f,%.2f,%.2f,%.2f,%.4f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%.2f,%.2f,%.1f,%.1f,%d,%v,%.4f,%.4f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%s,%.1f,%.2f",
			name, i, len(l.trial.validB), len(l.trial.validA), tw, tr, tm, wo.Condensing, l.sample.without.wetH,
			l.reduction.pct, l.reduction.low, l.reduction.high, l.risk.pct, l.risk.low, l.risk.high, l.riskFirm.low, l.riskFirm.high, l.water.pct, l.water.low, l.water.high,
			l.companion.q, d, c, v, j.wander[0], j.wander[1], j.wander[2], l.fit.sdOf(pV)*l.trial.pr[pV].sd, math.Abs(l.spread.change[2]),
			l.trial.out[0].sigma, l.trial.out[1].sigma, l.trial.out[0].tau, l.trial.out[1].tau, gates, j.swapNear, l.sample.wetMean, l.sample.wetSD,
			wi.Condensing, wi.AtRisk, wo.AtRisk, wi.DepositGM2, wo.DepositGM2, l.sample.with.wetH, l.sample.with.riskH, l.sample.without.riskH, l.sample.with.water, l.sample.without.water,
			l.companion.obsBefore, l.companion.expBefore, l.companion.obsAfter, l.companion.expAfter, firm, cf, j.metShare(l)))
	}
}
