package outlook

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// course is some weeks of a roof whose margin swings by day and night; wet says
// whether a night got wet.
func course(days int, wet func(day int) bool) Course {
	n := days * 24
	c := Course{FromMS: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC).UnixMilli(), Zone: time.UTC}
	for i := range n {
		night := (i + 12) / 24
		depth := 4.0
		if wet(night) {
			depth = 6
		}
		m := 5 - depth*math.Max(0, math.Cos(float64(i%24-4)/24*2*math.Pi))
		w := 0.0
		if m <= 0 {
			w = 1
		}
		c.MarginK, c.WetH, c.ObservedH = append(c.MarginK, m), append(c.WetH, w), append(c.ObservedH, 1)
		c.LimitC, c.OutdoorC, c.OutdoorDewC = append(c.LimitC, 2), append(c.OutdoorC, 4), append(c.OutdoorDewC, 2)
	}
	return c
}

// back is the course as it was known at row i.
func (c Course) back(i int) Course {
	c.WetH, c.ObservedH, c.MarginK = c.WetH[:i], c.ObservedH[:i], c.MarginK[:i]
	c.LimitC, c.OutdoorC, c.OutdoorDewC = c.LimitC[:i], c.OutdoorC[:i], c.OutdoorDewC[:i]
	return c
}

func TestARoofThatIsWetEveryNightIsLikelierThanOneThatNeverIs(t *testing.T) {
	now := time.Date(2026, 12, 20, 17, 0, 0, 0, time.UTC)
	wet, ok := Tonight(course(20, func(int) bool { return true }).back(19*24+17), now, nil)
	require.True(t, ok)
	dry, ok := Tonight(course(20, func(int) bool { return false }).back(19*24+17), now, nil)
	require.True(t, ok)
	assert.Greater(t, wet.P, 0.8)
	assert.Less(t, dry.P, 0.2)
	assert.True(t, *wet.LastNight)
	assert.False(t, *dry.LastNight)
}

func TestNothingFromAfterNowCounts(t *testing.T) {
	now := time.Date(2026, 12, 15, 17, 0, 0, 0, time.UTC)
	whole := course(20, func(d int) bool { return d%2 == 0 })
	i := 14*24 + 17
	a, ok := Tonight(whole.back(i), now, nil)
	require.True(t, ok)
	b, ok := Tonight(whole, now, nil)
	require.True(t, ok)
	assert.InDelta(t, a.P, b.P, 1e-12)
}

func TestACourseThatWasNotSeenGivesNoChance(t *testing.T) {
	c := course(20, func(int) bool { return true })
	for i := range c.MarginK {
		c.MarginK[i] = math.NaN()
	}
	_, ok := Tonight(c, time.Date(2026, 12, 15, 17, 0, 0, 0, time.UTC), nil)
	assert.False(t, ok)
}

func TestAChanceIsAlwaysOne(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		c := course(20, func(d int) bool { return d%3 == 0 })
		x := rapid.SampledFrom([]float64{math.NaN(), -90, 0, 50}).Draw(r, "value")
		for range 60 {
			i := rapid.IntRange(0, 479).Draw(r, "hour")
			c.MarginK[i], c.OutdoorC[i], c.LimitC[i] = x, x, x
		}
		var f *Forecast
		if rapid.Bool().Draw(r, "forecast") {
			f = &Forecast{MinC: rapid.Float64Range(-60, 60).Draw(r, "minimum")}
		}
		o, ok := Tonight(c, time.UnixMilli(c.FromMS).Add(time.Duration(rapid.IntRange(0, 480).Draw(r, "now"))*time.Hour), f)
		if ok && !(o.P >= 0.01 && o.P <= 0.99) {
			r.Fatalf("a chance of %v", o.P)
		}
	})
}
