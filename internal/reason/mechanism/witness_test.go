package mechanism

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// leakyCeiling is a loft that takes a part of the house's heat before, and another
// after.
func leakyCeiling(nights int, before, after float64) (Witness, roof.Event) {
	r := winter(nights)
	r.atMS = time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC).UnixMilli()
	out, lay, house := climate(r.hours(), 11)
	for i := range house.v {
		house.v[i] = 19 + math.Sin(float64(i)/17)
	}
	house = bridged(house.v)
	was, is := heated(out, lay, house, 0.1, 0.2, before, 0.1), heated(out, lay, house, 0.1, 0.2, after, 0.1)
	copy(is.v[:60*24], was.v)
	a := newAssessor(nil)
	a.pairs[r.atMS] = pair{looks: newPairLooks(&r, out, noisy(bridged(is.v), 0.1, 12), lay, house, nil)}
	return Witness{a}, roof.Event{At: time.UnixMilli(r.atMS)}
}

func TestTheLoftsTemperatureWitnessesItsCeiling(t *testing.T) {
	at := func(w Witness, e roof.Event, nights int) float64 {
		return w.Ceiling(e, e.At.AddDate(0, 0, nights).UnixMilli())
	}
	sealed, e := leakyCeiling(80, 0.12, 0.02)
	opened, _ := leakyCeiling(80, 0.02, 0.12)
	same, _ := leakyCeiling(80, 0.06, 0.06)
	p := sealed.a.pairOf(e).looks
	heat, ok := p.heat(8, ceilingPart)
	require.True(t, ok)
	assert.InDelta(t, heat.z, at(sealed, e, p.night(8)), 1e-12, "as the look of that night")
	assert.Less(t, heat.z, -1.0)
	assert.Greater(t, at(opened, e, 30), 1.0)
	assert.InDelta(t, 0, at(same, e, 30), 0.5)
	assert.Zero(t, at(sealed, e, firstPairNight-1), "too few nights")
	assert.Equal(t, at(sealed, e, lastPairNight), at(sealed, e, 75))
}
