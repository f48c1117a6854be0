//go:build trials

package cause

import (
	"fmt"
	"os"
	"strconv"
	"testing"

	"dewcase/internal/roof"
	"dewcase/internal/roofsim"
)

// TestTrials measures the operating figures on the independent simulator:
//
//	nice -n 15 go test -tags trials -run TestTrials -timeout 3h -v ./internal/cause
//
// DEWCASE_TRIALS is the number of winters of each planted cause (default 24),
// DEWCASE_SEED the first seed; DEWCASE_TRIALS_SHORT leaves the
// variants out; DEWCASE_TRIALS_SHIFTED draws houses of another kind.
func TestTrials(t *testing.T) {
	number := func(key string, or int) int {
		if n, err := strconv.Atoi(os.Getenv(key)); err == nil {
			return n
		}
		return or
	}
	each, seed := number("DEWCASE_TRIALS", 24), number("DEWCASE_SEED", 70_000)
	const days = 120
	places := []roof.Place{roof.OutdoorAir, roof.IndoorAir, roof.LoftAir, roof.BattenVoidAir, roof.CoveringUnderside, roof.UnderlayUnderside}
	tallies := map[string]*tally{}
	var order []string
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
	for k := range each {
		for i, planted := range roofsim.Causes() {
			draw := newWorld
			if os.Getenv("DEWCASE_TRIALS_SHIFTED") != "" {
				draw = shiftedWorld
			}
			w, ok := draw(uint64(seed+1000*i+k), planted, days)
			if !ok {
				t.Logf("%s seed %d: no winter in which it matters", planted, seed+1000*i+k)
				continue
			}
			right := w.rightAnswers()
			judge := func(name string, d int, without ...roof.Place) Finding {
				f := Find(w.set(t, d, without...), Options{})
				get(name).add(string(planted), right, f)
				return f
			}
			f := judge("120 days", 0)
			get("120 days, published table").add(string(planted), right, find(w.set(t, 0), Options{}, &published))
			get("120 days, "+[]string{"field", "rough"}[w.seed%2]+" loggers").add(string(planted), right, f)
			known := w.measured.Case.Roof.Openings.LoftEavesMM != nil
			if known {
				get("120 days, openings known").add(string(planted), right, f)
			} else if planted == roofsim.CeilingLeakage || planted == roofsim.BlockedVentilation {
				get("120 days, openings unknown, ceiling or blocked").add(string(planted), right, f)
			}
			if log != nil {
				c := w.measured.Case.Roof
				fmt.Fprintf(log, "%s %d air=%s class=%s battens=%s known=%v %s lead %s %.3f reasons %v states %v figures", planted, w.seed, c.Covering.Air, c.Underlay.Class, c.Battens, known, f.Finding, f.Leading, f.Causes[0].Support, f.Reasons, f.States)
				for _, g := range f.Figures {
					fmt.Fprintf(log, " %s=%.3f", g.Feature, g.Value)
				}
				fmt.Fprintln(log)
			}
			if os.Getenv("DEWCASE_TRIALS_SHORT") != "" {
				continue
			}
			judge("60 days", 60)
			judge("30 days", 30)
			judge("21 days", 21)
			for _, p := range places {
				judge("without "+string(p), 0, p)
			}
		}
	}
	for _, name := range order {
		t.Logf("%-45s %s", name, tallies[name])
	}
	t.Logf("120 days\n%s", tallies["120 days"].table())
	if y := tallies["120 days, openings known"]; y != nil {
		t.Logf("120 days, openings known\n%s", y.table())
	}
}
