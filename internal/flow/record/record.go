// Package record is the read path. It returns a case's calibrated record for
// any span, and caches its hourly values; a new reading recomputes only the
// hours that it can affect.
package record

import (
	"context"
	"fmt"
	"iter"
	"math"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"dewcase/internal/flow/kept"
	"dewcase/internal/flow/qc"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// hourMS is the grain of what is kept at hand.
const (
	hourMS = evidence.HourMS
	dayMS  = 24 * hourMS
)

// mostAsked is the longest stretch, in hours, that is put together of hours.
const mostAsked = 50_000

// quietMS is how far apart a flag and the readings that cause it can lie.
const quietMS = int64(qc.Reach / time.Millisecond)

// Reader reads the record of every case. It is safe for concurrent use.
type Reader struct {
	store  roof.ReadingStore
	shelf  Shelf // nil: nothing outlives this reader
	method string
	now    func() time.Time
	by     roof.Workers // of long stretches
	// unkept counts what the shelf would not take.
	unkept atomic.Int64

	mu     sync.Mutex
	cases  map[string]*held
	byRows queue // cases with rows at hand
	byTail queue // cases with a tail at hand
}

// New makes a reader of a store, with nothing cached.
func New(store roof.ReadingStore) *Reader {
	return &Reader{store: store, by: roof.InTurn, cases: map[string]*held{}, byRows: queue{most: maxHours},
		byTail: queue{most: maxTailBytes}}
}

// By has the reader work long stretches out by workers. It is called before any
// other.
func (r *Reader) By(workers roof.Workers) *Reader {
	r.by = workers
	return r
}

// workers work out a stretch of so many ms; what is remembered of the readings of a
// short one is not for several at a time.
func (r *Reader) workers(ms int64) roof.Workers {
	if ms <= maxRemembered.Milliseconds() {
		return roof.InTurn
	}
	return r.by
}

// CaseChanged drops what is cached of a case: fittings, offsets or
// surfaces may be others now.
func (r *Reader) CaseChanged(caseID string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if k := r.cases[caseID]; k != nil {
		r.drop(k)
		k.c = nil
		k.version++
		k.came(math.MinInt64)
	}
}

// Appended drops the cached hours that new readings can change.
func (r *Reader) Appended(caseID string, readings []roof.Reading, outcomes []roof.Outcome) {
	r.mu.Lock()
	defer r.mu.Unlock()
	k := r.held(caseID)
	for i, x := range readings {
		if outcomes[i] != roof.Stored && outcomes[i] != roof.Merged {
			continue
		}
		k.version++
		k.came(x.At.UnixMilli())
		if k.c == nil || r.usualIsOld(k, x.Logger) {
			continue
		}
		l := slices.IndexFunc(k.c.Loggers, func(l roof.Logger) bool { return l.ID == x.Logger })
		if l < 0 {
			continue // no hour rests on it
		}
		if k.calm != nil && !k.calm.Take(l, x) {
			k.calm = nil
		}
		pad := spanMS(k.c, k.usual, x.Logger)
		if k.calm == nil {
			pad += quietMS
		}
		ms := x.At.UnixMilli()
		r.forgetHours(k, floor(ms-pad, phaseMS(k.c)), ms+pad)
	}
}

// Readings counts the stored readings of the case's loggers.
func (r *Reader) Readings(ctx context.Context, c *roof.Case) (int64, error) {
	spans, err := r.store.Spans(ctx, c.ID)
	if err != nil {
		return 0, fmt.Errorf("counting the readings of case %s: %w", c.ID, err)
	}
	n := int64(0)
	for _, s := range spans {
		if _, known := c.Logger(s.Logger); known {
			n += s.Count
		}
	}
	return n, nil
}

// Version returns a number that rises with every stored reading and every change
// of the case file; it starts anew with the daemon.
func (r *Reader) Version(caseID string) int64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	if k := r.cases[caseID]; k != nil {
		return k.version
	}
	return 0
}

// usualIsOld counts a new reading of a logger and reports that its usual
// interval has to be found anew, with everything that rests on it: as many
// readings came since as it was found from. One found before the first reading,
// as when a new house's page is opened, would otherwise make gaps for ever.
func (r *Reader) usualIsOld(k *held, logger string) bool {
	left, found := k.fresh[logger]
	if !found {
		return false
	}
	if left > 1 {
		k.fresh[logger] = left - 1
		return false
	}
	r.drop(k)
	return true
}

// spanMS is the longest interval of a logger that counts as observed, 0 for one
// of which nothing is known.
func spanMS(c *roof.Case, usual map[string]int64, logger string) int64 {
	if l, ok := c.Logger(logger); ok && l.Interval > 0 {
		return series.LongestSpanMS(l.Interval.Milliseconds())
	}
	return series.LongestSpanMS(usual[logger])
}

