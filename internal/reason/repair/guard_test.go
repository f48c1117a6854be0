package repair

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A fixed handful of simulated winters guards the operating figures between the
// long trials (make trials). The counts are loose on purpose: they catch a
// change that breaks the method, not one that moves it.
func TestGuardAgainstLosingThePowerOrTheHonesty(t *testing.T) {
	if testing.Short() {
		t.Skip("half a minute of winters; run without -short")
	}
	type tally struct{ worked, worse, covered, answered, strong, strongFound int }
	count := func(w work, from, to uint64) (c tally) {
		for seed := from; seed <= to; seed++ {
			s := simulate(t, seed, w, 62, 15*time.Minute)
			rs := Assess(s.set, Options{Draws: 100, NoSensitivity: true})
			require.NotEmpty(t, rs)
			r := rs[0]
			require.Equal(t, s.surfaces[0], r.Surface)
			finite(t, r)
			c.worked += int(step(r.Verdict == Worked))
			c.worse += int(step(r.Verdict == GotWorse))
			if r.ReductionPct == nil {
				continue
			}
			wet, _, _ := s.truth(r.Surface, usedNights(r))
			c.answered++
			c.covered += int(step(*r.LowPct <= 100*wet && 100*wet <= *r.HighPct))
			if wet >= 0.4 {
				c.strong++
				c.strongFound += int(step(r.Verdict == Worked))
			}
		}
		return c
	}
	none := count(noWork, 9001, 9010)
	t.Logf("unrepaired: %+v", none)
	assert.Zero(t, none.worked, "worked on a roof that nobody touched")
	assert.Zero(t, none.worse, "got worse on a roof that nobody touched")
	assert.GreaterOrEqual(t, none.covered, none.answered-1)
	void := count(voidWork, 9101, 9116)
	t.Logf("void work: %+v", void)
	assert.Zero(t, void.worse)
	assert.GreaterOrEqual(t, void.covered, void.answered-3)
	assert.GreaterOrEqual(t, 2*void.strongFound, void.strong, "at least half of the true halvings are found")
}
