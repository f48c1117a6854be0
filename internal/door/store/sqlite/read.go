package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"math"
	"time"

	"dewcase/internal/roof"
)

// How much Range takes from the file at a time. Each part is read in a
// transaction of its own, so that a slow reader holds nothing back.
const (
	rowsAtATime   = 16384
	blocksAtATime = 64
)

func damaged(err error) error {
	if errors.Is(err, roof.ErrDamaged) {
		return err
	}
	return fmt.Errorf("%w: %w", roof.ErrDamaged, err)
}

func damagedAt(caseID, logger string, at int64, err error) error {
	return damaged(fmt.Errorf("case %s, logger %s, reading of %s: %w", caseID, logger, fromMS(at).Format(time.RFC3339Nano),
		err))
}

func damagedDay(caseID, logger string, day int64, err error) error {
	return damaged(fmt.Errorf("case %s, logger %s, day %s: %w", caseID, logger, fromMS(day*dayMS).Format(time.DateOnly),
		err))
}

// bounds turns a span into milliseconds, an open bound into the utmost.
func bounds(from, until time.Time) (int64, int64) {
	lo, hi := int64(math.MinInt64), int64(math.MaxInt64)
	if !from.IsZero() {
		lo = ceilMS(from)
	}
	if !until.IsZero() {
		hi = ceilMS(until)
	}
	return lo, hi
}

// row is a stored reading not yet unpacked.
type row struct {
	at  int64
	rec []byte
}

// sealedDay is a block not yet unpacked.
type sealedDay struct {
	day, n int64
	crc    uint32
	data   []byte
}

// open unpacks it, checked, into room if it is large enough.
func (b sealedDay) open(logger int64, name string, room []roof.Reading) ([]roof.Reading, error) {
	return openBlock(b.data, b.crc, logger, b.day, b.n, name, room)
}

// part is what one transaction of Range read: rows and sealed days before end.
type part struct {
	rows   []row
	blocks []sealedDay
	end    int64
	more   bool
}

// Range implements roof.ReadingStore. A damaged reading ends it with an error
// that wraps roof.ErrDamaged; nothing damaged is ever yielded.
func (s *Store) Range(ctx context.Context, caseID, logger string, from, until time.Time) iter.Seq2[roof.Reading,
	error] {
	return func(yield func(roof.Reading, error) bool) {
		fail := func(err error) {
			yield(roof.Reading{}, fmt.Errorf("reading logger %s of case %s: %w", logger, caseID, explain(err)))
		}
		lo, hi := bounds(from, until)
		for more := true; more; {
			id, p, err := s.part(ctx, caseID, logger, lo, hi)
			if err != nil {
				fail(err)
				return
			}
			if done, err := p.each(caseID, logger, id, lo, func(r roof.Reading) bool { return yield(r, nil) }); err != nil {
				fail(err)
				return
			} else if done {
				return
			}
			lo, more = p.end, p.more
		}
	}
}

// part reads the next rows and blocks of a logger from one state of the store.
func (s *Store) part(ctx context.Context, caseID, logger string, lo, hi int64) (id int64, p part, err error) {
	p.end = hi
	begun, err := s.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return 0, p, err
	}
	defer func() { _ = begun.Rollback() }()
	tx := s.read.in(begun)
	err = tx.QueryRowContext(ctx, `SELECT id FROM logger WHERE case_id = ? AND name = ?`, caseID, logger).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, p, ctx.Err()
	}
	if err != nil {
		return 0, p, err
	}
	if s.remoteDays.Load() > 0 {
		var k int64
		err = tx.QueryRowContext(ctx, `SELECT day FROM day
			WHERE logger = ? AND sealed = 3 AND day >= ? AND day * 86400000 < ? LIMIT 1`, id, dayOf(lo), hi).Scan(&k)
		if err == nil {
			err = fmt.Errorf("%w: day %s", roof.ErrElsewhere, fromMS(k*dayMS).Format(time.DateOnly))
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return 0, p, err
		}
	}
	if p.rows, err = readRows(ctx, tx, id, lo, hi, rowsAtATime); err != nil {
		return 0, p, err
	}
	if n := len(p.rows); n == rowsAtATime {
		p.end, p.more = p.rows[n-1].at+1, true
	}
	if p.blocks, err = readBlocks(ctx, tx, id, lo, p.end, blocksAtATime); err != nil {
		return 0, p, err
	}
	if n := len(p.blocks); n == blocksAtATime {
		if end := (p.blocks[n-1].day + 1) * dayMS; end < p.end {
			p.end, p.more = end, true
			for len(p.rows) > 0 && p.rows[len(p.rows)-1].at >= end {
				p.rows = p.rows[:len(p.rows)-1]
			}
		}
	}
	return id, p, nil
}

