package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"
)

// sealBudget is how many readings one sealing transaction takes, so that
// appends wait for it only for a moment.
const sealBudget = 12_000

// sealRegularly seals what is due, a little at a time, until the store closes.
func (s *Store) sealRegularly() {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go func() {
		select {
		case <-s.quit:
			cancel()
		case <-ctx.Done():
		}
	}()
	tick := time.NewTicker(time.Minute)
	defer tick.Stop()
	for {
		if _, err := s.Seal(ctx); err != nil && ctx.Err() == nil && !errors.Is(err, ErrClosed) {
			s.opt.Log.Warn("sealing old days failed; they stay as they are", "error", err)
		}
		select {
		case <-tick.C:
		case <-s.quit:
			return
		}
	}
}

// Seal packs every day that is old enough and has been quiet, says how many it
// packed, and gives the room of their rows back to the disk.
func (s *Store) Seal(ctx context.Context) (days int, err error) {
	if s.opt.SealAfter < 0 {
		return 0, nil
	}
	for {
		n, more := 0, false
		err := s.do(ctx, func(p *writeConn) (err error) {
			n, more, err = p.seal()
			return err
		})
		if err != nil {
			return days, fmt.Errorf("sealing old days: %w", err)
		}
		if days += n; !more {
			break
		}
	}
	for more := true; more; {
		err := s.do(ctx, func(p *writeConn) (err error) {
			more, err = p.renew()
			return err
		})
		if err != nil {
			return days, fmt.Errorf("writing old blocks anew: %w", err)
		}
	}
	return days, s.giveBack(ctx)
}

// renew writes some blocks of the first format anew. One that does not agree
// with its day's digest stays as it is, for Check to name.
func (p *writeConn) renew() (more bool, err error) {
	ctx := context.Background()
	var old []due
	if err := each(ctx, p.conn, `SELECT b.logger, b.day, d.n, d.digest, l.case_id, l.name FROM block b
		JOIN day d ON d.logger = b.logger AND d.day = b.day JOIN logger l ON l.id = b.logger
		WHERE b.pieces < 0 LIMIT ?`, func(rows *sql.Rows) error {
		d, err := scanDue(rows)
		old = append(old, d)
		return err
	}, maxDue); err != nil {
		return false, err
	}
	for _, d := range old {
		blocks, err := readBlocks(ctx, p.conn, d.logger, d.day*dayMS, (d.day+1)*dayMS, 1)
		if err != nil || len(blocks) == 0 {
			return false, err
		}
		var data []byte
		readings, err := blocks[0].open(d.logger, d.name, nil)
		if err == nil && int64(len(readings)) == d.n && digestOfDay(d.caseID, readings) == d.sum {
			data, err = seal(readings)
		}
		if data == nil || err != nil {
			_, err = p.conn.ExecContext(ctx, `UPDATE block SET pieces = 0 WHERE logger = ? AND day = ?`, d.logger, d.day)
		} else if err = dropBlock(ctx, p.conn, d.logger, d.day); err == nil {
			err = putBlock(ctx, p.conn, d.logger, d.day, d.n, data)
		}
		if err != nil {
			return false, fmt.Errorf("writing a day of logger %s anew: %w", d.name, err)
		}
	}
	return len(old) == maxDue, nil
}

// due is a day that can be sealed.
type due struct {
	logger, day, n int64
	caseID, name   string
	sum            digest
}

func (p *writeConn) seal() (sealed int, more bool, err error) {
	ctx := context.Background()
	now := p.s.opt.Now()
	before := dayOf(now.Add(-p.s.opt.SealAfter).UnixMilli())
	quiet := int64(math.MaxInt64)
	if p.s.opt.SealQuiet > 0 {
		quiet = now.Add(-p.s.opt.SealQuiet).UnixMilli()
	}
	list, err := p.due(ctx, before, quiet)
	if err != nil || len(list) == 0 {
		return 0, false, err
	}
	// What is cached of days would be out of date afterwards.
	for _, l := range p.loggers {
		for k, d := range l.days {
			if !d.dirty {
				delete(l.days, k)
			}
		}
		l.latest = nil
	}
	taken := int64(0)
	for i, d := range list {
		if l := p.loggers[loggerKey{d.caseID, d.name}]; l != nil && l.days[d.day] != nil {
			continue // changed in this very transaction
		}
		if taken += d.n; i > 0 && taken > sealBudget {
			return sealed, true, nil
		}
		ok, err := p.sealDay(ctx, d)
		if err != nil {
			return sealed, false, err
		}
		if ok {
			sealed++
		}
	}
	return sealed, len(list) == maxDue, nil
}

const maxDue = 64

func (p *writeConn) due(ctx context.Context, before, quiet int64) ([]due, error) {
	var out []due
	err := each(ctx, p.conn, `SELECT d.logger, d.day, d.n, d.digest, l.case_id, l.name
		FROM day d JOIN logger l ON l.id = d.logger
		WHERE d.sealed = 0 AND d.day < ? AND d.changed <= ? LIMIT ?`, func(rows *sql.Rows) error {
		d, err := scanDue(rows)
		out = append(out, d)
		return err
	}, before, quiet, maxDue)
	return out, during(err, "looking for days to seal")
}

func scanDue(rows *sql.Rows) (d due, err error) {
	var sum []byte
	err = rows.Scan(&d.logger, &d.day, &d.n, &sum, &d.caseID, &d.name)
	d.sum = asDigest(sum)
	return d, err
}

// sealDay packs one day. A day that does not agree with its digest, or is too
// large, stays as rows, for Check to name: sealing must not make damage look
// whole.
func (p *writeConn) sealDay(ctx context.Context, d due) (bool, error) {
	leave := func(why string) (bool, error) {
		if why != "" {
			p.s.opt.Log.Error("a day cannot be sealed", "case", d.caseID, "logger", d.name, "day",
				fromMS(d.day*dayMS).Format(time.DateOnly), "why", why)
		}
		_, err := p.conn.ExecContext(ctx, `UPDATE day SET sealed = ? WHERE logger = ? AND day = ?`, rowsForGood, d.logger,
			d.day)
		return false, err
	}
	if d.n > maxBlockReadings || d.n == 0 {
		return leave("")
	}
	rows, err := readRows(ctx, p.conn, d.logger, d.day*dayMS, (d.day+1)*dayMS, maxBlockReadings+1)
	if err != nil {
		return false, fmt.Errorf("reading a day to seal: %w", err)
	}
	l := &logger{loggerKey: loggerKey{d.caseID, d.name}, id: d.logger}
	readings, sum, err := readDay(l, rows)
	if err != nil {
		return leave("a row is damaged")
	}
	if int64(len(rows)) != d.n || sum != d.sum {
		return leave("its rows do not agree with its digest")
	}
	// The rows go only when the block has been read back and found to be equal.
	data, err := seal(readings)
	if err != nil {
		return leave(err.Error())
	}
	if _, err = p.dropRows.ExecContext(ctx, d.logger, d.day*dayMS, (d.day+1)*dayMS); err == nil {
		if err = putBlock(ctx, p.conn, d.logger, d.day, d.n, data); err == nil {
			_, err = p.conn.ExecContext(ctx, `UPDATE day SET sealed = ? WHERE logger = ? AND day = ?`, asBlock, d.logger, d.day)
		}
	}
	if err != nil {
		return false, fmt.Errorf("sealing a day of logger %s: %w", d.name, err)
	}
	return true, nil
}
