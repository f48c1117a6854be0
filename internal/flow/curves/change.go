package curves

import (
	"math"
	"slices"

	"dewcase/internal/reason/series"
)

const halfHourMS = 30 * minuteMS

// Change is by how much the margin of a surface would have been another without
// its last repair: the difference of two runs of the model that judged the repair,
// in the same weather. What was measured plus the change is the margin as it would
// have been, so that an error that both runs share does not look like an effect.
type Change struct {
	Surface string
	FromMS  int64     // the repair, on a half hour; before it nothing was another
	ByK     []float64 // of each half hour since; NaN where the model says nothing
}

// Over is the mean change over [fromMS, untilMS) after the repair; ok is false
// where nothing is known of it.
func (c Change) Over(fromMS, untilMS int64) (byK float64, ok bool) {
	if untilMS <= c.FromMS {
		return 0, false
	}
	first := max(fromMS-c.FromMS, 0) / halfHourMS
	end := min((untilMS-c.FromMS+halfHourMS-1)/halfHourMS, int64(len(c.ByK)))
	sum, n := 0.0, 0
	for i := first; i < end; i++ {
		if x := c.ByK[i]; !math.IsNaN(x) {
			sum, n = sum+x, n+1
		}
	}
	return sum / float64(max(n, 1)), n > 0
}

// at is the change at a time: none before the repair.
func (c Change) at(ms int64) (byK float64, ok bool) {
	if ms < c.FromMS {
		return 0, true
	}
	return c.Over(ms, ms+1)
}

// changeOf is the change of a surface; one of nothing but its name knows nothing.
func changeOf(changes []Change, surface string) Change {
	if i := slices.IndexFunc(changes, func(c Change) bool { return c.Surface == surface }); i >= 0 {
		return changes[i]
	}
	return Change{Surface: surface, FromMS: math.MinInt64 / 2}
}

// readings changes margins at their own times.
func (c Change) readings(t series.Track) series.Track {
	var out nodes
	open := false
	for i, ms := range t.AtMS {
		by, ok := c.at(ms)
		if ok {
			out.add(ms, t.Value[i]+by, open)
		}
		open = ok && t.Joined[i]
	}
	return out.Track
}

// bins changes margins in steps that lie within half hours.
func (c Change) bins(in []Bin, fromMS, stepMS int64) []Bin {
	out := make([]Bin, len(in))
	for i, b := range in {
		if x, ok := c.at(fromMS + int64(i)*stepMS + stepMS/2); ok && b.Seen > 0 {
			by := float32(x)
			out[i] = Bin{b.Mean + by, b.Min + by, b.Max + by, b.Seen}
		}
	}
	return out
}
