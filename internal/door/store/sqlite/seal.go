package sqlite

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"dewcase/internal/roof"
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

// Seal packs every day that is old enough and has been quiet, and says how many
// it packed.
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
			return days, nil
		}
	}
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
	rows, err := p.conn.QueryContext(ctx, `SELECT d.logger, d.day, d.n, d.digest, l.case_id, l.name
		FROM day d JOIN logger l ON l.id = d.logger
		WHERE d.sealed = 0 AND d.day < ? AND d.changed <= ? LIMIT ?`, before, quiet, maxDue)
	if err != nil {
		return nil, fmt.Errorf("looking for days to seal: %w", err)
	}
	defer rows.Close()
	var out []due
	for rows.Next() {
		var d due
		var sum []byte
		if err := rows.Scan(&d.logger, &d.day, &d.n, &sum, &d.caseID, &d.name); err != nil {
			return nil, fmt.Errorf("looking for days to seal: %w", err)
		}
		d.sum = asDigest(sum)
		out = append(out, d)
	}
	return out, rows.Err()
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
	readings := make([]roof.Reading, len(rows))
	var sum digest
	for i, row := range rows {
		if readings[i], err = readRecord(row.rec, d.logger, d.name, row.at); err != nil {
			return leave("a row is damaged")
		}
		sum.add(digestOf(ofRecord, d.caseID, &readings[i]))
	}
	if int64(len(rows)) != d.n || sum != d.sum {
		return leave("its rows do not agree with its digest")
	}
	data := packBlock(readings)
	crc := blockCRC(data, d.logger, d.day, d.n)
	// The rows go only when the block has been read back and found to be equal.
	again, err := openBlock(data, crc, d.logger, d.day, d.n, d.name)
	if err != nil {
		return leave("its block cannot be read back")
	}
	for i := range readings {
		if again[i] != readings[i] && digestOf(ofRecord, d.caseID, &again[i]) != digestOf(ofRecord, d.caseID, &readings[i]) {
			return leave("its block differs from its rows")
		}
	}
	for _, x := range []struct {
		text string
		args []any
	}{
		{`INSERT INTO block (logger, day, n, crc, data) VALUES (?, ?, ?, ?, ?)`, []any{d.logger, d.day, d.n, crc, data}},
		{`DELETE FROM reading WHERE logger = ? AND at >= ? AND at < ?`, []any{d.logger, d.day * dayMS, (d.day + 1) * dayMS}},
		{`UPDATE day SET sealed = ? WHERE logger = ? AND day = ?`, []any{asBlock, d.logger, d.day}},
	} {
		if _, err := p.conn.ExecContext(ctx, x.text, x.args...); err != nil {
			return false, fmt.Errorf("sealing a day of logger %s: %w", d.name, err)
		}
	}
	return true, nil
}
