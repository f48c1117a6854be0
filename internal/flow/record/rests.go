package record

import (
	"context"

	"dewcase/internal/flow/kept"
	"dewcase/internal/roof"
)

// Usual gives the usual intervals, in ms, of the loggers of a case whose entry does
// not say.
func (r *Reader) Usual(ctx context.Context, c *roof.Case) (map[string]int64, error) {
	return r.usualOf(ctx, c)
}

// Rests gives the digests of what stretches within [fromMS, untilMS), in Unix ms,
// rest on where a method works them out from Around; a stretch that ends after
// settledMS still changes with readings of its own time. It is asked only of a
// reader that keeps its hours on a shelf; ok is false where what lies far off
// bears on a stretch too, so that nothing of it is to be kept.
func (r *Reader) Rests(ctx context.Context, c *roof.Case, method string, fromMS, untilMS int64) (of kept.Hours,
	settledMS int64, ok bool, err error) {
	if !kept.Local(c) {
		return of, 0, false, nil
	}
	usual, err := r.usualOf(ctx, c)
	if err != nil {
		return of, 0, false, err
	}
	pad := padMS(c, usual)
	days, err := r.shelf.DaySums(ctx, c.ID, kept.DayOf(fromMS-pad), kept.DayOf(untilMS+pad))
	return kept.NewHours(method, c, usual, pad, days), r.settledMS(c, usual), err == nil, err
}