// phaseMS shifts the grid of hours so that it lies on the clock hours of the
// property's zone, also where that is half an hour off.
// Where summer time is half an hour (Lord Howe Island) the hours lie on the
// clock's for one half of the year and begin at half past for the other: each is
// right for the hour it covers, and Timeline works out anew what is asked for
// off this grid.
func phaseMS(c *roof.Case) int64 {
	_, offset := time.Unix(1_700_000_000, 0).In(c.Property.Zone).Zone()
	return ((-int64(offset)*1000)%hourMS + hourMS) % hourMS
}

func floor(ms, phase int64) int64 { return floorTo(ms, phase, hourMS) }

func floorTo(ms, phase, step int64) int64 {
	x := (ms - phase) % step
	if x < 0 {
		x += step
	}
	return ms - x
}

// Span returns when the first and the last reading of the case's fitted loggers
// were measured, in Unix ms; ok is false before the first. What a logger sent
// before it was fitted, as one does whose clock fell back to its beginning, does
// not stretch it.
func (r *Reader) Span(ctx context.Context, c *roof.Case) (fromMS, untilMS int64, ok bool, err error) {
	spans, err := r.store.Spans(ctx, c.ID)
	if err != nil {
		return 0, 0, false, fmt.Errorf("listing the loggers of case %s: %w", c.ID, err)
	}
	for _, s := range spans {
		l, known := c.Logger(s.Logger)
		if !known || len(l.Fitted) == 0 {
			continue
		}
		fitted := l.Fitted[0].From
		for _, x := range l.Fitted[1:] {
			if x.From.Before(fitted) {
				fitted = x.From
			}
		}
		f, u := s.First.UnixMilli(), s.Last.UnixMilli()
		if s.First.Before(fitted) {
			if s.Last.Before(fitted) {
				continue
			}
			for x, err := range r.store.Range(ctx, c.ID, s.Logger, fitted, time.Time{}) {
				if err != nil {
					return 0, 0, false, fmt.Errorf("finding the first reading of logger %s of case %s: %w", s.Logger, c.ID, err)
				}
				f = x.At.UnixMilli()
				break
			}
		}
		if !ok || f < fromMS {
			fromMS = f
		}
		if !ok || u > untilMS {
			untilMS = u
		}
		ok = true
	}
	return fromMS, untilMS, ok, nil
}

// Whole returns the case's whole record, calibrated and flagged, read by workers.
func (r *Reader) Whole(ctx context.Context, c *roof.Case, by roof.Workers) (*series.Set, error) {
	usual, err := r.usualOf(ctx, c)
	if err != nil {
		return nil, err
	}
	return r.gather(c, usual, r.readings(ctx, c, time.Time{}, time.Time{}), by)
}

// Around returns the record over [fromMS, untilMS), in Unix ms, with what lies
// before and after it as far as it reaches into the span. The set's own bounds
// are the span.
func (r *Reader) Around(ctx context.Context, c *roof.Case, fromMS, untilMS int64) (*series.Set, error) {
	usual, err := r.usualOf(ctx, c)
	if err != nil {
		return nil, err
	}
	pad := padMS(c, usual)
	of := r.readings(ctx, c, time.UnixMilli(fromMS-pad), time.UnixMilli(untilMS+pad))
	set, err := r.gather(c, usual, of, r.workers(untilMS-fromMS+2*pad))
	if err != nil {
		return nil, err
	}
	set.FromMS, set.UntilMS = fromMS, untilMS
	return set, nil
}

// readings gives one logger's readings in time order.
type readings func(logger string) iter.Seq2[roof.Reading, error]

// maxRemembered is the longest stretch whose readings are remembered while they
// are judged; those of a longer one are read twice.
const maxRemembered = 7 * 24 * time.Hour

// readings gives a case's readings of [from, until); a zero time sets no bound.
func (r *Reader) readings(ctx context.Context, c *roof.Case, from, until time.Time) readings {
	of := func(logger string) iter.Seq2[roof.Reading, error] {
		return r.store.Range(ctx, c.ID, logger, from, until)
	}
	if from.IsZero() || until.IsZero() || until.Sub(from) > maxRemembered {
		return of
	}
	return remembered(of)
}

// remembered reads each logger's readings once.
func remembered(of readings) readings {
	had := map[string][]roof.Reading{}
	return func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			all, ok := had[logger]
			if !ok {
				for x, err := range of(logger) {
					if err != nil {
						yield(x, err)
						return
					}
					all = append(all, x)
				}
				had[logger] = all
			}
			for _, x := range all {
				if !yield(x, nil) {
					return
				}
			}
		}
	}
}

// Flagged gives the readings of each of a case's loggers from a time in the last days
// on, with the flags that their history gives, and some of before. These begin
// qc.Reach before, unless calm is what Flagged gave the last time and nothing came
// since but what was new: then no more than is needed.
func (r *Reader) Flagged(ctx context.Context, c *roof.Case, from time.Time, calm *qc.Calm) (
	func(logger string) iter.Seq2[roof.Reading, error], *qc.Calm, error) {
	k := r.of(c)
	r.mu.Lock()
	now, since := k.calm, k.calmMS
	r.mu.Unlock()
	before := qc.Reach
	if now != nil && now == calm && from.UnixMilli() >= since {
		before = qc.JumpWithin
	}
	flagged, err := qc.Flag(c, remembered(r.readings(ctx, c, from.Add(-before), time.Time{})))
	return flagged, now, err
}

