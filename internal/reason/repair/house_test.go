package repair

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Loft work treats two surfaces of one change of the loft; void work has a change
// of its own for each slope.
func TestAHouseIsToldWhereTheWorkChangedTheLoft(t *testing.T) {
	for w, want := range map[work]bool{loftWork: true, noCeiling: true, noWork: false} {
		rs := Assess(simulate(t, 5005, w, 62, 15*time.Minute).set, Options{Draws: 100, NoSensitivity: true})
		for _, r := range rs {
			require.Equal(t, want, r.House != nil, "%s, %s", w, r.Surface)
			if want {
				assert.Same(t, rs[0].House, r.House)
				assert.Contains(t, r.House.Reason, "together")
				assert.GreaterOrEqual(t, len(r.House.Surfaces), leastJoint)
			}
		}
	}
}

// The house adds the surfaces up draw by draw, so that an error of the change that
// they share does not average out.
func TestTheErrorOfASharedChangeDoesNotAverageOut(t *testing.T) {
	j := &judge{dice: throw("house", 200), terms: terms{credit: [3]bool{true, false, false}}}
	of := func(k int, sign float64) sample {
		var s sample
		for i := range j.dice.t {
			x := j.dice.t[i][k]
			s.bare = append(s.bare, toll{wetH: 200, riskH: 300})
			s.repaired = append(s.repaired, toll{wetH: 120 + sign*20*x, riskH: 200 + sign*20*x})
		}
		s.digest(j.dice, j.terms)
		return s
	}
	width := func(s sample) float64 { e := s.riskFall(0.975); return e.high - e.low }
	one := of(0, 1)
	assert.InDelta(t, width(one), width(addUp([]sample{one, one}, j)), 0.5, "the same change")
	assert.Less(t, width(addUp([]sample{one, of(1, 1)}, j)), 0.95*width(one), "changes of their own")
	assert.InDelta(t, one.with.riskH*2, addUp([]sample{one, one}, j).with.riskH, 0.2)
}

func TestASurfaceSharesInTheHouseByItsOwnFall(t *testing.T) {
	good := look{open: true, risk: effect{pct: 12, low: -3}, riskFair: effect{low: 2}, reduction: effect{pct: 30},
		companion: companion{q: -0.05}}
	shares := func(ls ...look) bool {
		w := &row{}
		for i := range ls {
			w.looks = append(w.looks, &ls[i])
		}
		return (&joint{}).shares(w)
	}
	assert.True(t, shares(good, good, good))
	assert.False(t, shares(good, good), "too few evenings")
	for name, spoil := range map[string]func(*look){
		"gate shut":            func(l *look) { l.open = false },
		"not probable":         func(l *look) { l.riskFair.low = -1 },
		"small at risk":        func(l *look) { l.risk.pct = 4 },
		"small wet":            func(l *look) { l.reduction.pct = 19 },
		"against the readings": func(l *look) { l.companion.q = 0.01 },
	} {
		bad := good
		spoil(&bad)
		assert.False(t, shares(good, bad, good), name)
	}
}

// Vents were cut through on this invented roof, and took away two of five wet hours
// and more.
func TestVentsCutThroughAreFoundAtTheHouse(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of fits; run without -short")
	}
	s := simulate(t, 5006, loftWork, 62, 15*time.Minute)
	rs := Assess(s.set, Options{Draws: 100, NoSensitivity: true})
	require.Len(t, rs, 2)
	for _, r := range rs {
		wet, _, _ := s.truth(r.Surface, usedNights(r))
		require.Greater(t, wet, 0.4, r.Surface)
		assert.Equal(t, Worked, r.Verdict, "%s: %s", r.Surface, r.Reason)
	}
	assert.Equal(t, Worked, rs[0].House.Verdict)
}
