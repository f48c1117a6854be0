package houses_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/houses"
	"dewcase/internal/roof"
)

var now = time.Date(2026, 11, 30, 7, 0, 0, 0, time.UTC)

// random is a house with figures that one can have.
func random(r *rand.Rand, n int) roof.ListedHouse {
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	h := roof.ListedHouse{Case: fmt.Sprintf("house-%03d", n), SeenWeek: r.IntN(8), SeenMonth: r.IntN(31),
		Finding: pick("", "undetermined", "ceiling_leakage", "none_found"),
		Verdict: pick("", "", "worked", "got_worse", "no_change_shown", "too_early"),
		Last:    now.Add(-time.Duration(r.IntN(72)) * time.Hour)}
	h.WetNights, h.WetMonth = r.IntN(h.SeenWeek+1), r.IntN(h.SeenMonth+1)
	if r.IntN(5) > 0 {
		h.Made = now.Add(-time.Duration(r.IntN(50)) * time.Hour)
	}
	if r.IntN(3) == 0 {
		h.Weight, h.Need = 10, roof.HouseNeeds()[2+r.IntN(len(roof.HouseNeeds())-2)]
	}
	if r.IntN(3) > 0 {
		h.SilentFrom = now.Add(time.Duration(r.IntN(20)-5) * time.Hour)
		h.SilentAll = h.SilentFrom.Add(time.Duration(r.IntN(3)) * time.Hour)
	}
	return h
}

// Each house is counted once in every division, and each number is that of the
// houses which the list shows for it.
func TestEveryDivisionOfTheHousesAddsUp(t *testing.T) {
	for seed := range uint64(50) {
		r := rand.New(rand.NewPCG(seed, 1))
		var all []roof.ListedHouse
		c := houses.NewCounter(now)
		for n := range r.IntN(200) {
			all = append(all, random(r, n))
			one := all[n]
			c.Add(&one)
		}
		f := c.Figures()
		require.Equal(t, len(all), f.Houses)
		in := func(need roof.HouseNeed) (n int) {
			for _, h := range all {
				if h.Has(need, now) {
					n++
				}
			}
			return n
		}
		sum := func(of map[string]int) (n int) {
			for _, x := range of {
				n += x
			}
			return n
		}
		look := 0
		for _, k := range roof.HouseNeeds() {
			assert.Equal(t, in(k), f.Needs[k], k)
			look += f.Needs[k]
		}
		assert.Equal(t, f.NeedALook, look)
		assert.Equal(t, in(roof.NeedsSilent), f.Needs[roof.NeedAllSilent]+f.Needs[roof.NeedSomeSilent])
		assert.Equal(t, in(roof.Sweating), f.Sweating)
		assert.Equal(t, f.Week.Many+f.Week.Most, f.Sweating)
		assert.Equal(t, f.Sweating, sum(f.SweatingBy))
		for _, w := range []houses.WetNights{f.Week, f.Month} {
			assert.Equal(t, f.Houses, w.Observed()+w.Unwatched)
		}
		assert.Equal(t, f.Houses, sum(f.Findings))
		assert.Equal(t, f.Houses, sum(f.Repairs))
		assert.Equal(t, in(roof.NeedsLook), f.NeedALook)
		assert.Equal(t, f.Houses, f.Summaries.Hour+f.Summaries.Day+f.Summaries.Older+f.Summaries.None)
		assert.Len(t, f.Wettest, min(f.Sweating, houses.Longest))
		assert.Len(t, f.LongestSilent, min(in(roof.NeedsSilent), houses.Longest))
		assert.Len(t, f.Unhelped, min(f.Repairs["got_worse"]+f.Repairs["no_change_shown"], houses.Longest))
		slices.SortFunc(all, func(a, b roof.ListedHouse) int { return a.SilentFrom.Compare(b.SilentFrom) })
		if len(f.LongestSilent) > 0 {
			first := slices.IndexFunc(all, func(h roof.ListedHouse) bool { return h.Has(roof.NeedsSilent, now) })
			assert.True(t, slices.ContainsFunc(all, func(h roof.ListedHouse) bool {
				return h.Case == f.LongestSilent[0] && h.SilentFrom.Equal(all[first].SilentFrom)
			}))
		}
	}
}

// What is old says nothing of now, whatever it said then.
func TestAHouseThatWasNotHeardLatelyIsCountedAsNotObserved(t *testing.T) {
	wet := roof.ListedHouse{Case: "a", WetNights: 7, WetMonth: 30, SeenWeek: 7, SeenMonth: 30, Made: now}
	for name, c := range map[string]struct {
		last  time.Time
		sweat int
	}{
		"an hour ago":    {now.Add(-time.Hour), 1},
		"36 h ago":       {now.Add(-roof.LatelyHeard), 1},
		"a moment more":  {now.Add(-roof.LatelyHeard - time.Millisecond), 0},
		"never":          {time.Time{}, 0},
		"a month before": {now.AddDate(0, -1, 0), 0},
	} {
		t.Run(name, func(t *testing.T) {
			counter := houses.NewCounter(now)
			h := wet
			h.Last = c.last
			counter.Add(&h)
			f := counter.Figures()
			assert.Equal(t, c.sweat, f.Sweating)
			assert.Equal(t, 1-c.sweat, f.Week.Unwatched)
			assert.Equal(t, 1-c.sweat, f.Month.Unwatched)
		})
	}
}
