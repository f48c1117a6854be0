// Package airchange estimates the air change rate of a loft or a batten void
// from how its moisture follows outdoors and its own wood. Each estimate comes
// with an interval, or with the reason why the data do not allow one.
package airchange

import (
	"errors"
	"fmt"
	"math"
)

// ErrInput is wrapped by every error about input that cannot be used.
var ErrInput = errors.New("cannot estimate the air change")

// positive reports the first value that is not a finite number over 0.
func positive(what string, xs ...float64) error {
	for _, x := range xs {
		if !(x > 0) || math.IsInf(x, 0) {
			return fmt.Errorf("%w: %s needs values above 0, got %g", ErrInput, what, x)
		}
	}
	return nil
}
