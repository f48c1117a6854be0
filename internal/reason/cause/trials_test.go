//go:build trials

package cause

import (
	"fmt"
	"maps"
	"os"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"testing"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/abroad"
	"dewcase/internal/testkit/roofworlds"
)

// threeOnly is the table that no winter of package abroad is in.
var threeOnly = tuned(pooled(published, third, thirdShare))

// TestTrials measures the operating figures on the independent simulator:
//
//	nice -n 15 go test -tags trials -run TestTrials -timeout 3h -v ./internal/reason/cause
//
// DEWCASE_TRIALS is the number of winters of each planted cause (default 24),
// DEWCASE_SEED the first seed, DEWCASE_TRIALS_VARIANTS of how many of each the
// variants are tried (default all); DEWCASE_TRIALS_HOUSES=second or shifted draws houses
// of other kinds, abroad and varied the first kind under other physics (package abroad).
func TestTrials(t *testing.T) {
	each, seed := number("DEWCASE_TRIALS", 24), number("DEWCASE_SEED", 70_000)
	variants := number("DEWCASE_TRIALS_VARIANTS", each)
	const days = 120
	places := []roof.Place{roof.OutdoorAir, roof.IndoorAir, roof.LoftAir, roof.BattenVoidAir, roof.CoveringUnderside,
		roof.UnderlayUnderside}
	tallies := map[string]*tally{}
	var order []string
	var mu sync.Mutex // of the tallies and the log
	get := func(name string) *tally {
		if tallies[name] == nil {
			tallies[name] = &tally{}
			order = append(order, name)
		}
		return tallies[name]
	}
	var log *os.File
	if name := os.Getenv("DEWCASE_TRIALS_LOG"); name != "" {
		log, _ = os.Create(name)
		defer log.Close()
	}
	draw := map[string]func(uint64, roofsim.Cause, int) (world, bool){"": newWorld, "second": secondWorld,
		"shifted": shiftedWorld, "abroad": abroadWorld, "varied": variedWorld}[os.Getenv("DEWCASE_TRIALS_HOUSES")]
	winter := func(k, i int, planted roofsim.Cause) {
		w, ok := draw(uint64(seed+1000*i+k), planted, days)
		if !ok {
			t.Logf("%s seed %d: no winter in which it matters", planted, seed+1000*i+k)
			return
		}
		right := w.rightAnswers()
		a, f := answer(w.set(t, 0), Options{}, &ours)
		of := sample{a, f.Window, string(planted), right}
		said := map[string]Finding{"120 days, table without the fourth": of.judged(&threeOnly),
			"120 days, published table":                                      of.judged(&published),
			"120 days, " + []string{"field", "rough"}[w.seed%2] + " loggers": f}
		if w.measured.Case.Roof.Openings.LoftEavesMM != nil {
			said["120 days, openings known"] = f
		} else if planted == roofsim.CeilingLeakage || planted == roofsim.BlockedVentilation {
			said["120 days, openings unknown, ceiling or blocked"] = f
		}
		if k < variants {
			for _, d := range []int{60, 30, 21} {
				_, said[fmt.Sprintf("%d days", d)] = answer(w.set(t, d), Options{}, &ours)
			}
			for _, p := range places {
				_, said["without "+string(p)] = answer(w.set(t, 0, p), Options{}, &ours)
			}
		}
		mu.Lock()
		defer mu.Unlock()
		get("120 days").add(string(planted), right, f)
		for _, name := range slices.Sorted(maps.Keys(said)) {
			get(name).add(string(planted), right, said[name])
		}
		if log != nil {
			c := w.measured.Case.Roof
			fmt.Fprintf(log, "%s %d air=%s class=%s battens=%s known=%v %s lead %s %.3f reasons %v states %v figures", planted,
				w.seed, c.Covering.Air, c.Underlay.Class, c.Battens, a.survey.openingsKnown, f.Finding, f.Leading,
				f.Causes[0].Support, f.Reasons, f.States)
			for _, g := range f.Figures {
				fmt.Fprintf(log, " %s=%.3f", g.Feature, g.Value)
			}
			fmt.Fprintln(log)
		}
	}
	var wait sync.WaitGroup
	turns := make(chan struct{}, runtime.GOMAXPROCS(0))
	for k := range each {
		for i, planted := range roofworlds.Causes() {
			turns <- struct{}{}
			wait.Go(func() {
				winter(k, i, planted)
				<-turns
			})
		}
	}
	wait.Wait()
	for _, name := range order {
		t.Logf("%-45s %s", name, tallies[name])
	}
	t.Logf("120 days\n%s", tallies["120 days"].table())
	if y := tallies["120 days, openings known"]; y != nil {
		t.Logf("120 days, openings known\n%s", y.table())
	}
}

