package evidence

import (
	"math"

	"dewcase/internal/reason/series"
)

// joinHours is how long two loggers must have been seen together before one can
// be brought to the other's level (common practice: a whole day, so that the
// hours of the day weigh alike).
const joinHours = 24

// Join makes one column of several loggers of a place, sampled at the same
// moments, perHour of them an hour: their mean, each brought to the common
// level first, so that one falling silent makes no step. They are levelled one
// after another, the fullest first, each against those before it; one that was
// never seen with them for a whole day cannot be levelled and is left out.
func Join(parts [][]float64, perHour int) []float64 {
	switch len(parts) {
	case 0:
		return nil
	case 1:
		return parts[0]
	}
	n := len(parts[0])
	sum, count := make([]float64, n), make([]float64, n)
	used := make([]bool, len(parts))
	shifts, joined := 0.0, 0.0
	for range parts {
		best, most, level := -1, 0, 0.0
		for i, p := range parts {
			if used[i] {
				continue
			}
			c, d := 0, 0.0 // the first is measured by its own length, the others by what they share
			for k, x := range p {
				if !math.IsNaN(x) && (joined == 0 || count[k] > 0) {
					c, d = c+1, d+sum[k]/math.Max(count[k], 1)-x
				}
			}
			if c > most {
				best, most, level = i, c, d/float64(c)
			}
		}
		if best < 0 || joined > 0 && most < joinHours*perHour {
			break
		}
		if joined == 0 {
			level = 0
		}
		used[best], joined, shifts = true, joined+1, shifts+level
		for k, x := range parts[best] {
			if !math.IsNaN(x) {
				sum[k], count[k] = sum[k]+x+level, count[k]+1
			}
		}
	}
	out := make([]float64, n)
	for k := range out {
		out[k] = sum[k]/count[k] - shifts/math.Max(joined, 1) // 0/0: not observed
	}
	return out
}

// Sampled lays a track on a regular grid: its means over n steps of stepMS from
// fromMS, NaN where less than share (0..1) of the step was observed.
func Sampled(t series.Track, fromMS, stepMS int64, n int, share float64) []float64 {
	out := make([]float64, n)
	for k, b := range t.Bins(fromMS, stepMS, n) {
		out[k] = b.Mean
		if b.ObservedMS == 0 || float64(b.ObservedMS) < share*float64(stepMS) {
			out[k] = math.NaN()
		}
	}
	return out
}
