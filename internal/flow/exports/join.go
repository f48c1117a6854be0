package exports

import (
	"cmp"
	"slices"
	"time"

	"dewcase/internal/roof"
)

// MaxPair is the longest time over which temperature and humidity are joined.
const MaxPair = time.Hour

// half is a value of a file with a row a value, with its line.
type half struct {
	roof.Reading
	line int
}

// joined hands on the halves of one logger that a history of changes writes at
// times of their own: what comes first keeps its time, and what follows within the
// window joins it until a quantity comes again, as with messages that come apart.
func joined(all []half, window time.Duration, each func(roof.Reading, int) error) error {
	slices.SortStableFunc(all, func(a, b half) int {
		return cmp.Or(cmp.Compare(a.Logger, b.Logger), a.At.Compare(b.At))
	})
	for i := 0; i < len(all); {
		first := all[i]
		for i++; i < len(all) && all[i].Logger == first.Logger && all[i].At.Sub(first.At) <= window; i++ {
			if !first.take(all[i].Values) {
				break
			}
			first.Flags |= all[i].Flags
		}
		if err := each(first.Reading, first.line); err != nil {
			return err
		}
	}
	return nil
}

// take adds values; false where one is there already.
func (h *half) take(v roof.Values) bool {
	for q := range roof.Quantity(roof.QuantityCount) {
		if v.Has(q) && h.Values.Has(q) {
			return false
		}
	}
	for q := range roof.Quantity(roof.QuantityCount) {
		if x, ok := v.Get(q); ok {
			h.Values.Set(q, x)
		}
	}
	return true
}