func readRows(ctx context.Context, tx executor, id, lo, hi int64, limit int) ([]row, error) {
	found, err := tx.QueryContext(ctx, `SELECT at, rec FROM reading
		WHERE logger = ? AND at >= ? AND at < ? ORDER BY at LIMIT ?`, id, lo, hi, limit)
	if err != nil {
		return nil, err
	}
	defer found.Close()
	var out []row
	var room []byte
	var raw sql.RawBytes
	for found.Next() {
		var at int64
		if err := found.Scan(&at, &raw); err != nil {
			return nil, err
		}
		if cap(room)-len(room) < len(raw) {
			room = make([]byte, 0, max(64<<10, len(raw)))
		}
		start := len(room)
		room = append(room, raw...)
		out = append(out, row{at, room[start:len(room):len(room)]})
	}
	return out, found.Err()
}

func readBlocks(ctx context.Context, tx executor, id, lo, hi int64, limit int) ([]sealedDay, error) {
	last := dayOf(hi)
	if hi != math.MaxInt64 && hi == last*dayMS {
		last--
	}
	var out []sealedDay
	err := eachBlock(ctx, tx, len(migrations), func(b sealedDay) error {
		out = append(out, b)
		return nil
	}, id, dayOf(lo), last, limit)
	return out, err
}

// each unpacks a part in time order, from lo on; stopped says that yield wants
// no more.
func (p part) each(caseID, logger string, id, lo int64, yield func(roof.Reading) bool) (stopped bool, err error) {
	rows := p.rows
	upTo := func(end int64) (bool, error) {
		for len(rows) > 0 && rows[0].at < end {
			r, err := readRecord(rows[0].rec, id, logger, rows[0].at)
			if err != nil {
				return true, damagedAt(caseID, logger, rows[0].at, err)
			}
			rows = rows[1:]
			if !yield(r) {
				return true, nil
			}
		}
		return false, nil
	}
	var readings []roof.Reading
	for _, b := range p.blocks {
		if stopped, err := upTo(b.day * dayMS); stopped {
			return true, err
		}
		var err error
		if readings, err = b.open(id, logger, readings); err != nil {
			return true, damagedDay(caseID, logger, b.day, err)
		}
		for _, r := range readings {
			if ms := r.At.UnixMilli(); ms < lo || ms >= p.end {
				continue
			}
			if !yield(r) {
				return true, nil
			}
		}
	}
	return upTo(math.MaxInt64)
}

// Spans implements roof.ReadingStore.
func (s *Store) Spans(ctx context.Context, caseID string) ([]roof.LoggerSpan, error) {
	var out []roof.LoggerSpan
	err := s.each(ctx, `SELECT name, n, first, last FROM logger WHERE case_id = ? AND n > 0 ORDER BY name`,
		func(rows *sql.Rows) error {
			var l roof.LoggerSpan
			var first, last int64
			err := rows.Scan(&l.Logger, &l.Count, &first, &last)
			l.First, l.Last = fromMS(first), fromMS(last)
			out = append(out, l)
			return err
		}, caseID)
	return out, during(err, "listing the loggers of case %s", caseID)
}

// Conflicts implements roof.ReadingStore.
func (s *Store) Conflicts(ctx context.Context, caseID string, limit int) ([]roof.Conflicting, error) {
	var out []roof.Conflicting
	err := s.each(ctx, `SELECT l.id, l.name, a.at, a.rec FROM aside a JOIN logger l ON l.id = a.logger
		WHERE l.case_id = ? ORDER BY a.id DESC LIMIT ?`, func(rows *sql.Rows) error {
		var id, at int64
		var name string
		var rec []byte
		if err := rows.Scan(&id, &name, &at, &rec); err != nil {
			return err
		}
		r, err := readRecord(rec, id, name, at)
		if err != nil {
			return damagedAt(caseID, name, at, err)
		}
		out = append(out, roof.Conflicting{Reading: r})
		return nil
	}, caseID, max(limit, 0))
	for i := 0; err == nil && i < len(out); i++ {
		r := out[i].Reading
		for kept, e := range s.Range(ctx, caseID, r.Logger, r.At, r.At.Add(time.Millisecond)) {
			if errors.Is(e, roof.ErrElsewhere) {
				break // it is left empty for whoever can read it there
			}
			out[i].Kept, err = kept.Values, e
		}
	}
	return out, during(err, "listing the conflicts of case %s", caseID)
}

// each calls scan for every row of a query on the reading side.
func (s *Store) each(ctx context.Context, query string, scan func(*sql.Rows) error, args ...any) error {
	return explain(each(ctx, s.read, query, scan, args...))
}
