package cause

import (
	"math"
	"slices"
	"sort"
	"time"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/series"
)

const hourMS = int64(time.Hour / time.Millisecond)

// grid is a run of hourly samples; sample k stands for the hour around its time.
type grid struct {
	startMS int64
	n       int
	zone    *time.Location
}

func (g grid) at(k int) int64 { return g.startMS + int64(k)*hourMS }

// days is the length of the grid in days.
func (g grid) days() float64 { return float64(g.n) / 24 }

// edgeMS is where the hour of sample k begins.
func (g grid) edgeMS(k int) int64 { return g.at(k) - hourMS/2 }

func (g grid) fromMS() int64  { return g.edgeMS(0) }
func (g grid) untilMS() int64 { return g.edgeMS(g.n) }

// local is the wall clock of sample k at the property.
func (g grid) local(k int) time.Time { return time.UnixMilli(g.at(k)).In(g.zone) }

// dark says for every sample whether it lies in the method's night, 21:00 to
// 07:00 local time.
func (g grid) dark() []bool {
	out := make([]bool, g.n)
	for k := range out {
		h := g.local(k).Hour()
		out[k] = h >= 21 || h < 7
	}
	return out
}

// nights numbers every sample's noon-to-noon night from 0.
func (g grid) nights() ([]int, int) {
	out := make([]int, g.n)
	var last string
	n := -1
	for k := range out {
		if day := g.local(k).Add(-12 * time.Hour).Format(time.DateOnly); day != last {
			n++
			last = day
		}
		out[k] = n
	}
	return out, n + 1
}

// air is one position, or one place with several, hour by hour.
type air struct {
	ids      []string
	tempC    []float64
	vapourPa []float64
	// standard uncertainties of the constant offsets, missing where unknown
	uTempC, uRHPct float64
}

func (a *air) empty() bool {
	return a == nil || countKnown(a.tempC) == 0 && countKnown(a.vapourPa) == 0
}

// usualMS is the median interval between a track's readings.
func usualMS(t series.Track) int64 {
	if t.Len() < 2 {
		return hourMS
	}
	d := make([]int64, 0, t.Len()-1)
	for i := 1; i < t.Len(); i++ {
		d = append(d, t.AtMS[i]-t.AtMS[i-1])
	}
	slices.Sort(d)
	return d[len(d)/2]
}

// coarse loggers report about once an hour or less: an hour is then the reading
// nearest to it, because a mean of neighbouring readings would smooth away the
// quick changes that the method rests on.
func coarse(t series.Track) bool { return usualMS(t) >= 40*60*1000 }

// phaseMS is the minute of the hour at which the grid's samples lie: that of
// the coarse loggers' readings where there are any, else the half hour, so that
// a sample is the mean of one hour of the clock.
func phaseMS(set *series.Set) int64 {
	var counts [60]int
	any := false
	for i := range set.Courses {
		t := set.Courses[i].TempC
		if t.Len() < 24 || !coarse(t) {
			continue
		}
		any = true
		for _, ms := range t.AtMS {
			counts[(ms+30_000)/60_000%60]++
		}
	}
	if !any {
		return hourMS / 2
	}
	best := 0
	for m, n := range counts {
		if n > counts[best] {
			best = m
		}
	}
	return int64(best) * 60_000
}

// sampled is a track on the grid: hourly means where at least two thirds of the
// hour were observed, or the reading at the hour of a coarse logger.
func sampled(t series.Track, g grid) []float64 {
	out := make([]float64, g.n)
	if !coarse(t) {
		for k, b := range t.Bins(g.startMS-hourMS/2, hourMS, g.n) {
			out[k] = missing
			if 3*b.ObservedMS >= 2*hourMS {
				out[k] = b.Mean
			}
		}
		return out
	}
	for k := range out {
		ms := g.at(k)
		out[k] = missing
		i := sort.Search(t.Len(), func(i int) bool { return t.AtMS[i] >= ms })
		near := -1
		if i < t.Len() && t.AtMS[i]-ms <= 10*60_000 {
			near = i
		}
		if i > 0 && ms-t.AtMS[i-1] <= 10*60_000 && (near < 0 || ms-t.AtMS[i-1] < t.AtMS[near]-ms) {
			near = i - 1
		}
		if near >= 0 {
			out[k] = t.Value[near]
		} else if v, ok := t.At(ms); ok {
			out[k] = v
		}
	}
	return out
}

// stuckSpans are the stretches in which a humidity stands still to 0.002 % for
// 8 h or longer below 98.5 %: a stuck sensor. A logger that reports whole steps
// also stands still by rounding; where the rule would cost such a logger more
// than a tenth of its time, it gets 24 h instead.
func stuckSpans(rh series.Track) [][2]int64 {
	spans, sum := stillSpans(rh, 8*hourMS)
	if rh.Len() > 1 && 10*sum > rh.AtMS[rh.Len()-1]-rh.AtMS[0] && resolution(rh) >= 0.4 {
		spans, _ = stillSpans(rh, 24*hourMS)
	}
	return spans
}

