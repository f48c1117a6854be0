package evidence

import "slices"

// Z95 and Z99 are how many standard deviations either side of its mean hold 95
// and 99 % of a normal distribution.
const (
	Z95 = 1.96
	Z99 = 2.58
)

// Quantile returns a quantile of a sorted sample, linear between its members so
// that the median of an even number is the middle of the two; 0 for none.
// (gonum's LinInterp runs along the cumulative distribution instead, half a
// place lower.)
func Quantile(sorted []float64, q float64) float64 {
	if len(sorted) == 0 {
		return 0
	}
	f := q * float64(len(sorted)-1)
	i := min(int(f), len(sorted)-1)
	if i == len(sorted)-1 {
		return sorted[i]
	}
	return sorted[i] + (f-float64(i))*(sorted[i+1]-sorted[i])
}

// Median returns the median of a sample in any order; 0 for none.
func Median(x []float64) float64 { return Quantile(slices.Sorted(slices.Values(x)), 0.5) }
