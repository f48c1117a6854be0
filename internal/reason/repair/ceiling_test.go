package repair

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof"
)

type leaning float64

func (l leaning) Ceiling(roof.Event, int64) float64 { return float64(l) }

// Ceiling work alone is judged by the ceiling's own change and the loft's
// temperature besides; other work is not.
func TestACeilingMustStandOutAndTheTemperatureLeanToItsSide(t *testing.T) {
	event := roof.Event{At: time.Unix(0, 0)}
	for name, c := range map[string]struct {
		credit [3]bool
		ln     float64 // of the flow through the ceiling
		lean   Witness
		way    float64
		want   bool
	}{
		"sealed, and the temperature says so":    {[3]bool{false, true, false}, -1.2, leaning(-1.5), 1, true},
		"sealed, the temperature cannot tell":    {[3]bool{false, true, false}, -1.2, leaning(0), 1, true},
		"sealed, nobody to ask":                  {[3]bool{false, true, false}, -1.2, nil, 1, true},
		"sealed, the temperature shows nothing":  {[3]bool{false, true, false}, -1.2, leaning(-0.3), 1, false},
		"sealed, the temperature says otherwise": {[3]bool{false, true, false}, -1.2, leaning(1), 1, false},
		"within what ceilings stray":             {[3]bool{false, true, false}, -0.65, leaning(-1.5), 1, false},
		"a rise where the flow fell":             {[3]bool{false, true, false}, -1.2, leaning(-1.5), -1, false},
		"leakier, and the temperature says so":   {[3]bool{false, true, false}, 1.2, leaning(0.8), -1, true},
		"loft vents":                             {[3]bool{true, false, false}, 0.1, leaning(1), 1, true},
		"vents and ceiling":                      {[3]bool{true, true, false}, -0.1, leaning(1), 1, true},
	} {
		t.Run(name, func(t *testing.T) {
			j := &judge{s: &site{event: event}, terms: terms{credit: c.credit}, witness: c.lean}
			tr := &trial{terms: j.terms}
			for i := range tr.pr {
				tr.pr[i].sd = 1
			}
			l := &look{trial: tr, fit: &fit{}}
			l.fit.u[pC] = c.ln
			assert.Equal(t, c.want, j.ceilingShown(l, c.way))
		})
	}
}

// What a fall's interval gains lies on the side of more; the end towards no change
// stays where it was.
func TestAnIntervalReachesFurtherOnlyTowardsAFall(t *testing.T) {
	for _, e := range []effect{{20, 5, 60}, {-10, -30, -2}, {0, -5, 5}, {100, 40, 100}, {99, 50, 100}} {
		r := e.reaching(0.2)
		assert.Equal(t, e.pct, r.pct)
		assert.Equal(t, e.low, r.low)
		assert.GreaterOrEqual(t, r.high, e.high)
		assert.LessOrEqual(t, r.high, 100.0)
		assert.InDelta(t, e.high, e.reaching(0).high, 1e-9)
	}
}

func TestALeastChangeShrinksInItsLogarithmAndKeepsItsSign(t *testing.T) {
	for _, c := range []struct{ e, want effect }{
		{effect{50, 36, 80}, effect{50, 100 * (1 - math.Sqrt(0.64)), 80}},
		{effect{-60, -90, -21}, effect{-60, -90, -10}},
		{effect{10, -5, 40}, effect{10, -5, 40}},
		{effect{10, 0, 40}, effect{10, 0, 40}},
	} {
		got := c.e.atLeast(0.5)
		assert.InDelta(t, c.want.low, got.low, 1e-9)
		assert.InDelta(t, c.want.high, got.high, 1e-9)
		assert.Equal(t, c.e.pct, got.pct)
	}
}