// number reads a number from the environment.
func number(key string, or int) int {
	if n, err := strconv.Atoi(os.Getenv(key)); err == nil {
		return n
	}
	return or
}

// newWorld draws a winter of the simulator's first kind in which the cause
// matters.
func newWorld(seed uint64, planted roofsim.Cause, days int) (world, bool) {
	w, _, ok := roofworlds.DrawProven(seed, planted, days)
	if !ok {
		return world{}, false
	}
	return measure(seed, w, days), true
}

// secondWorld is a house of the simulator's second kind: open coverings as airy
// as the rules of the trade ask, and winters in which no other cause rivals the
// planted one.
func secondWorld(seed uint64, planted roofsim.Cause, days int) (world, bool) {
	w, _, ok := roofworlds.SecondKind.DrawProven(seed, planted, days)
	if !ok {
		return world{}, false
	}
	return measure(seed, w, days), true
}

// abroadWorld is a house of the first kind under another model of roofs.
func abroadWorld(seed uint64, planted roofsim.Cause, days int) (world, bool) {
	return runBy(abroad.Run, seed, planted, days)
}

// variedWorld is the same under constants of its own.
func variedWorld(seed uint64, planted roofsim.Cause, days int) (world, bool) {
	return runBy(abroad.RunVaried, seed, planted, days)
}

func runBy(run func(roofsim.World, roofsim.Options) *roofsim.Winter, seed uint64, planted roofsim.Cause,
	days int) (world, bool) {
	w, _, ok := roofworlds.Houses{Run: run}.DrawProven(seed, planted, days)
	if !ok {
		return world{}, false
	}
	return read(seed, run(w, roofsim.Options{Days: days})), true
}

// shiftedWorld is a house of another kind than the simulator draws: leakier
// coverings, twice the timber, heavier slates, windier, drier or wetter people.
// The table was not fitted on such houses.
func shiftedWorld(seed uint64, planted roofsim.Cause, days int) (world, bool) {
	for try := range uint64(40) {
		w := roofworlds.Draw(seed+try*1_000_003, planted)
		pick := func(i uint, a, b float64) float64 {
			if (w.Seed>>i)&1 == 0 {
				return a
			}
			return b
		}
		if w.Survey.Covering.Air != "closed" {
			w.Roof.CoveringAirMM2M2 *= 6
		}
		w.Roof.CoveringJM2K *= pick(0, 0.6, 1.8)
		w.Roof.TimberM2M2 *= pick(1, 0.5, 2)
		w.Roof.LoftLeakMM2M2 *= pick(2, 0.5, 2)
		w.Roof.UnderlayAirMM2M2 *= pick(3, 0.4, 2.5)
		w.House.InsulationWM2K *= pick(4, 0.6, 1.6)
		w.House.ShelterFactor *= pick(5, 0.7, 1.4)
		w.Household.ExtractShare = pick(6, 0, 0.8)
		w.Climate.WindMS *= pick(7, 0.7, 1.4)
		w.Climate.MeanC += pick(8, -2.5, 1.5)
		w.Climate.SynopticC *= pick(9, 0.8, 1.3)
		if (roofworlds.Houses{}).Judge(w, days).Matters {
			return measure(seed, w, days), true
		}
	}
	return world{}, false
}
