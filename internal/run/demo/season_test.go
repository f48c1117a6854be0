package demo

import (
	"iter"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// normals are the mean temperatures outdoors of January and July where the demo's
// houses may lie: rounded from the climate of
// inland northern Britain at 340 m and of the Falkland Islands.
var normals = map[string]struct{ january, july float64 }{"Europe/London": {1, 13}, "Atlantic/Stanley": {10, 2}}

// In whichever month the demo is started: what its houses measured outdoors fits
// the calendar of the place, the record holds a winter and runs on to now, and
// the repair lies within it.
func TestTheWinterFitsTheCalendarInEveryMonth(t *testing.T) {
	for month := time.January; month <= time.December; month++ {
		if testing.Short() && month%6 != 1 {
			continue
		}
		t.Run(month.String(), func(t *testing.T) {
			t.Parallel()
			now := time.Date(2026, month, 15, 11, 27, 0, 0, time.UTC)
			d, err := Invent(now)
			require.NoError(t, err)
			c, faults := casefile.Parse("", d.houses[0].file)
			require.Empty(t, faults)
			normal, ok := normals[c.Property.Timezone]
			require.True(t, ok, c.Property.Timezone)
			sum, n, frosts := [13]float64{}, [13]float64{}, 0
			var first, last time.Time
			for i, l := range c.Loggers {
				for _, r := range d.houses[0].loggers[i] {
					x, ok := r.Values.Get(roof.TempC)
					if l.ID != "k6-outside" || !ok || r.At.After(now) {
						continue
					}
					at := r.At.In(c.Property.Zone)
					if first.IsZero() {
						first = at
					}
					last = at
					sum[at.Month()], n[at.Month()] = sum[at.Month()]+x, n[at.Month()]+1
					summer := []time.Month{time.June, time.July, time.August}
					if normal.january > normal.july {
						summer = []time.Month{time.December, time.January, time.February}
					}
					if slices.Contains(summer, at.Month()) {
						assert.Greater(t, x, 0.0, "frost in summer: %s in %s", at, c.Property.Timezone)
					} else if x < 0 {
						frosts++
					}
				}
			}
			for m := range sum {
				if n[m] > 20*180 { // three weeks of it: half a month may well be a warm spell
					mean, half := (normal.january+normal.july)/2, (normal.january-normal.july)/2
					assert.InDelta(t, mean+half*math.Cos(2*math.Pi*(float64(m)-1)/12), sum[m]/n[m], 4.5, "%s, seen from %s",
						time.Month(m), month)
				}
			}
			assert.Greater(t, frosts, 100, "from %s: a winter", month)
			assert.Less(t, now.Sub(last), time.Hour, month)
			assert.GreaterOrEqual(t, last.Sub(first), 119*24*time.Hour, month)
			assert.LessOrEqual(t, last.Sub(first), 181*24*time.Hour, month)
			require.Len(t, c.Repairs(), 1)
			assert.Greater(t, c.Repairs()[0].At.Sub(first), 60*24*time.Hour, month)
			assert.Greater(t, now.Sub(c.Repairs()[0].At), 55*24*time.Hour, month)
			if month%4 == 3 && !testing.Short() { // the whole analysis takes a while: March, July and November
				a := assessed(t, d.houses[0], c, now)
				assert.Greater(t, *a.Surfaces[1].HoursCondensing, 200.0, month)
				assert.Equal(t, "slate", a.Repairs[1].Surface)
				assert.Equal(t, repair.Worked, a.Repairs[1].Verdict, month)
			}
		})
	}
}

func assessed(t *testing.T, h *house, c *roof.Case, now time.Time) assessment.Answer {
	t.Helper()
	set, err := series.Build(c, 0, func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for _, list := range h.loggers {
				for _, r := range list {
					if r.Logger == logger && r.At.Before(now) && !yield(r, nil) {
						return
					}
				}
			}
		}
	})
	require.NoError(t, err)
	return assessment.Of(set)
}
