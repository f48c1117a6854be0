//go:build trials

package repair

import (
	"encoding/json"
	"os"
	"strconv"
	"testing"
	"time"
)

// TestTrials measures the operating figures on simulated winters and prints
// their table. TRIAL_WORK names the kind of work (see the work constants),
// TRIAL_FROM and TRIAL_TO the seeds, TRIAL_EVERY how many evenings lie between two
// looks (4; where the conditions hold, the evenings after it are looked at one by
// one), and TRIAL_OUT a file for one JSON line a look.
func TestTrials(t *testing.T) {
	number := func(key string, usual int) int {
		if n, err := strconv.Atoi(os.Getenv(key)); err == nil {
			return n
		}
		return usual
	}
	w := work(os.Getenv("TRIAL_WORK"))
	if w == "" {
		w = noWork
	}
	var lines *json.Encoder
	if name := os.Getenv("TRIAL_OUT"); name != "" {
		out, err := os.OpenFile(name, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
		if err != nil {
			t.Fatal(err)
		}
		defer out.Close()
		lines = json.NewEncoder(out)
	}
	var all []outcome
	for seed := uint64(number("TRIAL_FROM", 1)); seed <= uint64(number("TRIAL_TO", 20)); seed++ {
		s := simulate(t, seed, w, 66, 10*time.Minute)
		if o, ok := s.follow(t, seed, number("TRIAL_EVERY", 4), number("TRIAL_DRAWS", 160), lines); ok {
			all = append(all, o)
		}
	}
	t.Logf("%s, %d winters\n%s", w, len(all), table(all))
}

// mostNights after the repair are counted in the table.
const mostNights = 58

// follow looks at one world evening by evening, each fit from the last.
func (s *simulated) follow(t *testing.T, seed uint64, every, draws int, lines *json.Encoder) (o outcome, ok bool) {
	a := &assessor{set: s.set, opts: Options{Draws: draws}, cache: newLayCache(), repairs: s.set.Case.Repairs()}
	fromMS, untilMS, _ := a.window(0, s.set.Course(s.surface).Position)
	j, err := a.judge(s.event, s.surface, fromMS, untilMS, credit(s.set.Case, s.event))
	if err != nil {
		t.Logf("%d: %v", seed, err)
		return o, false
	}
	ends := j.ends()
	var last *look
	n := 0
	for i, end := range ends {
		if (len(ends)-1-i)%every != 0 {
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
		if len(l.trial.validA) > mostNights {
			break
		}
		n++
		last = l
		running := func(holds func(*look) bool, evenings int) bool {
			prev := l
			for k := 0; ; k++ {
				if !holds(prev) {
					return false
				}
				if k == evenings-1 {
					return true
				}
				if i+k+1 >= len(ends) {
					return false
				}
				prev = j.evaluate(ends[i+k+1], prev.fit, draws)
			}
		}
		nights := len(l.trial.validA)
		if o.workedAt == 0 && running(j.worked, runWorked) {
			o.workedAt = nights + runWorked - 1
		}
		if o.worseAt == 0 && running(j.worse, runWorse) {
			o.worseAt = nights + runWorse - 1
		}
		o.wet, o.risk, o.water, _, _ = s.truth(nightsOf(l.trial))
		o.open, o.reduction, o.atRisk, o.condensed = l.open, l.reduction, l.risk, l.water
		if lines != nil {
			d, c, v := l.trial.changes(&l.fit.u)
			err := lines.Encode(map[string]any{"seed": seed, "nights": nights, "before": len(l.trial.validB), "true_wet": o.wet,
				"true_risk": o.risk, "true_water": o.water,
				"reduction": []float64{l.reduction.pct, l.reduction.low, l.reduction.high},
				"risk":      []float64{l.risk.pct, l.risk.low, l.risk.high},
				"water":     []float64{l.water.pct, l.water.low, l.water.high},
				"companion": l.companion.q, "d": d, "c": c, "v": v, "wander": j.wander, "open": l.open, "needs": l.needs,
				"worked_at": o.workedAt, "worse_at": o.worseAt, "swap": j.swapNear})
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	return o, last != nil
}