// gather builds a case's record from readings, judged by these alone.
func (r *Reader) gather(c *roof.Case, usual map[string]int64, of readings, by roof.Workers) (*series.Set, error) {
	flagged, err := qc.FlagBy(by, c, of)
	if err != nil {
		return nil, err
	}
	b := series.NewBuilder(c, 0)
	b.UsualMS = usual
	return b.Build(by, flagged)
}

// usualOf finds the usual interval of each logger whose case file does not say,
// once for each version of the file and each doubling of its readings.
func (r *Reader) usualOf(ctx context.Context, c *roof.Case) (map[string]int64, error) {
	k := r.of(c)
	r.mu.Lock()
	usual := k.usual
	r.mu.Unlock()
	if usual != nil {
		return usual, nil
	}
	usual = map[string]int64{}
	fresh := map[string]int{}
	found, err := r.intervalsOf(ctx, c)
	if err != nil {
		return nil, err
	}
	for id, g := range found {
		usual[id], fresh[id] = g.UsualMS(), max(g.N(), 1)
	}
	r.mu.Lock()
	if k.c == c {
		k.usual, k.fresh = usual, fresh
	}
	r.mu.Unlock()
	return usual, nil
}

// Timeline returns the view over [fromMS, untilMS) in steps of stepMS, all in ms.
// Whole hours on the clock come from the cache.
func (r *Reader) Timeline(ctx context.Context, c *roof.Case, fromMS, untilMS, stepMS int64) (timeline.View, error) {
	n, err := timeline.Steps(c.ID, fromMS, untilMS, stepMS)
	if err != nil {
		return timeline.View{}, err
	}
	phase := phaseMS(c)
	if stepMS%hourMS != 0 || floor(fromMS, phase) != fromMS || floor(untilMS, phase) != untilMS ||
		int64(n)*(stepMS/hourMS) > mostAsked {
		set, err := r.Around(ctx, c, fromMS, untilMS)
		if err != nil {
			return timeline.View{}, err
		}
		return timeline.Stepped(set, fromMS, untilMS, stepMS)
	}
	rows, err := r.Hours(ctx, c, fromMS, untilMS)
	if err != nil {
		return timeline.View{}, err
	}
	return timeline.Laid(c, timeline.Fold(rows, int(stepMS/hourMS)), fromMS, untilMS, stepMS), nil
}

// HourAt returns the start, in Unix ms, of the clock hour in the property's zone
// that holds a time.
func HourAt(c *roof.Case, ms int64) int64 { return floor(ms, phaseMS(c)) }

// Hours returns the hourly rows of [fromMS, untilMS), in Unix ms, both on the
// clock hour (HourAt).
func (r *Reader) Hours(ctx context.Context, c *roof.Case, fromMS, untilMS int64) ([]timeline.Row, error) {
	k := r.of(c)
	k.work.Lock()
	defer k.work.Unlock()
	out := hours{fromMS, make([]timeline.Row, (untilMS-fromMS)/hourMS)}
	missing := r.fill(out, c, k)
	if len(missing) == 0 {
		return out.rows, nil
	}
	version := r.Version(c.ID)
	if r.shelf != nil && kept.Local(c) {
		var err error
		if missing, err = r.takeDown(ctx, c, k, out, missing); err != nil {
			return nil, err
		}
	}
	for _, m := range missing {
		if err := r.workOut(ctx, c, k, out, m, false); err != nil {
			return nil, err
		}
	}
	if len(missing) > 0 && r.shelf != nil {
		r.holdTail(ctx, c, k, version, out)
	}
	return out.rows, nil
}

// hours are rows from an hour on; one without positions and surfaces is missing.
type hours struct {
	fromMS int64
	rows   []timeline.Row
}

func (h hours) at(i int) int64 { return h.fromMS + int64(i)*hourMS }

func (h hours) has(i int) bool { return h.rows[i].Positions != nil || h.rows[i].Surfaces != nil }

// put takes a row where it belongs, if it does.
func (h hours) put(ms int64, row timeline.Row) {
	if i := (ms - h.fromMS) / hourMS; ms >= h.fromMS && i < int64(len(h.rows)) {
		h.rows[i] = row
	}
}

// putAll takes the rows of other hours that lie within.
func (h hours) putAll(of hours) {
	for i, row := range of.rows {
		h.put(of.at(i), row)
	}
}

// span is [fromMS, untilMS), in Unix ms.
type span struct{ fromMS, untilMS int64 }

// missing lists the stretches without rows. Those that lie closer together than
// the readings to their sides reach are one.
func (h hours) missing() (out []span) {
	for i := range h.rows {
		if h.has(i) {
			continue
		}
		if n := len(out); n > 0 && h.at(i)-out[n-1].untilMS <= 2*quietMS {
			out[n-1].untilMS = h.at(i) + hourMS
		} else {
			out = append(out, span{h.at(i), h.at(i) + hourMS})
		}
	}
	return out
}
