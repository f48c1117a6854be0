//go:build trials

package repair

import (
	"encoding/json"
	"maps"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"dewcase/internal/reason/series"
)

// TestTrials measures the operating figures on simulated winters and prints
// their table. TRIAL_WORK names the kind of work (see the work constants),
// TRIAL_FROM and TRIAL_TO the seeds, TRIAL_BEFORE the days before the work (47),
// TRIAL_EVERY how many evenings lie between two looks (4; where the conditions
// hold, the evenings after it are looked at one by one), and TRIAL_OUT a file for
// one JSON line a look.
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
	results := map[string][]outcome{}
	for seed := uint64(number("TRIAL_FROM", 1)); seed <= uint64(number("TRIAL_TO", 20)); seed++ {
		s := simulate(t, seed, w, 66, 10*time.Minute)
		for _, f := range s.follow(t, seed, number("TRIAL_EVERY", 4), number("TRIAL_DRAWS", 160), lines) {
			results[f.surface] = append(results[f.surface], f.outcome)
		}
	}
	for _, k := range slices.Sorted(maps.Keys(results)) {
		t.Logf("%s, %s, %d winters\n%s", w, k, len(results[k]), table(results[k]))
	}
}

// TrialWitness makes the witness of a trial (witness_trials_test.go).
var TrialWitness func(*series.Set) Witness

// mostNights after the repair are counted in the table.
const mostNights = 58

// followed is one surface of a trial, its looks by evening, each fit from the one
// before.
type followed struct {
	row
	surface string
	by      map[int]*look
	last    *look
	looks   int
	outcome outcome
}

// look is the look at evening i.
func (f *followed) look(i, draws int) *look {
	if l, ok := f.by[i]; ok {
		return l
	}
	var from *fit
	if f.last != nil && f.looks%7 != 0 {
		from = f.last.fit
	}
	l := f.j.evaluate(f.ends[i], from, draws)
	if l.fit != nil {
		f.last = l
	}
	f.by[i] = l
	return l
}

// counts says that a look is one that the table counts.
func (l *look) counts() bool { return l.fit != nil && len(l.trial.validA) <= mostNights }

// follow looks at one world evening by evening, at each surface by itself and at
// the house; a surface's verdict is its own or what it shares in the house's.
func (s *simulated) follow(t *testing.T, seed uint64, every, draws int, lines *json.Encoder) []*followed {
	a := &assessor{set: s.set, opts: Options{Draws: draws, Witness: TrialWitness(s.set)}, cache: newLayCache(),
		repairs: s.set.Case.Repairs()}
	var rows []*followed
	for _, surface := range s.surfaces {
		fromMS, untilMS, _ := a.window(0, s.set.Course(surface).Position)
		j, err := a.judge(s.event, surface, fromMS, untilMS, credit(s.set.Case, s.event))
		if err != nil {
			t.Logf("%d, %s: %v", seed, surface, err)
			continue
		}
		f := &followed{surface: surface, by: map[int]*look{}}
		f.j, f.ends, f.fromMS, f.untilMS = j, j.ends(), fromMS, untilMS
		rows = append(rows, f)
	}
	for i := 0; len(rows) > 0 && i < len(rows[0].ends); i++ {
		if (len(rows[0].ends)-1-i)%every != 0 {
			continue
		}
		s.lookOn(rows, i, draws)
		for _, f := range rows {
			l := f.look(i, draws)
			if !l.counts() {
				continue
			}
			f.looks++
			if lines != nil {
				if err := lines.Encode(f.line(seed, l)); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	return slices.DeleteFunc(rows, func(f *followed) bool { return f.last == nil })
}

// lookOn is the look at evening i, and at the evenings after it where the
// conditions of the rule hold.
func (s *simulated) lookOn(rows []*followed, i, draws int) {
	running := func(holds func(i int) bool, evenings int) bool {
		for k := range evenings {
			if i+k >= len(rows[0].ends) || !holds(i+k) {
				return false
			}
		}
		return true
	}
	house := func(i int) *joint {
		var all []*row
		for _, f := range rows {
			f.evenings.looks = []*look{f.look(i, draws)}
			all = append(all, &f.row)
		}
		return newJoint(all)
	}
	any := false
	for _, f := range rows {
		l := f.look(i, draws)
		if !l.counts() {
			continue
		}
		any = true
		o := &f.outcome
		if o.workedAt == 0 && running(func(i int) bool { return f.j.worked(f.look(i, draws)) }, runWorked) {
			o.workedAt, o.ownAt = len(l.trial.validA)+runWorked-1, len(l.trial.validA)+runWorked-1
		}
		if o.worseAt == 0 && running(func(i int) bool { return f.j.worse(f.look(i, draws)) }, runWorse) {
			o.worseAt = len(l.trial.validA) + runWorse - 1
		}
		o.wet, o.risk, o.water = s.truth(f.surface, nightsOf(l.trial))
		o.open, o.reduction, o.atRisk, o.condensed = l.open, l.reduction, l.risk, l.water
	}
	if !any || !running(func(i int) bool {
		h := house(i)
		if h == nil {
			return false
		}
		l := h.at(0)
		return l != nil && h.j.worked(l)
	}, runWorked) {
		return
	}
	h := house(i)
	for _, f := range rows {
		l := f.look(i, draws)
		if !l.counts() {
			continue
		}
		o, nights := &f.outcome, len(l.trial.validA)+runWorked-1
		if o.houseAt == 0 {
			o.houseAt = nights
		}
		f.evenings.looks = nil
		for k := runWorked - 1; k >= 0; k-- { // the latest first
			f.evenings.looks = append(f.evenings.looks, f.look(i+k, draws))
		}
		if o.workedAt == 0 && h.shares(&f.row) {
			o.workedAt = nights
		}
	}
}

// line is one look as JSON.
func (f *followed) line(seed uint64, l *look) map[string]any {
	o := f.outcome
	d, c, v := l.trial.changes(&l.fit.u)
	of := func(e effect) []float64 { return []float64{e.pct, e.low, e.high} }
	line := map[string]any{"seed": seed, "surface": f.surface, "nights": len(l.trial.validA),
		"before": len(l.trial.validB), "true_wet": o.wet, "true_risk": o.risk, "true_water": o.water,
		"reduction": of(l.reduction), "risk": of(l.risk), "fair": l.riskFair.low, "firm": l.riskFirm.low,
		"water": of(l.water), "companion": l.companion.q, "d": d, "c": c, "v": v, "wander": f.j.wander, "open": l.open,
		"needs": l.needs, "worse_at": o.worseAt, "swap": f.j.swapNear}
	line["worked_at"], line["own_at"], line["house_at"] = o.workedAt, o.ownAt, o.houseAt
	return line
}