func stillSpans(rh series.Track, hold int64) (out [][2]int64, sum int64) {
	for i := 0; i < rh.Len(); {
		lo, hi := rh.Value[i], rh.Value[i]
		j := i + 1
		for ; j < rh.Len(); j++ {
			l, h := math.Min(lo, rh.Value[j]), math.Max(hi, rh.Value[j])
			if h-l > 0.002 || rh.AtMS[j]-rh.AtMS[j-1] > 3*hourMS {
				break
			}
			lo, hi = l, h
		}
		if d := rh.AtMS[j-1] - rh.AtMS[i]; d >= hold && hi < 98.5 {
			out = append(out, [2]int64{rh.AtMS[i], rh.AtMS[j-1]})
			sum += d
		}
		i = j
	}
	return out, sum
}

// resolution is the smallest usual step of a track: the 5 % quantile of its
// non-zero steps.
func resolution(t series.Track) float64 {
	var steps []float64
	for i := 1; i < t.Len(); i++ {
		if d := math.Abs(t.Value[i] - t.Value[i-1]); d > 1e-9 {
			steps = append(steps, d)
		}
	}
	if len(steps) == 0 {
		return 0
	}
	slices.Sort(steps)
	return steps[len(steps)/20]
}

// sampledCourse is one position on the grid with its loggers' accuracy.
func sampledCourse(c *series.Course, g grid) *air {
	a := &air{ids: []string{c.Position.ID}, tempC: sampled(c.TempC, g), vapourPa: sampled(c.VapourPa, g)}
	for _, s := range stuckSpans(c.RHPct) {
		lo := max(int((s[0]-g.startMS)/hourMS)-1, 0)
		for k := lo; k < g.n && g.at(k) <= s[1]; k++ {
			if g.at(k) >= s[0] {
				a.vapourPa[k] = missing
			}
		}
	}
	a.uTempC, a.uRHPct = offsetUncertainty(c)
	return a
}

// offsetUncertainty is the standard uncertainty of a position's constant offset
// in K and %RH: the largest among its loggers, missing where one is unknown.
func offsetUncertainty(c *series.Course) (tempC, rhPct float64) {
	for _, s := range c.Stints {
		div := math.Sqrt(3) // limits of a rectangular distribution
		if s.Accuracy.K > 0 {
			div = s.Accuracy.K
		}
		pick := func(maker, check *float64, so float64) float64 {
			if check != nil {
				maker = check
			}
			if maker == nil || !known(so) {
				return missing
			}
			return math.Max(so, *maker/div)
		}
		tempC = pick(s.Accuracy.TempC, s.Offset.TempUncC, tempC)
		rhPct = pick(s.Accuracy.RHPct, s.Offset.RHUncPct, rhPct)
	}
	return tempC, rhPct
}

// together joins several positions of one place: their mean, each brought to
// the common level first so that one falling silent makes no step.
func together(parts []*air) *air {
	if len(parts) == 0 {
		return nil
	}
	if len(parts) == 1 {
		return parts[0]
	}
	out := &air{uTempC: parts[0].uTempC, uRHPct: parts[0].uRHPct}
	var temps, vapours [][]float64
	for _, p := range parts {
		out.ids = append(out.ids, p.ids...)
		temps, vapours = append(temps, p.tempC), append(vapours, p.vapourPa)
		out.uTempC, out.uRHPct = larger(out.uTempC, p.uTempC), larger(out.uRHPct, p.uRHPct)
	}
	out.tempC, out.vapourPa = levelled(temps), levelled(vapours)
	return out
}

func larger(a, b float64) float64 {
	if !known(a) || !known(b) {
		return missing
	}
	return math.Max(a, b)
}

func levelled(x [][]float64) []float64 {
	n := len(x[0])
	level := make([]float64, len(x))
	common := 0
	for i := range n {
		all := true
		for j := range x {
			all = all && known(x[j][i])
		}
		if !all {
			continue
		}
		common++
		for j := range x {
			level[j] += x[j][i]
		}
	}
	if common >= 24 {
		m := 0.0
		for j := range level {
			level[j] /= float64(common)
			m += level[j] / float64(len(x))
		}
		for j := range level {
			level[j] -= m
		}
	} else {
		// never seen together: the fullest one counts alone
		best := 0
		for j := range x {
			if countKnown(x[j]) > countKnown(x[best]) {
				best = j
			}
		}
		return x[best]
	}
	out := make([]float64, n)
	for i := range out {
		sum, c := 0.0, 0
		for j := range x {
			if known(x[j][i]) {
				sum += x[j][i] - level[j]
				c++
			}
		}
		out[i] = missing
		if c > 0 {
			out[i] = sum / float64(c)
		}
	}
	return out
}

// satWater is the saturation pressure over water of every hour.
func satWater(tempC []float64) []float64 {
	return each(func(v ...float64) float64 { return psychro.SatWaterPa(v[0]) }, tempC)
}

// dewC is the dew point over water of every hour.
func dewC(vapourPa []float64) []float64 {
	return each(func(v ...float64) float64 {
		d, err := psychro.DewPointC(math.Max(v[0], psychro.FloorPa))
		if err != nil {
			return missing
		}
		return d
	}, vapourPa)
}
