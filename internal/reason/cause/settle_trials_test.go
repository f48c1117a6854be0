//go:build trials

package cause

import (
	"slices"
	"testing"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// TestSettleTrials takes each logger away in turn and sets the chance that its return
// was said to bring beside what it brought:
//
//	DEWCASE_TRIALS=4 DEWCASE_SEED=95000700 go test -tags trials -run TestSettleTrials -v ./internal/reason/cause
//
// on winters of 120 days of the first kind of houses, under roofsim and under
// package abroad.
func TestSettleTrials(t *testing.T) {
	each, seed := number("DEWCASE_TRIALS", 6), number("DEWCASE_SEED", 70_000)
	for name, draw := range map[string]func(uint64, roofsim.Cause, int) (world, bool){
		"roofsim": newWorld, "abroad": abroadWorld} {
		type tell struct {
			n                        int
			said, came, saidW, cameW float64
		}
		var by [5]tell // of the chance, fifth by fifth
		places := map[roof.Place]*tell{}
		for k := range each {
			for i, planted := range roofworlds.Causes() {
				w, ok := draw(uint64(seed+1000*i+k), planted, 120)
				if !ok {
					continue
				}
				_, whole := answer(w.set(t, 0), Options{}, &ours)
				for _, place := range wanted {
					a, _ := answer(w.set(t, 0, place), Options{}, &ours)
					s := a.fitted(&ours, place)
					if places[place] == nil {
						places[place] = &tell{}
					}
					for _, x := range []*tell{&by[min(int(5*s.Then), 4)], places[place]} {
						x.n++
						x.said, x.saidW = x.said+s.Then, x.saidW+s.Wrong
						switch {
						case slices.Contains(w.rightAnswers(), whole.Finding):
							x.came++
						case whole.Finding != Undetermined:
							x.cameW++
						}
					}
				}
			}
		}
		show := func(of any, x *tell) {
			n := float64(max(x.n, 1))
			t.Logf("%s, %v: named rightly said %.2f, came %.2f; wrongly said %.2f, came %.2f; n %d", name, of, x.said/n,
				x.came/n, x.saidW/n, x.cameW/n, x.n)
		}
		for _, place := range wanted {
			show(place, places[place])
		}
		for i := range by {
			show(float64(i)/5, &by[i])
		}
	}
}
