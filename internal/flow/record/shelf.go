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
	phase := phaseMS(c)
	settled := r.settledMS(c, usual)
	version, known := r.Version(c.ID), r.knownOf(k)
	isKnown := func(atMS int64) (x knownSheet, ok bool) {
		i := slices.IndexFunc(known, func(s knownSheet) bool {
			return s.atMS == atMS && (!s.early || atMS+sheetMS > settled)
		})
		if i < 0 {
			return x, false
		}
		return known[i], true
	}
	sheet := func(ms int64) int64 { return floorTo(ms, phase, sheetMS) }
	var starts []int64
	for _, m := range missing {
		for s := sheet(m.fromMS); s < m.untilMS; s += sheetMS {
			if _, ok := isKnown(s); !ok && s+sheetMS > settled {
				continue
			}
			if n := len(starts); n == 0 || starts[n-1] < s {
				starts = append(starts, s)
			}
		}
	}
	if len(starts) == 0 {
		return missing, nil
	}
	first, end := starts[0], starts[len(starts)-1]+sheetMS
	digests := func() (kept.Hours, error) {
		h, _, _, err := r.Rests(ctx, c, r.method, first, end)
		return h, err
	}
	values, err := r.shelf.Kept(ctx, kindHours, c.ID, first, end)
	if err != nil {
		return nil, err
	}
	// The digests are asked for where something is not known.
	var rests kept.Hours
	asked := false
	ask := func() (err error) {
		if !asked {
			rests, err = digests()
			asked = err == nil
		}
		return err
	}
	var found []hours
	var compared []knownSheet
	for _, v := range values {
		if _, wanted := slices.BinarySearch(starts, v.AtMS); !wanted {
			continue
		}
		if x, ok := isKnown(v.AtMS); !ok || x.rests != v.Rests {
			if err := ask(); err != nil {
				return nil, err
			}
			if v.AtMS+sheetMS > settled || v.Rests != rests.Of(v.AtMS, v.AtMS+sheetMS) {
				continue
			}
			compared = append(compared, knownSheet{atMS: v.AtMS, rests: v.Rests})
		}
		rows, err := unpackRows(v.Data, len(c.Positions), len(c.Surfaces()))
		if err != nil || len(rows) != sheetHours {
			continue // as if it were not there
		}
		h := hours{v.AtMS, rows}
		for i, row := range rows {
			out.put(h.at(i), row)
		}
		found = append(found, h)
		i, _ := slices.BinarySearch(starts, v.AtMS)
		starts = slices.Delete(starts, i, i+1)
	}
	r.hold(c, k, version, found...)
	starts = slices.DeleteFunc(starts, func(ms int64) bool { return ms+sheetMS > settled })
	if len(starts) > 0 {
		if err := ask(); err != nil {
			return nil, err
		}
	}
	// Sheets that are next to each other are worked out together.
	var made []roof.Derived
	for len(starts) > 0 {
		n := 1
		for n < len(starts) && starts[n] == starts[n-1]+sheetMS {
			n++
		}
		m := span{starts[0], starts[n-1] + sheetMS}
		starts = starts[n:]
		all := hours{m.fromMS, make([]timeline.Row, (m.untilMS-m.fromMS)/hourMS)}
		if err := r.workOut(ctx, c, k, all, m, true); err != nil {
			return nil, err
		}
		for i, row := range all.rows {
			out.put(all.at(i), row)
		}
		for i := 0; i < len(all.rows); i += sheetHours {
			made = append(made, roof.Derived{AtMS: all.at(i), Rests: rests.Of(all.at(i), all.at(i)+sheetMS),
				Data: packRows(all.rows[i : i+sheetHours])})
		}
	}
	if len(made) > 0 {
		// What is kept must rest on what its digest says: nothing of it changed
		// while it was worked out.
		again, err := digests()
		if err != nil {
			return nil, err
		}
		made = slices.DeleteFunc(made, func(v roof.Derived) bool { return v.Rests != again.Of(v.AtMS, v.AtMS+sheetMS) })
		r.keep(ctx, kindHours, c.ID, made)
		for _, v := range made {
			compared = append(compared, knownSheet{atMS: v.AtMS, rests: v.Rests})
		}
	}
	if len(compared) > 0 {
		r.know(c, k, version, compared)
	}
	return out.missing(), nil
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
