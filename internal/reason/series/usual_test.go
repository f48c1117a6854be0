package series

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestALoggerThatReportsOnChangeIsJudgedByItsLongestSilence(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	lost := func(part float64) func() float64 {
		return func() float64 {
			n := 1.0
			for r.Float64() < part {
				n++
			}
			return 300*n + math.Round(r.NormFloat64())
		}
	}
	outages := func(of func() float64) func() float64 {
		return func() float64 {
			if r.Float64() < 0.001 {
				return 3600 * (2 + 100*r.Float64())
			}
			return of()
		}
	}
	onChange := func(mean float64, poll float64) func() float64 {
		return func() float64 {
			s := 10 + r.ExpFloat64()*mean
			if r.IntN(4) == 0 {
				s = 1e9 // a quiet night
			}
			if poll > 0 {
				s = math.Ceil(s/poll) * poll
			}
			return math.Min(s, 3600+math.Round(5*r.NormFloat64()))
		}
	}
	cases := map[string]struct {
		gap      func() float64
		from, to float64 // s
	}{
		"every five minutes": {func() float64 { return 300 + math.Round(2*r.NormFloat64()) },
			300, 300},
		"every five minutes, with outages":         {outages(func() float64 { return 300 }), 300, 300},
		"a third lost":                             {lost(0.33), 298, 302},
		"half lost, with outages":                  {outages(lost(0.5)), 298, 602},
		"two thirds lost":                          {lost(0.66), 298, 905},
		"nine tenths lost":                         {lost(0.9), 1700, 2500},
		"as it comes, without a longest silence":   {func() float64 { return 10 + r.ExpFloat64()*300 }, 180, 260},
		"on change, at least hourly":               {onChange(200, 0), 3600, 3620},
		"on change, at least hourly, with outages": {outages(onChange(200, 0)), 3590, 3620},
		"on change, looking every minute":          {onChange(200, 60), 3600, 3620},
		"on change, at least hourly, one in twenty that long": {func() float64 {
			return math.Min(10+r.ExpFloat64()*1200,
				3600)
		}, 3600, 3600},
	}
	for _, name := range slices.Sorted(maps.Keys(cases)) { // one order, since all draw from one source
		c := cases[name]
		t.Run(name, func(t *testing.T) {
			var g Gaps
			at := 0.0
			for range 20000 {
				at += c.gap()
				g.add(int64(at * 1000))
			}
			got := float64(g.usual()) / 1000
			assert.GreaterOrEqual(t, got, c.from)
			assert.LessOrEqual(t, got, c.to)
		})
	}
}

func TestFewIntervalsAreJudgedByTheirMedian(t *testing.T) {
	var g Gaps
	at := int64(0)
	for i := range 40 {
		at += []int64{20e3, 90e3, 3600e3, 200e3}[i%4]
		g.add(at)
	}
	assert.EqualValues(t, 200e3, g.usual())
}
