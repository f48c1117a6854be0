package sqlite

import (
	"context"
	"errors"
	"fmt"
	"math"

	"dewcase/internal/roof"
)

// sealedCopy is one sealed day of a logger, ready to be put under another case.
type sealedCopy struct {
	logger      string
	k           int64
	data        []byte
	readings    []roof.Reading
	first, last int64 // Unix ms
}

// CopySealed puts the sealed days of a case under other cases, whose loggers must
// have no record yet. The store is then as if the same readings had been appended to
// each, at a fraction of the cost: a block is copied and not packed again. Days that
// are rows, and readings kept aside, are left out. It is for load tests, which need
// the records of thousands of houses.
func (s *Store) CopySealed(ctx context.Context, from string) (put func(ctx context.Context, to string) (int, error),
	err error) {
	if s.opt.Outbox {
		return nil, errors.New("copying a record: this store sends its readings on")
	}
	spans, err := s.Spans(ctx, from)
	if err != nil {
		return nil, err
	}
	var days []sealedCopy
	for _, span := range spans {
		var id int64
		if err := s.read.QueryRowContext(ctx, `SELECT id FROM logger WHERE case_id = ? AND name = ?`, from,
			span.Logger).Scan(&id); err != nil {
			return nil, fmt.Errorf("copying the record of %s: %w", from, explain(err))
		}
		blocks, err := readBlocks(ctx, s.read, id, math.MinInt64, math.MaxInt64, -1)
		if err != nil {
			return nil, explain(err)
		}
		for _, b := range blocks {
			readings, err := b.open(id, span.Logger, nil)
			if err != nil {
				return nil, damagedDay(from, span.Logger, b.day, err)
			}
			days = append(days, sealedCopy{span.Logger, b.day, b.data, readings, readings[0].At.UnixMilli(),
				readings[len(readings)-1].At.UnixMilli()})
		}
	}
	return func(ctx context.Context, to string) (n int, err error) {
		sums := make([]digest, len(days))
		for i, d := range days {
			sums[i] = digestOfDay(to, d.readings)
		}
		err = s.do(ctx, func(p *writeConn) (err error) {
			n, err = p.putCopies(to, days, sums)
			return err
		})
		return n, during(err, "copying the record of %s to %s", from, to)
	}, nil
}

func (p *writeConn) putCopies(to string, days []sealedCopy, sums []digest) (n int, err error) {
	for i, c := range days {
		l, err := p.logger(to, c.logger)
		if err != nil {
			return n, err
		}
		d, err := p.day(l, c.k)
		if err != nil {
			return n, err
		}
		if d.n > 0 {
			return n, soft{fmt.Errorf("logger %s of case %s has a record: %w", l.name, to, roof.ErrTaken)}
		}
		count := int64(len(c.readings))
		if err := putBlock(context.Background(), p.conn, l.id, c.k, count, c.data); err != nil {
			return n, fmt.Errorf("writing a day of logger %s: %w", l.name, err)
		}
		d.n, d.digest, d.sealed, d.dirty = count, sums[i], asBlock, true
		if l.n == 0 {
			l.first, l.last = c.first, c.last
		}
		l.first, l.last, l.n = min(l.first, c.first), max(l.last, c.last), l.n+count
		p.readings += count
		n += int(count)
	}
	return n, nil
}
