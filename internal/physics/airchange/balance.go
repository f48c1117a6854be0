// Package airchange estimates how often the air of a loft, a batten void or a
// house changes, from moisture that decays, balances or follows outdoors; every
// estimate comes with an interval or with the reason why the data cannot carry
// one.
package airchange

import (
	"errors"
	"fmt"
	"math"
)

// ErrInput is wrapped by every error about input that cannot be used.
var ErrInput = errors.New("cannot estimate the air change")

func positive(what string, xs ...float64) error {
	for _, x := range xs {
		if !(x > 0) || math.IsInf(x, 0) {
			return fmt.Errorf("%w: %s needs values above 0, got %g", ErrInput, what, x)
		}
	}
	return nil
}
