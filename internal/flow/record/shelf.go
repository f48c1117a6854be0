package record

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"dewcase/internal/flow/kept"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// Shelf keeps what was worked out beyond the life of a reader, under the digest
// of what it rests on.
type Shelf interface {
	// DaySums says what the store holds of each logger of a case on the UTC days
	// from one to another, both with them.
	DaySums(ctx context.Context, caseID string, from, until int64) ([]roof.DaySum, error)
	// Kept gives what is kept of a kind and a case over [from, until), in Unix ms.
	Kept(ctx context.Context, kind, caseID string, from, until int64) ([]roof.Derived, error)
	// Keep keeps values in place of those of the same kind, case and time.
	Keep(ctx context.Context, kind, caseID string, values []roof.Derived) error
}

// The kinds of what is kept.
const (
	kindHours = "hours" // a day of them
	kindUsual = "usual" // the usual intervals of loggers whose file does not say
)

// sheetMS is the stretch of hours that is kept together.
const (
	sheetMS    = dayMS
	sheetHours = int(sheetMS / hourMS)
)

// On has the reader keep its hours on a shelf, as worked out by a method, and take
// them from there. It is called before any other; without a method nothing is kept.
func (r *Reader) On(s Shelf, method string, now func() time.Time) *Reader {
	if method != "" {
		r.shelf, r.method, r.now = s, method, now
	}
	return r
}

// takeDown fills missing hours from the shelf, works out the sheets that lie far
// enough back to be kept, and returns what is missing then: the hours near the
// present.
func (r *Reader) takeDown(ctx context.Context, c *roof.Case, k *held, out hours, missing []span) ([]span, error) {
	usual, err := r.usualOf(ctx, c)
	if err != nil {
		return nil, err
	}
	version := r.Version(c.ID)
	x := shelved{r: r, c: c, k: k, settledMS: r.settledMS(c, usual), known: r.knownOf(k)}
	starts := x.sheets(missing)
	if len(starts) == 0 {
		return missing, nil
	}
	x.fromMS, x.untilMS = starts[0], starts[len(starts)-1]+sheetMS
	starts, found, err := x.find(ctx, starts, out)
	if err != nil {
		return nil, err
	}
	r.hold(c, k, version, found...)
	starts = slices.DeleteFunc(starts, func(ms int64) bool { return ms+sheetMS > x.settledMS })
	if err := x.workOut(ctx, starts, out); err != nil {
		return nil, err
	}
	if len(x.compared) > 0 {
		r.know(c, k, version, x.compared)
	}
	return out.missing(), nil
}

// shelved is one case's hours on the shelf, while they are taken down.
type shelved struct {
	r               *Reader
	c               *roof.Case
	k               *held
	settledMS       int64
	known           []knownSheet // what sheets rest on, without asking
	fromMS, untilMS int64        // of the sheets wanted
	rests           kept.Hours   // what they rest on, once it was asked for
	asked           bool
	compared        []knownSheet // sheets that rest on what they say
}

func (x *shelved) isKnown(atMS int64) (s knownSheet, ok bool) {
	i := slices.IndexFunc(x.known, func(s knownSheet) bool {
		return s.atMS == atMS && (!s.early || atMS+sheetMS > x.settledMS)
	})
	if i < 0 {
		return s, false
	}
	return x.known[i], true
}

// sheets lists where the sheets begin that can be had for missing hours.
func (x *shelved) sheets(missing []span) (starts []int64) {
	phase := phaseMS(x.c)
	for _, m := range missing {
		for s := floorTo(m.fromMS, phase, sheetMS); s < m.untilMS; s += sheetMS {
			if _, ok := x.isKnown(s); !ok && s+sheetMS > x.settledMS {
				continue
			}
			if n := len(starts); n == 0 || starts[n-1] < s {
				starts = append(starts, s)
			}
		}
	}
	return starts
}

func (x *shelved) digests(ctx context.Context) (kept.Hours, error) {
	h, _, _, err := x.r.Rests(ctx, x.c, x.r.method, x.fromMS, x.untilMS)
	return h, err
}

// ask finds out what the sheets rest on; that is done where something is not known.
func (x *shelved) ask(ctx context.Context) (err error) {
	if !x.asked {
		x.rests, err = x.digests(ctx)
		x.asked = err == nil
	}
	return err
}

// find puts what lies on the shelf into out, and returns the sheets that were not
// there and those that were.
func (x *shelved) find(ctx context.Context, starts []int64, out hours) (rest []int64, found []hours, err error) {
	values, err := x.r.shelf.Kept(ctx, kindHours, x.c.ID, x.fromMS, x.untilMS)
	if err != nil {
		return nil, nil, err
	}
	for _, v := range values {
		i, wanted := slices.BinarySearch(starts, v.AtMS)
		if !wanted {
			continue
		}
		if s, ok := x.isKnown(v.AtMS); !ok || s.rests != v.Rests {
			if err := x.ask(ctx); err != nil {
				return nil, nil, err
			}
			if v.AtMS+sheetMS > x.settledMS || v.Rests != x.rests.Of(v.AtMS, v.AtMS+sheetMS) {
				continue
			}
			x.compared = append(x.compared, knownSheet{atMS: v.AtMS, rests: v.Rests})
		}
		rows, err := unpackRows(v.Data, len(x.c.Positions), len(x.c.Surfaces()))
		if err != nil || len(rows) != sheetHours {
			continue // as if it were not there
		}
		h := hours{v.AtMS, rows}
		out.putAll(h)
		found = append(found, h)
		starts = slices.Delete(starts, i, i+1)
	}
	return starts, found, nil
}

