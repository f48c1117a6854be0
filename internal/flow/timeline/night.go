package timeline

import "dewcase/internal/reason/series"

// CoverageOf is the share of [fromMS, untilMS) in which a position was
// observed, and its longest gap.
func CoverageOf(c *series.Course, fromMS, untilMS int64) (share, longestGapH float64) {
	if untilMS <= fromMS {
		return 0, 0
	}
	t := observed(c)
	return float64(t.ObservedMS(fromMS, untilMS)) / float64(untilMS-fromMS),
		float64(t.LongestGapMS(fromMS, untilMS)) / 3.6e6
}
