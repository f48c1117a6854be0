package roof

import (
	"cmp"
	"slices"
	"time"
)

// Excluded is a stretch that a person left out of all evidence, with the reason:
// a logger taken down for a day, a hatch left open. Whatever touches it is no data.
type Excluded struct {
	From, To time.Time
	Position string // "" for every position
	Reason   string
}

// Of reports whether the stretch leaves out a position.
func (x Excluded) Of(position string) bool { return x.Position == "" || x.Position == position }

// LeftOut is how long a position was left out by hand within [from, until); with
// "" how long any was. Stretches that overlap count once.
func (c *Case) LeftOut(position string, from, until time.Time) (sum time.Duration) {
	all := slices.Clone(c.Excluded)
	slices.SortFunc(all, func(a, b Excluded) int { return cmp.Compare(a.From.UnixNano(), b.From.UnixNano()) })
	end := from
	for _, x := range all {
		if position != "" && !x.Of(position) {
			continue
		}
		a, b := x.From, x.To
		if a.Before(end) {
			a = end
		}
		if b.After(until) {
			b = until
		}
		if b.After(a) {
			sum, end = sum+b.Sub(a), b
		}
	}
	return sum
}
