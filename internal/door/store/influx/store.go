package influx

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"dewcase/internal/roof"
)

// DayKeeper is the local side that remembers, of every day, how many readings were
// stored and their digest, also once their content lies in the engine alone.
type DayKeeper interface {
	Outbox
	PostAll(ctx context.Context) error
	PostDay(ctx context.Context, of roof.KeptDay) error
	Aged(ctx context.Context, before time.Time, limit int) ([]roof.KeptDay, error)
	Elsewhere(ctx context.Context, caseID, logger string, from, until time.Time) ([]roof.KeptDay, error)
	Agrees(ctx context.Context, of roof.KeptDay, readings []roof.Reading) error
	Release(ctx context.Context, of roof.KeptDay, readings []roof.Reading) (released bool, err error)
	Adopt(ctx context.Context, of roof.KeptDay, readings []roof.Reading) error
}

// Local is a reading store with a shelf.
type Local interface {
	roof.ReadingStore
	DayKeeper
}

// Options tune a store. Zero values take the defaults.
type Options struct {
	Log  *slog.Logger
	Now  func() time.Time
	Keep time.Duration // how long readings stay here too; default 30 days, negative: for ever
}

// Store keeps readings in InfluxDB. Append is durable in the local store before
// it returns and never waits for the engine, except for a reading so late that
// its day lies in the engine alone. Old days leave the local store once the
// engine has been read back and agrees bit for bit; each later reading of them
// is held against the digest that stayed.
type Store struct {
	local  Local
	client *Client
	drain  *Drain
	opt    Options
	closed atomic.Pointer[error] // why nothing can be read back
}

// WriteOnly says why readings stay in the local store: the engine takes them but
// does not give them back. It is nil while that is not known.
func (s *Store) WriteOnly() error {
	if err := s.closed.Load(); err != nil {
		return *err
	}
	return nil
}

// tryOut writes and reads back a point, until the engine has answered.
func (s *Store) tryOut(ctx context.Context) {
	for {
		err := s.client.RoundTrip(ctx)
		if err == nil || ctx.Err() != nil {
			return
		}
		if errors.Is(err, errWriteOnly) {
			s.closed.Store(&err)
			s.opt.Log.Error("readings stay in the embedded store", "error", err)
			return
		}
		if !sleep(ctx, time.Minute) {
			return
		}
	}
}

// NewStore makes a store of a local one, opened with its outbox on, and an
// engine; Run does the copying.
func NewStore(local Local, client *Client, drain *Drain, opt Options) *Store {
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Keep == 0 {
		opt.Keep = 30 * 24 * time.Hour
	}
	return &Store{local: local, client: client, drain: drain, opt: opt}
}

// Run copies and releases until the context ends.
func (s *Store) Run(ctx context.Context) {
	var running sync.WaitGroup
	defer running.Wait()
	running.Go(func() { s.drain.Run(ctx) })
	running.Go(func() { s.tryOut(ctx) })
	for sleep(ctx, time.Minute) {
		if _, err := s.Release(ctx); err != nil && ctx.Err() == nil {
			s.opt.Log.Error("readings are not released to InfluxDB", "error", err)
		}
	}
}

// Append implements roof.ReadingStore.
func (s *Store) Append(ctx context.Context, caseID string, readings []roof.Reading) ([]roof.Outcome, error) {
	for range 3 {
		if err := s.recallFor(ctx, caseID, readings); err != nil {
			return nil, fmt.Errorf("appending to case %s: a reading is from a day that InfluxDB alone holds: %w", caseID, err)
		}
		out, err := s.local.Append(ctx, caseID, readings)
		if err == nil {
			s.drain.Wake()
		}
		if !errors.Is(err, roof.ErrElsewhere) {
			return out, err
		}
	}
	return nil, fmt.Errorf("appending to case %s: %w", caseID, roof.ErrElsewhere)
}

// recallFor takes the days back into the local store that readings fall on.
func (s *Store) recallFor(ctx context.Context, caseID string, readings []roof.Reading) error {
	type span struct{ from, until time.Time }
	spans := map[string]span{}
	for i := range readings {
		r := &readings[i]
		x, ok := spans[r.Logger]
		if !ok || r.At.Before(x.from) {
			x.from = r.At
		}
		if end := r.At.Add(time.Millisecond); end.After(x.until) {
			x.until = end
		}
		spans[r.Logger] = x
	}
	for logger, x := range spans {
		away, err := s.local.Elsewhere(ctx, caseID, logger, x.from, x.until)
		if err != nil {
			return err
		}
		wanted := map[int64]bool{}
		if len(away) > 0 {
			for i := range readings {
				if readings[i].Logger == logger {
					wanted[readings[i].At.Truncate(day).UnixMilli()] = true
				}
			}
		}
		for _, d := range away {
			if !wanted[d.Day.UnixMilli()] {
				continue
			}
			if err := s.recall(ctx, d); err != nil {
				return err
			}
		}
	}
	return nil
}

const day = 24 * time.Hour

func (s *Store) recall(ctx context.Context, d roof.KeptDay) error {
	readings, err := s.client.Readings(ctx, d.Case, d.Logger, d.Day, d.Day.Add(day))
	if err != nil {
		return err
	}
	return s.local.Adopt(ctx, d, readings)
}

// Most readings and days that one query of Range asks for.
const (
	readingsAtATime = 20_000
	daysAtATime     = 16
)

