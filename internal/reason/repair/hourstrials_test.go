//go:build trials

package repair

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/abroad"
	"dewcase/internal/testkit/roofworlds"
)

// TestHoursTrials measures the wet hours by the fitted roof against the truth, on
// winters of 40 to 100 days of houses of the second kind, of all causes; TRIAL_KIND
// is home (roofsim), abroad or repaired (roofsim, work in the middle), TRIAL_FROM
// and TRIAL_TO the seeds. Surfaces that were truly wet for 20 h count.
func TestHoursTrials(t *testing.T) {
	number := func(key string, usual int) int {
		if n, err := strconv.Atoi(os.Getenv(key)); err == nil {
			return n
		}
		return usual
	}
	kind := os.Getenv("TRIAL_KIND")
	all := map[string][]hourTrial{}
	for seed := uint64(number("TRIAL_FROM", 1)); seed <= uint64(number("TRIAL_TO", 40)); seed++ {
		s := liveHours(t, kind, seed)
		results := Assess(s.set, Options{Draws: 40, NoSensitivity: true})
		for _, id := range []string{"slate", "underlay"} {
			c := s.set.Course(id)
			if c == nil {
				continue
			}
			m := Hours(s.set, c.Position, results)
			x := s.against(t, c.Position, m)
			fmt.Printf("%d %s: true %.0f h, counted %.0f, by the model %+v %s\n", seed, id, x.trueH, x.countedH, x.model,
				m.Why)
			if x.trueH >= 20 {
				all[id], all["both"] = append(all[id], x), append(all["both"], x)
			}
		}
	}
	for _, id := range []string{"slate", "underlay", "both"} {
		fmt.Printf("%s, %s: %s\n", kind, id, hourTable(all[id]))
	}
}

type hourTrial struct {
	trueH, countedH float64
	model           *ModelHours
}

// liveHours lives through one winter of a trial.
func liveHours(t *testing.T, kind string, seed uint64) *simulated {
	if kind == "repaired" {
		return simulate(t, seed, []work{voidWork, ceilingWork, loftWork}[seed%3], 50, 15*time.Minute)
	}
	r := rand.New(rand.NewPCG(seed, 0x40b5))
	causes := roofworlds.Causes()
	w := roofworlds.SecondKind.Draw(seed, causes[seed%uint64(len(causes))])
	lived := roofsim.Run
	if kind == "abroad" {
		lived = abroad.Run
	}
	winter := lived(w, roofsim.Options{Days: 40 + r.IntN(60)})
	kit := roofworlds.Kit{Interval: 15 * time.Minute, Faults: roofworlds.RoughFaults(), CaseID: "trial"}
	if seed%2 == 0 {
		kit.Faults = roofsim.FieldFaults()
	}
	switch r.IntN(6) {
	case 0:
		kit.Without = []roof.Place{roof.IndoorAir}
	case 1:
		kit.Without = []roof.Place{roof.LoftAir, roof.UnderlayUnderside}
	}
	m := kit.Measure(winter, seed)
	return &simulated{set: buildSet(t, m), winter: winter, slope: m.Slope}
}

// against sets the model's hours beside the truth and the count, over the same half
// hours.
func (s *simulated) against(t *testing.T, p roof.Position, m Modelled) hourTrial {
	site, err := newSite(s.set, roof.Event{}, p.ID, s.set.FromMS, s.set.UntilMS, newLayCache())
	if err != nil {
		t.Logf("%s: %v", p.ID, err)
		return hourTrial{}
	}
	truth := roofworlds.CoverHours
	if p.Place == roof.UnderlayUnderside {
		truth = roofworlds.UnderlayHours
	}
	x := hourTrial{model: m.Hours}
	measured := site.measure()
	air, sfc := site.airClimate(), site.surfaceTemp()
	for k := range site.n {
		if air.pa.seen[k] && sfc.seen[k] {
			at := time.UnixMilli(site.at(k))
			x.trueH += truth(s.winter, s.slope, at, at.Add(30*time.Minute)).Condensing
			x.countedH += stepH * step(measured.marginK[k] <= 0)
		}
	}
	return x
}

func hourTable(all []hourTrial) string {
	var model, count []float64
	held, none, squares := 0, 0, 0.0
	for _, x := range all {
		if x.model == nil {
			none++
			continue
		}
		model = append(model, math.Abs(x.model.WetH/x.trueH-1))
		count = append(count, math.Abs(x.countedH/x.trueH-1))
		held += int(step(x.model.LowH <= x.trueH && x.trueH <= x.model.HighH))
		squares += square(math.Log((x.model.WetH + fewHours) / (x.trueH + fewHours)))
	}
	n := len(model)
	low, high := wilson(held, n)
	slices.Sort(model)
	return fmt.Sprintf("n %d, without hours %d: median error %.0f %% (count %.0f %%), 9 of 10 under %.0f %%, rms of the "+
		"logarithm %.2f, interval holds %.1f %% [%.1f, %.1f]", n, none, 100*evidence.Median(model),
		100*evidence.Median(count), 100*evidence.Quantile(model, 0.9), math.Sqrt(squares/float64(max(n, 1))),
		100*float64(held)/float64(max(n, 1)), 100*low, 100*high)
}
