package mechanism

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// climate is an invented winter of so many hours: weather in spells of days, a
// covering that the sky cools and the sun warms, a loft that lags.
func climate(hours int, seed uint64) (out, cover, loft *column) {
	r := rand.New(rand.NewPCG(seed, 1))
	o, c, l := make([]float64, hours), make([]float64, hours), make([]float64, hours)
	spell, cloud, indoor := 5.0, 0.0, 8.0
	for k := range hours {
		day := float64(k) / 24
		spell += (4-spell)/80 + r.NormFloat64()*0.5
		cloud += -cloud/20 + r.NormFloat64()*0.3
		clear := 1 / (1 + math.Exp(-2*cloud))
		o[k] = spell + 3*clear*math.Cos(2*math.Pi*(day-0.6)) + 0.3*r.NormFloat64()
		sun := math.Max(math.Cos(2*math.Pi*(day-0.5)), 0)
		c[k] = o[k] + clear*(12*sun-5) + 0.4*r.NormFloat64()
		indoor += (o[k]*0.6 + 8 - indoor) / 10
		l[k] = indoor + 0.2*c[k]
	}
	return bridged(o), bridged(c), bridged(l)
}

// vented is the air of a void that mixes outdoor air with what its covering gives.
func vented(out, cover *column, exchange func(k int) float64) *column {
	v := make([]float64, len(out.v))
	for k := range v {
		e := exchange(k)
		v[k] = (5*cover.v[k] + e*out.v[k]) / (5 + e)
	}
	return bridged(v)
}

// winter is a record of 60 days before and some after.
func winter(nights int) record { return record{first: -60, until: nights} }

func TestAVoidsShareIsThatOfItsExchange(t *testing.T) {
	r := winter(30)
	out, cover, loft := climate(r.hours(), 1)
	for exchange, share := range map[float64]float64{0.05: 0.0099, 1: 0.1667} {
		air := vented(out, cover, func(int) float64 { return exchange })
		for _, night := range []bool{false, true} {
			base := r.void(out, air, cover, loft, night).baseline(voidUnknown)
			assert.InDelta(t, share, base.x, 0.0002, "exchange %v", exchange)
			assert.Len(t, base.stretches, 5)
		}
	}
}

func shifted(c *column, k float64) *column {
	x := make([]float64, len(c.seen))
	for i, v := range c.seen {
		x[i] = v + k
	}
	return bridged(x)
}

// noisy is a column as a thermometer of so much noise reads it.
func noisy(c *column, k float64, seed uint64) *column {
	r := rand.New(rand.NewPCG(seed, 2))
	x := make([]float64, len(c.seen))
	for i, v := range c.seen {
		x[i] = v + k*r.NormFloat64()
	}
	return bridged(x)
}

func TestAThermometersOffsetDropsOut(t *testing.T) {
	r := winter(30)
	out, cover, loft := climate(r.hours(), 2)
	air := noisy(vented(out, cover, func(int) float64 { return 0.4 }), 0.1, 1)
	share := func(o, a, c, l *column) float64 {
		base := r.void(o, a, c, l, false).baseline(voidUnknown)
		return base.x
	}
	want := share(out, air, cover, loft)
	// The ridge leaves a little of it; outdoors and covering also set how much an hour
	// weighs.
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.Float64Range(-1, 1).Draw(t, "offset")
		require.InDelta(t, want, share(out, shifted(air, k), cover, loft), 1e-3)
		require.InDelta(t, want, share(out, air, cover, shifted(loft, k)), 1e-3)
		require.InDelta(t, want, share(shifted(out, k), air, cover, loft), 2e-3)
		require.InDelta(t, want, share(out, air, shifted(cover, k), loft), 2e-3)
	})
}

func TestTheChangeTurnsItsSignWithTime(t *testing.T) {
	r := record{first: -40, until: 41}
	out, cover, loft := climate(r.hours(), 3)
	opened := func(k int) float64 { return map[bool]float64{true: 0.05, false: 1}[k < 40*24] }
	shut := func(k int) float64 { return map[bool]float64{true: 1.0, false: 0.05}[k < 40*24] }
	var ln [2]float64
	for i, exchange := range []func(int) float64{opened, shut} {
		b := r.void(out, noisy(vented(out, cover, exchange), 0.05, 4), cover, loft, false)
		base := b.baseline(voidUnknown)
		c := b.after(&base, 41)
		require.True(t, c.ok)
		ln[i] = c.ln
	}
	assert.InDelta(t, -ln[0], ln[1], 0.15) // blocks and the day of the work are not those of the mirror image
	assert.Greater(t, ln[0], 1.5)
}