// Recall takes a case's days back that lie in the engine alone, before another
// instance writes to them there.
func (s *Store) Recall(ctx context.Context, caseID string) error {
	spans, err := s.local.Spans(ctx, caseID)
	if err != nil {
		return err
	}
	for _, l := range spans {
		away, err := s.local.Elsewhere(ctx, caseID, l.Logger, time.Time{}, time.Time{})
		if err != nil {
			return err
		}
		for _, d := range away {
			if err := s.recall(ctx, d); err != nil {
				return fmt.Errorf("taking the record of %s back from InfluxDB: %w", caseID, err)
			}
		}
	}
	return nil
}

// Range implements roof.ReadingStore. Days that lie in the engine are read from
// it and compared with their digest; one that does not agree ends the reading
// with an error that wraps roof.ErrDamaged.
func (s *Store) Range(ctx context.Context, caseID, logger string, from, until time.Time) iter.Seq2[roof.Reading,
	error] {
	return func(yield func(roof.Reading, error) bool) {
		fail := func(err error) {
			yield(roof.Reading{}, fmt.Errorf("reading logger %s of case %s: %w", logger, caseID, err))
		}
		again := 0
		for next := from; ; {
			away, err := s.local.Elsewhere(ctx, caseID, logger, next, until)
			if err != nil {
				fail(err)
				return
			}
			// Up to the first day away from here, then as many of those as belong
			// together, then look again: days come and go meanwhile.
			end := until
			if len(away) > 0 && (next.IsZero() || away[0].Day.After(next)) {
				end = away[0].Day
			} else if len(away) > 0 {
				run := together(away)
				readings, err := s.fetch(ctx, run)
				if errors.Is(err, roof.ErrDamaged) && again < 3 {
					again++ // the day may have been taken back in between
					continue
				}
				if err != nil {
					fail(err)
					return
				}
				again = 0
				for _, r := range readings {
					if !next.IsZero() && r.At.Before(next) || !until.IsZero() && !r.At.Before(until) {
						continue
					}
					if !yield(r, nil) {
						return
					}
				}
				next = run[len(run)-1].Day.Add(day)
				if !until.IsZero() && !next.Before(until) {
					return
				}
				continue
			}
			moved := false
			for r, err := range s.local.Range(ctx, caseID, logger, next, end) {
				if errors.Is(err, roof.ErrElsewhere) {
					moved = true
					break
				}
				if err != nil {
					yield(r, err)
					return
				}
				if !yield(r, nil) {
					return
				}
				next = r.At.Add(time.Millisecond)
			}
			if moved {
				continue
			}
			if end.Equal(until) {
				return
			}
			next = end
		}
	}
}

// together takes the first days that follow each other and can be asked for at
// once.
func together(days []roof.KeptDay) []roof.KeptDay {
	n, k := int64(0), 0
	for k < len(days) && k < daysAtATime &&
		(k == 0 || n+days[k].Count <= readingsAtATime && days[k].Day.Equal(days[k-1].Day.Add(day))) {
		n += days[k].Count
		k++
	}
	return days[:k]
}

// fetch reads days that follow each other and checks each.
func (s *Store) fetch(ctx context.Context, days []roof.KeptDay) ([]roof.Reading, error) {
	first := days[0]
	readings, err := s.client.Readings(ctx, first.Case, first.Logger, first.Day, days[len(days)-1].Day.Add(day))
	if err != nil {
		return nil, err
	}
	rest := readings
	for _, d := range days {
		k := 0
		for k < len(rest) && rest[k].At.Before(d.Day.Add(day)) {
			k++
		}
		if err := s.local.Agrees(ctx, d, rest[:k]); err != nil {
			return nil, err
		}
		rest = rest[k:]
	}
	return readings, nil
}

// Spans implements roof.ReadingStore.
func (s *Store) Spans(ctx context.Context, caseID string) ([]roof.LoggerSpan, error) {
	return s.local.Spans(ctx, caseID)
}

// Conflicts implements roof.ReadingStore.
func (s *Store) Conflicts(ctx context.Context, caseID string, limit int) ([]roof.Conflicting, error) {
	out, err := s.local.Conflicts(ctx, caseID, limit)
	if err != nil {
		return nil, err
	}
	for i := range out {
		if !out[i].Kept.Empty() {
			continue
		}
		r := out[i].Reading
		for kept, err := range s.Range(ctx, caseID, r.Logger, r.At, r.At.Add(time.Millisecond)) {
			if err != nil {
				return nil, err
			}
			out[i].Kept = kept.Values
		}
	}
	return out, nil
}

// Release drops from the local store what is old enough and lies in the engine
// bit for bit, and says how many days that was. A day that does not agree there
// is sent once more.
func (s *Store) Release(ctx context.Context) (days int, err error) {
	if s.opt.Keep < 0 {
		return 0, nil
	}
	before := s.opt.Now().Add(-s.opt.Keep)
	for {
		aged, err := s.local.Aged(ctx, before, 64)
		if err != nil {
			return days, err
		}
		n := 0
		for _, d := range aged {
			readings, err := s.client.Readings(ctx, d.Case, d.Logger, d.Day, d.Day.Add(day))
			if err != nil {
				return days, err
			}
			ok, err := s.local.Release(ctx, d, readings)
			if errors.Is(err, roof.ErrDamaged) {
				if e := s.local.PostDay(ctx, d); e != nil {
					return days, e
				}
				s.drain.Wake()
				return days, fmt.Errorf("it is sent once more: %w", err)
			}
			if err != nil {
				return days, err
			}
			if ok {
				n++
			}
		}
		if days += n; n == 0 {
			return days, nil
		}
	}
}
