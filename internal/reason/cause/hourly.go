package cause

import (
	"math"
	"sort"
	"time"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

const hourMS = evidence.HourMS

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
	all := evidence.Nights(g.zone, g.at(0), g.at(g.n))
	n := 0
	for k := range out {
		for g.at(k) >= all[n].UntilMS {
			n++
		}
		out[k] = n
	}
	return out, min(n+1, len(all))
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

// coarse loggers report about once an hour or less: an hour is then the reading
// nearest to it, because a mean of neighbouring readings would smooth away the
// quick changes that the method rests on.
func coarse(t series.Track) bool {
	if t.Len() < 2 {
		return true
	}
	joined := 0
	for _, j := range t.Joined {
		if j {
			joined++
		}
	}
	return t.ObservedMS(t.AtMS[0], t.AtMS[t.Len()-1]) >= int64(joined)*40*60_000
}

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

// sampledCourse is one position on the grid with its loggers' accuracy.
func sampledCourse(c *series.Course, g grid) *air {
	a := &air{ids: []string{c.Position.ID}, tempC: sampled(c.TempC, g), vapourPa: sampled(c.VapourPa, g),
		uTempC: missing, uRHPct: missing}
	if u, ok := evidence.Standard(c.Stints, roof.TempC); ok {
		a.uTempC = u
	}
	if u, ok := evidence.Standard(c.Stints, roof.RHPct); ok {
		a.uRHPct = u
	}
	return a
}

// together joins several positions of one place.
func together(parts []*air) *air {
	if len(parts) == 0 {
		return nil
	}
	out := &air{uTempC: parts[0].uTempC, uRHPct: parts[0].uRHPct}
	var temps, vapours [][]float64
	for _, p := range parts {
		out.ids = append(out.ids, p.ids...)
		temps, vapours = append(temps, p.tempC), append(vapours, p.vapourPa)
		// what one does not know, the mean does not (math.Max keeps NaN)
		out.uTempC, out.uRHPct = math.Max(out.uTempC, p.uTempC), math.Max(out.uRHPct, p.uRHPct)
	}
	out.tempC, out.vapourPa = evidence.Join(temps, 1), evidence.Join(vapours, 1)
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