// workOut works sheets out, those next to each other together, puts them into out
// and keeps them.
func (x *shelved) workOut(ctx context.Context, starts []int64, out hours) error {
	if len(starts) == 0 {
		return nil
	}
	if err := x.ask(ctx); err != nil {
		return err
	}
	var made []roof.Derived
	for len(starts) > 0 {
		n := 1
		for n < len(starts) && starts[n] == starts[n-1]+sheetMS {
			n++
		}
		m := span{starts[0], starts[n-1] + sheetMS}
		starts = starts[n:]
		all := hours{m.fromMS, make([]timeline.Row, (m.untilMS-m.fromMS)/hourMS)}
		if err := x.r.workOut(ctx, x.c, x.k, all, m, true); err != nil {
			return err
		}
		out.putAll(all)
		for i := 0; i < len(all.rows); i += sheetHours {
			made = append(made, roof.Derived{AtMS: all.at(i), Rests: x.rests.Of(all.at(i), all.at(i)+sheetMS),
				Data: packRows(all.rows[i : i+sheetHours])})
		}
	}
	// What is kept must rest on what its digest says: nothing of it changed
	// while it was worked out.
	again, err := x.digests(ctx)
	if err != nil {
		return err
	}
	made = slices.DeleteFunc(made, func(v roof.Derived) bool { return v.Rests != again.Of(v.AtMS, v.AtMS+sheetMS) })
	x.r.keep(ctx, kindHours, x.c.ID, made)
	for _, v := range made {
		x.compared = append(x.compared, knownSheet{atMS: v.AtMS, rests: v.Rests})
	}
	return nil
}

// padMS is how far beyond an hour the readings lie that bear on it.
func padMS(c *roof.Case, usual map[string]int64) int64 {
	pad := quietMS
	for _, l := range c.Loggers {
		pad = max(pad, quietMS+spanMS(c, usual, l.ID))
	}
	return pad
}

// intervals are those of the loggers of a case whose file does not say how often
// they send, up to the end of a UTC day.
type intervals struct {
	Until int64
	By    map[string]series.Intervals
}

// keptFor is for how many days intervals are kept before they are kept anew.
const keptFor = 7

// intervalsOf counts the intervals of the loggers whose file does not say: what
// is kept of the days gone by, and what came since.
func (r *Reader) intervalsOf(ctx context.Context, c *roof.Case) (map[string]series.Intervals, error) {
	silent := &roof.Case{ID: c.ID}
	for _, l := range c.Loggers {
		if l.Interval == 0 {
			silent.Loggers = append(silent.Loggers, l)
		}
	}
	if len(silent.Loggers) == 0 {
		return nil, nil
	}
	count := func(into map[string]series.Intervals, from, until time.Time) error {
		for _, l := range silent.Loggers {
			g := into[l.ID]
			for x, err := range r.store.Range(ctx, c.ID, l.ID, from, until) {
				if err != nil {
					return fmt.Errorf("finding the usual interval of logger %s of case %s: %w", l.ID, c.ID, err)
				}
				g.Add(x.At.UnixMilli(), x.Values)
			}
			into[l.ID] = g
		}
		return nil
	}
	if r.shelf == nil {
		all := map[string]series.Intervals{}
		return all, count(all, time.Time{}, time.Time{})
	}
	sums := func(until int64) (kept.Digest, error) {
		days, err := r.shelf.DaySums(ctx, c.ID, math.MinInt64, until)
		return kept.OfRecord(silent, days), err
	}
	yesterday := kept.DayOf(r.now().UnixMilli()) - 1
	known := r.keptIntervals(ctx, c.ID, sums)
	if known == nil || known.Until < yesterday-keptFor {
		before, err := sums(yesterday)
		if err != nil {
			return nil, err
		}
		known = &intervals{yesterday, map[string]series.Intervals{}}
		if err := count(known.By, time.Time{}, dayStart(yesterday+1)); err != nil {
			return nil, err
		}
		if after, err := sums(yesterday); err == nil && after == before {
			if data, err := kept.Pack(known); err == nil {
				r.keep(ctx, kindUsual, c.ID, []roof.Derived{{Rests: before, Data: data}})
			}
		}
	}
	return known.By, count(known.By, dayStart(known.Until+1), time.Time{})
}

// keptIntervals gives what is kept, nil where it rests on what is no longer so.
func (r *Reader) keptIntervals(ctx context.Context, caseID string, sums func(int64) (kept.Digest, error)) *intervals {
	values, err := r.shelf.Kept(ctx, kindUsual, caseID, 0, 1)
	if err != nil || len(values) == 0 {
		return nil
	}
	known := &intervals{}
	if kept.Unpack(values[0].Data, &known) != nil || known == nil {
		return nil
	}
	if rests, err := sums(known.Until); err != nil || rests != values[0].Rests {
		return nil
	}
	return known
}

func dayStart(day int64) time.Time { return time.UnixMilli(day * dayMS).UTC() }

// keep puts values on the shelf. One that cannot be kept is right all the same,
// and will be worked out again.
func (r *Reader) keep(ctx context.Context, kind, caseID string, values []roof.Derived) {
	if err := r.shelf.Keep(ctx, kind, caseID, values); err != nil && ctx.Err() == nil {
		r.unkept.Add(1)
	}
}
