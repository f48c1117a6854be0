package timeline

import (
	"time"

	"dewcase/internal/reason/series"
)

// Night is noon to noon in the property's zone, named by the date it begins on.
type Night struct {
	FromMS, UntilMS int64
	Date            string // 2026-12-24
}

// Nights lists the nights that touch [fromMS, untilMS). A night is 23 or 25
// hours long where the clocks change.
func Nights(zone *time.Location, fromMS, untilMS int64) []Night {
	if untilMS <= fromMS {
		return nil
	}
	t := time.UnixMilli(fromMS).In(zone)
	noon := time.Date(t.Year(), t.Month(), t.Day(), 12, 0, 0, 0, zone)
	if noon.UnixMilli() > fromMS {
		noon = time.Date(t.Year(), t.Month(), t.Day()-1, 12, 0, 0, 0, zone)
	}
	var out []Night
	for noon.UnixMilli() < untilMS {
		next := time.Date(noon.Year(), noon.Month(), noon.Day()+1, 12, 0, 0, 0, zone)
		out = append(out, Night{noon.UnixMilli(), next.UnixMilli(), noon.Format(time.DateOnly)})
		noon = next
	}
	return out
}

// CoverageOf is the share of [fromMS, untilMS) in which a position was
// observed, and its longest gap.
func CoverageOf(c *series.Course, fromMS, untilMS int64) (share, longestGapH float64) {
	if untilMS <= fromMS {
		return 0, 0
	}
	t := Observed(c)
	return float64(t.ObservedMS(fromMS, untilMS)) / float64(untilMS-fromMS),
		float64(t.LongestGapMS(fromMS, untilMS)) / 3.6e6
}
