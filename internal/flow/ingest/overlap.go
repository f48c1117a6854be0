package ingest

import (
	"time"

	"dewcase/internal/roof"
)

// TwiceWithin is how far apart two instances may have dated one message that has no
// time of its own: what their clocks and their ways from the broker differ by.
const TwiceWithin = 30 * time.Second

// Untimed reports whether a reading is dated by its arrival.
func Untimed(r roof.Reading) bool { return r.Flags&roof.FlagArrivalTime != 0 }

// Repeats compares one logger's untimed readings of two instances that took the same
// messages for a while, each in the order of their dates: theirs ends with what is
// here first. It marks those of theirs that are here already under this instance's
// dates, and says how many at the end of theirs should still come here. Readings with
// times of their own need no such comparison.
//
// Both are runs of one stream of messages, so that one shift lays them over one
// another: that with the most equal values and, of several, the nearest dates. What
// is not equal under it counts as not here: it would rather be stored twice than
// lost.
func Repeats(here, theirs []roof.Reading) (repeats []bool, late int) {
	repeats = make([]bool, len(theirs))
	if len(here) == 0 {
		return repeats, 0
	}
	shift, bestEqual, bestApart := -1, 0.5, time.Duration(0)
	for s := range theirs {
		if here[0].At.Sub(theirs[s].At).Abs() > TwiceWithin {
			continue
		}
		n := min(len(theirs)-s, len(here))
		equal, apart := 0, time.Duration(0)
		for i := range n {
			if here[i].Values == theirs[s+i].Values {
				equal++
			}
			apart += here[i].At.Sub(theirs[s+i].At).Abs() / time.Duration(n)
		}
		share := float64(equal) / float64(n)
		if share > bestEqual || share == bestEqual && shift >= 0 && apart < bestApart {
			shift, bestEqual, bestApart = s, share, apart
		}
	}
	if shift < 0 {
		return repeats, 0
	}
	n := min(len(theirs)-shift, len(here))
	used := make([]bool, n)
	for i := range n { // two topics of a logger may have come in another order here
		for _, j := range [...]int{i, i - 1, i + 1, i - 2, i + 2} {
			if j >= 0 && j < n && !used[j] && here[j].Values == theirs[shift+i].Values {
				repeats[shift+i], used[j] = true, true
				break
			}
		}
	}
	return repeats, len(theirs) - shift - n
}
