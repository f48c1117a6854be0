package mechanism

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// ventedLoft is a loft whose air takes a part of outdoors before, and another after.
func ventedLoft(nights int, before, after float64) (Witness, roof.Event) {
	r := winter(nights)
	r.atMS = time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC).UnixMilli()
	out, lay, house := climate(r.hours(), 11)
	for i := range house.v {
		house.v[i] = 19 + math.Sin(float64(i)/17)
	}
	house = bridged(house.v)
	was, is := heated(out, lay, house, before, 0.2, 0.03, 0.1), heated(out, lay, house, after, 0.2, 0.03, 0.1)
	copy(is.v[:60*24], was.v)
	e := roof.Event{At: time.UnixMilli(r.atMS)}
	a := newAssessor(nil)
	a.pairs[r.atMS] = pair{looks: newPairLooks(&r, out, noisy(bridged(is.v), 0.1, 12), lay, house, nil)}
	return Witness{a}, e
}

func TestTheLoftsTemperatureWitnessesItsVents(t *testing.T) {
	at := func(w Witness, e roof.Event, q roof.Change, nights int) float64 {
		return w.Sign(e, roof.Position{}, q, e.At.AddDate(0, 0, nights).UnixMilli())
	}
	opened, e := ventedLoft(80, 0.05, 0.4)
	shut, _ := ventedLoft(80, 0.4, 0.05)
	same, _ := ventedLoft(80, 0.1, 0.1)
	p := opened.a.pairOf(e).looks
	heat, ok := p.heat(8, loftPart)
	require.True(t, ok)
	assert.InDelta(t, heat.z, at(opened, e, roof.LoftVentilation, p.night(8)), 1e-12, "as the look of that night")
	assert.Greater(t, heat.z, 1.0)
	assert.Less(t, at(shut, e, roof.LoftVentilation, 30), -1.0)
	assert.InDelta(t, 0, at(same, e, roof.LoftVentilation, 30), 0.5)
	assert.Zero(t, at(opened, e, roof.LoftVentilation, firstPairNight-1), "too few nights")
	assert.Zero(t, at(opened, e, roof.VoidVentilation, 30), "the void has its own")
	assert.Equal(t, at(opened, e, roof.LoftVentilation, lastPairNight), at(opened, e, roof.LoftVentilation, 75))
}