func TestAVoidIsKnownToHaveChangedWithinTenNights(t *testing.T) {
	for _, c := range []struct {
		name          string
		before, after float64
		changed       bool
	}{{"opened", 0.05, 0.8, true}, {"shut", 0.8, 0.05, true}, {"untouched", 0.05, 0.05, false},
		{"open and untouched", 0.5, 0.5, false}} {
		t.Run(c.name, func(t *testing.T) {
			r := winter(45)
			out, cover, loft := climate(r.hours(), 5)
			air := noisy(vented(out, cover, func(k int) float64 {
				if k < 60*24+10 {
					return c.before
				}
				return c.after
			}), 0.1, 6)
			v := newVoidLooks(&r, out, air, cover, loft)
			stands, since := steady(len(v.evenings), v.holds, v.falls)
			assert.Equal(t, c.changed, stands)
			last := v.at(len(v.evenings) - 1)
			f := v.factor(&last.w)
			assert.True(t, f.low < f.mid && f.mid < f.high)
			if c.changed {
				assert.LessOrEqual(t, since+firstVoidNight, 10)
				assert.Equal(t, c.after > c.before, f.mid > 1)
			} else {
				assert.True(t, f.low < 1 && f.high > 1, "%v", f)
			}
		})
	}
}

// An evening's answer may not depend on what was read after it.
func TestAnEveningKnowsNothingOfLaterOnes(t *testing.T) {
	long, short := winter(45), winter(20)
	out, cover, loft := climate(long.hours(), 7)
	air := noisy(vented(out, cover, func(k int) float64 { return 0.05 + float64(k/(60*24)) }), 0.1, 8)
	cut := func(c *column) *column { return bridged(c.seen[:short.hours()]) }
	a, b := newVoidLooks(&long, out, air, cover, loft), newVoidLooks(&short, cut(out), cut(air), cut(cover), cut(loft))
	for i := range b.evenings {
		assert.InDelta(t, b.at(i).w.z, a.at(i).w.z, 1e-9)
		assert.Equal(t, b.holds(i), a.holds(i))
	}
}

func TestAVerdictStandsAndFalls(t *testing.T) {
	for _, c := range []struct {
		evenings string // h holds, f falls, . neither
		stands   bool
		since    int
	}{{"", false, 0}, {"hh", false, 0}, {"hhh", true, 2}, {"hh.hh", false, 0}, {"hhh.....", true, 2},
		{"hhhff.ff", true, 2}, {"hhhfff", false, 0}, {"hhhfffhhh", true, 8}, {".hhhhh.", true, 3}, {"fffhhhff", true, 5},
		{"hhhfffhh", false, 0}} {
		is := func(x byte) func(int) bool { return func(i int) bool { return c.evenings[i] == x } }
		stands, since := steady(len(c.evenings), is('h'), is('f'))
		assert.Equal(t, c.stands, stands, c.evenings)
		if stands {
			assert.Equal(t, c.since, since, c.evenings)
		}
	}
}

// A winter's regression with its jackknife, as an evening asks for it.
func BenchmarkVoidOfAWinter(b *testing.B) {
	r := winter(90)
	out, cover, loft := climate(r.hours(), 1)
	air := noisy(vented(out, cover, func(int) float64 { return 0.4 }), 0.1, 1)
	for b.Loop() {
		v := newVoidLooks(&r, out, air, cover, loft)
		require.True(b, v.at(len(v.evenings)-1).w.ok)
	}
}

// Every evening of a winter, as an assessment replays them.
func BenchmarkVoidEveryEvening(b *testing.B) {
	r := winter(90)
	out, cover, loft := climate(r.hours(), 1)
	air := noisy(vented(out, cover, func(int) float64 { return 0.4 }), 0.1, 1)
	for b.Loop() {
		v := newVoidLooks(&r, out, air, cover, loft)
		for i := range v.evenings {
			v.holds(i)
		}
	}
}
