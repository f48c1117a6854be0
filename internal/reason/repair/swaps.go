package repair

import (
	"fmt"
	"math"
	"time"

	"dewcase/internal/reason/series"
)

// shift is a logger that seems to have changed at some date.
type shift struct {
	output int // 0 loft, 1 void
	bin    int
	what   string
}

const (
	shiftNights  = 5
	shiftLimit   = 5.0
	shiftFloorK  = 0.12
	shiftLargeK  = 0.9 // about 6 %RH; sound simulated loggers stayed under 0.5
	shiftLargeZ  = 3.0
	swapNearBins = 7 * 48
)

// declaredSwaps are exchanges of the loft's or the void's logger in the case
// file at another date than the repair's; each gets a step of its own.
func (s *site) declaredSwaps() []shift {
	var out []shift
	for o, c := range [2]*series.Course{s.loftCourse, s.voidCourse} {
		if c == nil {
			continue
		}
		for i := 1; i < len(c.Stints); i++ {
			if c.Stints[i].Logger == c.Stints[i-1].Logger {
				continue
			}
			k := s.inside(c.Stints[i].FromMS)
			if near(k, s.repairBin) || k <= 0 || k >= s.n {
				continue
			}
			out = append(out, shift{o, k, fmt.Sprintf("the logger at %s was exchanged on %s: a step of its own is allowed for",
				c.Position.ID, s.dateOf(k))})
		}
	}
	return out
}

func near(a, b int) bool { return a-b < swapNearBins && b-a < swapNearBins }

func (s *site) dateOf(k int) string { return day0(s.set.Case, time.UnixMilli(s.at(k))) }

// undeclaredSwaps looks for a date at which the residuals of one logger step:
// the mean of the five nights after against the five before, over the scatter
// of a night, or a large step that stands out less. At the repair itself the two cannot be told apart.
func (j *judge) undeclaredSwaps(l *look) []shift {
	var out []shift
	s := j.s
	for o := range l.trial.out {
		nights, mean := nightlyMeans(s, &l.trial.out[o])
		c := [2]*series.Course{s.loftCourse, s.voidCourse}[o]
		best, at := shiftLimit, -1
		for i := shiftNights; i+shiftNights <= len(nights); i++ {
			if nights[i+shiftNights-1]-nights[i-shiftNights] > 4*shiftNights || near(s.nights[nights[i]].from, s.repairBin) {
				continue
			}
			a, sa := meanSD(mean[i-shiftNights : i])
			b, sb := meanSD(mean[i : i+shiftNights])
			z := math.Abs(a-b) / math.Max(math.Sqrt((sa*sa+sb*sb)/2), shiftFloorK)
			if math.Abs(a-b) > shiftLargeK && z > shiftLargeZ {
				z = math.Max(z, shiftLimit+math.Abs(a-b)) // a large step need not be a clean one
			}
			if z > best {
				best, at = z, s.nights[nights[i]].from
			}
		}
		if at > 0 && c != nil {
			out = append(out, shift{o, at, fmt.Sprintf("logger changed or moved? Against the model of this surface the "+
				"readings at %s step on about %s without a word in the case file; a step is allowed for", c.Position.ID,
				s.dateOf(at))})
		}
	}
	return out
}

// nightlyMeans are the weighted mean residuals of each night with enough hours.
func nightlyMeans(s *site, o *output) (nights []int, mean []float64) {
	sum, wgt := map[int32]float64{}, map[int32]float64{}
	for i, h := range o.hour {
		n := s.nightOf[2*h]
		sum[n] += o.weight[i] * o.e[i]
		wgt[n] += o.weight[i]
	}
	for n := range s.nights {
		if w := wgt[int32(n)]; w > 1 {
			nights, mean = append(nights, n), append(mean, sum[int32(n)]/w)
		}
	}
	return nights, mean
}

// allow gives the found steps an unknown each: the last of each logger.
func (j *judge) allow(shifts []shift) {
	for _, x := range shifts {
		if x.output == 0 {
			j.terms.loftSwapBin = x.bin
		} else {
			j.terms.voidSwapBin = x.bin
		}
		j.s.notes = append(j.s.notes, x.what)
	}
}
