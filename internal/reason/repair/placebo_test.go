//go:build trials

package repair

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/measuredroofs"
)

// TestPlacebos pretends repairs every ten days on the measured, unrepaired roofs
// and writes a line for each of three evenings to TRIAL_OUT, with what the rule
// rests on and whether its conditions hold.
func TestPlacebos(t *testing.T) {
	out, err := os.OpenFile(os.Getenv("TRIAL_OUT"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	day := func(y, m, d int) time.Time { return time.Date(y, time.Month(m), d, 9, 0, 0, 0, time.UTC) }
	only := os.Getenv("TRIAL_ONLY")
	for _, name := range []string{"R2", "R3"} {
		m := measuredRoof{measuredroofs.Load(t, name)}
		for kit, fits := range roofKits[name] {
			for at := day(2010, 12, 20); at.Before(day(2012, 3, 1)); at = at.AddDate(0, 0, 10) {
				if at.After(day(2011, 3, 5)) && at.Before(day(2011, 10, 25)) {
					continue
				}
				if only != "" && !strings.Contains(only, name+"/"+kit+"/"+at.Format("2006-01-02")) {
					continue
				}
				for ci, changes := range [][]roof.Change{{roof.LoftVentilation, roof.CeilingChange, roof.VoidVentilation},
					{roof.LoftVentilation}, {roof.CeilingChange}, {roof.VoidVentilation}} {
					if kit == "loft" && ci == 3 {
						continue
					}
					e := roof.Event{At: at, Kind: roof.Repair, Changes: changes}
					set := m.set(t, "measured-"+name, fits, []roof.Event{e}, at.AddDate(0, 0, -60), at.AddDate(0, 0, 62))
					a := &assessor{set: set, opts: Options{Draws: 160}, cache: newLayCache(), repairs: set.Case.Repairs()}
					from, until, _ := a.window(0, set.Course("deck").Position)
					j, err := a.judge(e, "deck", from, until, credit(set.Case, e))
					if err != nil {
						t.Fatal(err)
					}
					ends := j.ends()
					var last *fit
					for _, end := range []int{min(30, len(ends)), min(45, len(ends)), len(ends)} {
						l := j.evaluate(ends[end-1], last, 160)
						if l.fit == nil {
							continue
						}
						last = l.fit
						d, c, v := l.trial.changes(&l.fit.u)
						fmt.Fprintf(out, "%s,%s,%s,%s,%v,%d,"+
							"%.1f,%.1f,%.1f,"+
							"%.1f,%.1f,%.1f,"+
							"%.3f,%.2f,%.2f,%.2f,"+
							"%.0f,%.2f,%d,"+
							"%v,%v\n", name, kit, at.Format("2006-01-02"), []string{"all", "loft", "ceil", "void"}[ci], l.open,
							len(l.trial.validA), l.reduction.pct, l.reduction.low, l.reduction.high,
							l.risk.pct, l.risk.low, l.risk.high, l.companion.q, d, c, v,
							l.sample.without.wetH, j.metShare(l), j.overlap(l.trial),
							j.worked(l), j.worse(l))
					}
				}
			}
		}
	}
}
