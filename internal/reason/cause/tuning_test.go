//go:build trials

package cause

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/testkit/roofworlds"
)

// TestTuning finds the weights of the table anew and shows what they are worth on
// physics that they were not found on:
//
//	DEWCASE_TRIALS=24 nice -n 15 go test -tags trials -run TestTuning -timeout 3h -v ./internal/reason/cause
//
// It draws winters of 120 days of the first kind of houses, under roofsim and
// under package abroad, and climbs the mean logarithm of the support of the true
// causes, weight by weight, with a pull towards the published ones: on either
// model alone, judged on both, and on both. DEWCASE_SEED is the first seed.
func TestTuning(t *testing.T) {
	each, seed := number("DEWCASE_TRIALS", 24), number("DEWCASE_SEED", 500_000)
	beds := map[string][]sample{}
	for k := range each {
		for i, planted := range roofworlds.Causes() {
			for name, draw := range map[string]func(uint64, roofsim.Cause, int) (world, bool){
				"roofsim": newWorld, "abroad": abroadWorld} {
				if w, ok := draw(uint64(seed+1000*i+k), planted, 120); ok {
					a, f := answer(w.set(t, 0), Options{}, &ours)
					beds[name] = append(beds[name], sample{a, f.Window, string(planted), w.rightAnswers()})
				}
			}
		}
	}
	show := func(m *model) {
		for name, bed := range beds {
			var y tally
			for _, s := range bed {
				y.add(s.planted, s.right, s.judged(m))
			}
			t.Logf("   %-8s log score %.3f %s", name, logScore(bed, m), &y)
		}
	}
	t.Log("as it is in use")
	show(&ours)
	start := ours
	for f := range features {
		start.row[f].weight = published.row[f].weight
	}
	t.Log("with the published weights")
	show(&start)
	for _, on := range [][]string{{"roofsim"}, {"abroad"}, {"roofsim", "abroad"}} {
		var train [][]sample
		for _, name := range on {
			train = append(train, beds[name])
		}
		m := climb(train, start)
		t.Log("weights found on " + strings.Join(on, " and "))
		for f := range features {
			t.Logf("   %s %.2f", m.row[f].id, m.row[f].weight)
		}
		show(&m)
	}
}

// TestTable prints the medians and scales of the fourth simulation (pooled.go) anew:
//
//	DEWCASE_TRIALS=30 DEWCASE_SEED=24000500 go test -tags trials -run TestTable -timeout 3h -v ./internal/reason/cause
func TestTable(t *testing.T) {
	planted := map[roofsim.Cause]state{roofsim.CeilingLeakage: stateU, roofsim.BlockedVentilation: stateU,
		roofsim.UnventedBattenVoid: stateV, roofsim.MixedCeilingVoid: stateVC, roofsim.NightSkyCooling: stateS,
		roofsim.WaterIngress: stateW, roofsim.PlumbingLeak: stateW, roofsim.ConstructionMoisture: stateC,
		roofsim.MixedRainBlocked: stateWU, roofsim.NoneFound: stateN}
	each, seed := number("DEWCASE_TRIALS", 30), number("DEWCASE_SEED", 24_000_500)
	var values [features][states][]float64
	for k := range each {
		for i, cause := range roofworlds.Causes() {
			w, ok := variedWorld(uint64(seed+1000*i+k), cause, 120)
			if !ok {
				continue
			}
			a, _ := answer(w.set(t, 0), Options{}, &ours)
			for f := range features {
				if v := a.f.value[f]; known(v) {
					values[f][planted[cause]] = append(values[f][planted[cause]], v)
				}
			}
		}
	}
	for f := range features {
		line := about(f).id + ": {"
		for st := range states {
			low, _ := quantile(values[f][st], 0.25)
			middle, _ := quantile(values[f][st], 0.5)
			high, _ := quantile(values[f][st], 0.75)
			line += fmt.Sprintf("{%.3g, %.3g}, ", middle, (high-low)/1.35)
		}
		t.Log(strings.TrimSuffix(line, ", ") + "},")
	}
}

// sample is a winter whose figures are made, ready to be weighed.
type sample struct {
	a       *assessment
	window  Window
	planted string
	right   []Cause
}

func (s sample) judged(m *model) Finding {
	a := *s.a
	a.weigh(m)
	f := Finding{Finding: Undetermined, Window: s.window}
	a.decide(&f)
	return f
}

// logScore is the mean logarithm of the support of the true causes.
func logScore(bed []sample, m *model) float64 {
	sum := 0.0
	for _, s := range bed {
		a := *s.a
		a.weigh(m)
		support, _ := a.division.shares(a.post)
		x := 0.0
		for _, c := range s.right {
			x += support[c]
		}
		sum += math.Log(math.Max(x, 0.02))
	}
	return sum / float64(len(bed))
}

// climb changes one weight at a time for as long as that pays.
func climb(beds [][]sample, m model) model {
	const pull, most = 0.01, 2.0
	start := m
	worth := func(m *model) float64 {
		sum := 0.0
		for _, bed := range beds {
			sum += logScore(bed, m) / float64(len(beds))
		}
		for f := range features {
			d := math.Log((m.row[f].weight + 0.05) / (start.row[f].weight + 0.05))
			sum -= pull * d * d
		}
		return sum
	}
	best := worth(&m)
	for _, step := range slices.Repeat([]float64{1.5, 1.25}, 2) {
		for f := range features {
			for _, k := range []float64{step, 1 / step} {
				try := m
				try.row[f].weight = math.Min(try.row[f].weight*k, most)
				if w := worth(&try); w > best+1e-4 {
					best, m = w, try
				}
			}
		}
	}
	return m
}
