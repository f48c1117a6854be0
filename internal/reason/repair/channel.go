package repair

import (
	"math"
	"slices"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// channel is one quantity on the half-hour grid. Every bin has a value so that
// the model can run through; only where seen does it count as measured.
type channel struct {
	v    []float64
	seen []bool
	any  bool
}

// climate is one body of air on the grid.
type climate struct{ tempC, pa channel }

const (
	// bridgeBins is the longest hole, 1.5 h, that is bridged and still counts.
	bridgeBins = 3
)

// grid lays tracks on the half-hour grid of one assessment.
type grid struct {
	fromMS int64
	n      int
}

func (g grid) at(k int) int64      { return g.fromMS + int64(k)*stepMS }
func (g grid) untilMS() int64      { return g.at(g.n) }
func (g grid) index(ms int64) int  { return int((ms - g.fromMS) / stepMS) }
func (g grid) ceil(ms int64) int   { return int((ms - g.fromMS + stepMS - 1) / stepMS) }
func (g grid) inside(ms int64) int { return min(max(g.ceil(ms), 0), g.n) }

// halfHours takes the mean of a track over each half hour: between the quartiles of
// the readings where there are at least four, so that one wild reading counts
// nothing, and over the observed time otherwise.
func (g grid) halfHours(t series.Track) channel {
	c := channel{v: make([]float64, g.n), seen: make([]bool, g.n)}
	bins := t.Bins(g.fromMS, stepMS, g.n)
	for k, b := range bins {
		if b.ObservedMS*2 >= stepMS {
			c.v[k], c.seen[k], c.any = b.Mean, true, true
		}
	}
	var few []float64
	last := -1
	flush := func() {
		if last >= 0 && last < g.n && len(few) >= 4 && c.seen[last] {
			slices.Sort(few)
			cut := max(len(few)/4, 1)
			sum := 0.0
			for _, x := range few[cut : len(few)-cut] {
				sum += x
			}
			c.v[last] = sum / float64(len(few)-2*cut)
		}
		few = few[:0]
	}
	for i, ms := range t.AtMS {
		if ms < g.fromMS || ms >= g.untilMS() {
			continue
		}
		if k := g.index(ms); k != last {
			flush()
			last = k
		}
		few = append(few, t.Value[i])
	}
	flush()
	return c
}

// bridge gives every bin a value: holes run linearly between their ends, and
// those of at most 1.5 h count as seen.
func (c *channel) bridge() {
	last := -1
	for k := range c.v {
		if !c.seen[k] {
			continue
		}
		if last < 0 {
			for i := range k {
				c.v[i] = c.v[k]
			}
		} else if k-last > 1 {
			hole := k - last - 1
			for i := last + 1; i < k; i++ {
				f := float64(i-last) / float64(k-last)
				c.v[i] = c.v[last] + f*(c.v[k]-c.v[last])
			}
			if hole <= bridgeBins {
				for i := last + 1; i < k; i++ {
					c.seen[i] = true
				}
			}
		}
		last = k
	}
	if last >= 0 {
		for i := last + 1; i < len(c.v); i++ {
			c.v[i] = c.v[last]
		}
	}
}

// cleaned leaves out single readings that stand apart from both neighbours by
// more than jump while these agree within half of it.
func cleaned(t series.Track, jump float64) series.Track {
	n := t.Len()
	bad := func(i int) bool {
		if i == 0 || i == n-1 || !t.Joined[i-1] || !t.Joined[i] {
			return false
		}
		a, b := t.Value[i]-t.Value[i-1], t.Value[i]-t.Value[i+1]
		return a*b > 0 && math.Abs(a) > jump && math.Abs(b) > jump && math.Abs(t.Value[i-1]-t.Value[i+1]) < jump/2
	}
	var drop []bool
	for i := range n {
		if bad(i) {
			if drop == nil {
				drop = make([]bool, n)
			}
			drop[i] = true
		}
	}
	return without(t, drop, true)
}

// without removes readings; joined says whether the intervals beside a removed
// reading stay observed.
func without(t series.Track, drop []bool, joined bool) series.Track {
	if drop == nil {
		return t
	}
	var out series.Track
	for i := range t.AtMS {
		if drop[i] {
			if n := len(out.Joined); n > 0 {
				out.Joined[n-1] = out.Joined[n-1] && joined && t.Joined[i]
			}
			continue
		}
		out.AtMS, out.Value, out.Joined = append(out.AtMS, t.AtMS[i]), append(out.Value, t.Value[i]),
			append(out.Joined, t.Joined[i])
	}
	if n := len(out.Joined); n > 0 {
		out.Joined[n-1] = false
	}
	return out
}

// Jumps that no air makes and takes back within two readings.
const (
	jumpK   = 4.0
	jumpPa  = 150.0
	jumpSfc = 6.0
)

// air lays a body of air on the grid.
func (g grid) air(c *series.Course) climate {
	out := climate{tempC: g.halfHours(cleaned(c.TempC, jumpK)), pa: g.halfHours(cleaned(c.VapourPa, jumpPa))}
	for k, x := range out.pa.v {
		if out.pa.seen[k] && !(x > 1) {
			out.pa.seen[k] = false // bone-dry air is a dead probe
		}
	}
	out.tempC.bridge()
	out.pa.bridge()
	return out
}

// surface lays a surface's temperature on the grid.
func (g grid) surface(c *series.Course) channel {
	t := g.halfHours(cleaned(c.TempC, jumpSfc))
	t.bridge()
	return t
}

// mean joins several rooms into one climate.
func mean(all []climate) climate {
	return climate{tempC: meanChannel(all, func(c climate) channel { return c.tempC }),
		pa: meanChannel(all, func(c climate) channel { return c.pa })}
}

func meanChannel(all []climate, part func(climate) channel) channel {
	if len(all) == 1 {
		return part(all[0])
	}
	parts := make([][]float64, len(all))
	for i, c := range all {
		p := part(c)
		parts[i] = slices.Clone(p.v)
		for k, seen := range p.seen {
			if !seen {
				parts[i][k] = math.NaN()
			}
		}
	}
	out := channel{v: evidence.Join(parts, 2)}
	out.seen = make([]bool, len(out.v))
	for k, x := range out.v {
		out.seen[k] = !math.IsNaN(x)
		out.any = out.any || out.seen[k]
	}
	out.bridge()
	return out
}

// measuredAir reports whether a position has air to compute with.
func measuredAir(c *series.Course) bool {
	return c != nil && c.VapourPa.Len() > 1 && c.TempC.Len() > 1
}

// treated reports whether a repair names the position.
func treated(e roof.Event, id string) bool { return slices.Contains(e.Treats, id) }
