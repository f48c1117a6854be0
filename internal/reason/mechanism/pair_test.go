package mechanism

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// heated is the air of a loft that takes parts of outdoors, house, its own last
// hour and its last half day, and the rest from its roof.
func heated(out, lay, house *column, outdoors, itself, indoors, stored float64) *column {
	l := make([]float64, len(out.v))
	prev, store := lay.v[0], lay.v[0]
	for k := range l {
		// store is moved on by this hour's own value: solve for it.
		m := 1 - math.Exp(-1/storeHours)
		rest := 1 - outdoors - itself - indoors - stored
		l[k] = (outdoors*out.v[k] + itself*prev + indoors*house.v[k] + stored*store*(1-m) + rest*lay.v[k]) / (1 - stored*m)
		store += (l[k] - store) * m
		prev = l[k]
	}
	return bridged(l)
}

func TestALoftsSharesAreThoseOfItsAir(t *testing.T) {
	r := winter(30)
	out, lay, house := climate(r.hours(), 11)
	for i := range house.v {
		house.v[i] = 19 + math.Sin(float64(i)/17)
	}
	house = bridged(house.v)
	for _, x := range []struct{ outdoors, itself, indoors, stored float64 }{{0.05, 0.3, 0.05, 0.1}, {0.3, 0.2, 0.02, 0},
		{0, 0.2, 0.1, 0.2}} {
		b := r.loftBalance(out, heated(out, lay, house, x.outdoors, x.itself, x.indoors, x.stored), lay, house)
		surface := 1 - x.outdoors - x.itself - x.indoors - x.stored
		for part, want := range map[int]float64{fromOutdoors: x.outdoors / surface, fromHouse: x.indoors / surface} {
			base := b.lookingAt(part).baseline(pairUnknown)
			assert.InDelta(t, want/(1+want), base.x, 0.004, "%v, part %d", x, part)
		}
	}
}

func TestTwoWitnessesMustSayTheSame(t *testing.T) {
	for _, x := range []struct{ a, b, want float64 }{{2, 2, 2 * math.Sqrt2}, {-2, -2, -2 * math.Sqrt2},
		{9, 2, 5 / math.Sqrt2},
		{9, 1.4, 0}, {1.4, 9, 0}, {2, -2, 0}, {0, 5, 0}, {9, -9, 0}, {1.5, 1.5, 1.5 * math.Sqrt2},
		{1.4, 3, 0}} {
		assert.InDelta(t, x.want, joined(x.a, x.b), 1e-12)
		assert.InDelta(t, x.want, joined(x.b, x.a), 1e-12)
	}
}
