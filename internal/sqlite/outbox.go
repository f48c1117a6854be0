package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"dewcase/internal/roof"
)

// The kinds of entry in the outbox.
const (
	outReading = iota
	outAside
	outDay
)

// elsewhere is the value of day.sealed for a day whose content lies in another
// engine alone; its count and digest stay here.
const elsewhere = 3

// post notes in the same transaction that something new is to be copied.
func (p *pen) post(kind int, logger, at int64) error {
	if !p.s.opt.Outbox {
		return nil
	}
	if _, err := p.addOut.ExecContext(context.Background(), kind, logger, at); err != nil {
		return fmt.Errorf("noting what is to be copied: %w", err)
	}
	return nil
}

// Pending gives what is to be copied, in the order of arrival, after a number,
// about limit readings. What lies elsewhere already is passed over; last is the
// number up to which it looked.
func (s *Store) Pending(ctx context.Context, after int64, limit int) (out []roof.Outgoing, last int64, err error) {
	fail := func(err error) ([]roof.Outgoing, int64, error) {
		return nil, 0, fmt.Errorf("reading what is to be copied: %w", explain(err))
	}
	tx, err := s.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return fail(err)
	}
	defer func() { _ = tx.Rollback() }()
	rows, err := tx.QueryContext(ctx, `SELECT o.seq, o.kind, o.logger, o.at, l.case_id, l.name, r.rec
		FROM outbox o JOIN logger l ON l.id = o.logger LEFT JOIN reading r ON o.kind = 0 AND r.logger = o.logger AND r.at = o.at
		WHERE o.seq > ? ORDER BY o.seq LIMIT ?`, after, limit)
	if err != nil {
		return fail(err)
	}
	defer rows.Close()
	last = after
	look := dayReader{tx: tx}
	for rows.Next() && len(out) < limit {
		var seq, logger, at int64
		var kind int
		var caseID, name string
		var rec []byte
		if err := rows.Scan(&seq, &kind, &logger, &at, &caseID, &name, &rec); err != nil {
			return fail(err)
		}
		last = seq
		switch {
		case kind == outReading && rec != nil:
			r, err := readRecord(rec, logger, name, at)
			if err != nil {
				return fail(damagedAt(caseID, name, at, err))
			}
			out = append(out, roof.Outgoing{Seq: seq, Case: caseID, Reading: r})
		case kind == outAside:
			r, err := look.aside(ctx, at, logger, name)
			if err != nil {
				return fail(err)
			}
			out = append(out, roof.Outgoing{Seq: seq, Case: caseID, Reading: r, Aside: at})
		default:
			k := at
			if kind == outReading {
				k = dayOf(at)
			}
			readings, err := look.day(ctx, caseID, name, logger, k)
			if err != nil {
				return fail(err)
			}
			for _, r := range readings {
				if kind == outDay || r.At.UnixMilli() == at {
					out = append(out, roof.Outgoing{Seq: seq, Case: caseID, Reading: r})
				}
			}
		}
	}
	if err := rows.Err(); err != nil {
		return fail(err)
	}
	return out, last, nil
}

// dayReader reads whole days and remembers the last, since what is to be copied
// of a sealed day mostly comes together.
type dayReader struct {
	tx       executor
	id, k    int64
	readings []roof.Reading
}

func (d *dayReader) day(ctx context.Context, caseID, name string, id, k int64) ([]roof.Reading, error) {
	if d.readings != nil && d.id == id && d.k == k {
		return d.readings, nil
	}
	p := part{}
	var err error
	if p.rows, err = readRows(ctx, d.tx, id, k*dayMS, (k+1)*dayMS, 1<<30); err != nil {
		return nil, err
	}
	if p.blocks, err = readBlocks(ctx, d.tx, id, k*dayMS, (k+1)*dayMS, 1); err != nil {
		return nil, err
	}
	p.end = (k + 1) * dayMS
	d.id, d.k, d.readings = id, k, []roof.Reading{}
	_, err = p.each(caseID, name, id, k*dayMS, func(r roof.Reading) bool {
		d.readings = append(d.readings, r)
		return true
	})
	return d.readings, err
}

func (d *dayReader) aside(ctx context.Context, aside, id int64, name string) (roof.Reading, error) {
	var at int64
	var rec []byte
	if err := d.tx.QueryRowContext(ctx, `SELECT at, rec FROM aside WHERE id = ?`, aside).Scan(&at, &rec); err != nil {
		return roof.Reading{}, err
	}
	r, err := readRecord(rec, id, name, at)
	if err != nil {
		err = damaged(fmt.Errorf("a reading kept aside of logger %s: %w", name, err))
	}
	return r, err
}

// Sent drops from the outbox what was copied, up to a number.
func (s *Store) Sent(ctx context.Context, upTo int64) error {
	err := s.do(ctx, func(p *pen) error {
		_, err := p.conn.ExecContext(context.Background(), `DELETE FROM outbox WHERE seq <= ?`, upTo)
		return err
	})
	if err != nil {
		return fmt.Errorf("noting what was copied: %w", err)
	}
	return nil
}

// Refuse takes one entry out of the outbox's order, since the other engine will
// not have it; it stays listed with the reason, and its day is never released.
func (s *Store) Refuse(ctx context.Context, seq int64, why string) error {
	err := s.do(ctx, func(p *pen) error {
		_, err := p.conn.ExecContext(context.Background(), `INSERT OR REPLACE INTO refused (seq, kind, logger, at, why) SELECT seq, kind, logger, at, ? FROM outbox WHERE seq = ?`, cut(why), seq)
		return err
	})
	if err != nil {
		return fmt.Errorf("noting what was refused: %w", err)
	}
	return nil
}

// Backlog says how many entries wait to be copied and how many were refused.
func (s *Store) Backlog(ctx context.Context) (waiting, refused int64, err error) {
	// Entries leave from the front only, so their numbers say how many they are.
	if err := s.read.QueryRowContext(ctx, `SELECT coalesce((SELECT max(seq) FROM outbox) - (SELECT min(seq) FROM outbox) + 1, 0), (SELECT count(*) FROM refused)`).Scan(&waiting, &refused); err != nil {
		return 0, 0, fmt.Errorf("counting what is to be copied: %w", explain(err))
	}
	return waiting, refused, nil
}

// PostAll puts every day that is here into the outbox, and again what was
// refused, so that the other engine comes to hold all of it. Asked again before
// that is done, it adds nothing.
func (s *Store) PostAll(ctx context.Context) error {
	err := s.do(ctx, func(p *pen) error {
		ctx := context.Background()
		for _, x := range []string{
			`INSERT INTO outbox (kind, logger, at) SELECT 2, logger, day FROM day d WHERE n > 0 AND sealed <> 3
				AND NOT EXISTS (SELECT 1 FROM outbox o WHERE o.kind = 2 AND o.logger = d.logger AND o.at = d.day) ORDER BY day, logger`,
			`INSERT INTO outbox (kind, logger, at) SELECT 1, logger, id FROM aside a
				WHERE NOT EXISTS (SELECT 1 FROM outbox o WHERE o.kind = 1 AND o.at = a.id) ORDER BY id`,
			`DELETE FROM refused`,
		} {
			if _, err := p.conn.ExecContext(ctx, x); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("noting that everything is to be copied: %w", err)
	}
	return nil
}

// Aged lists sealed days before a time that wait for nothing to be copied, at
// most limit, oldest first: those that can be released.
func (s *Store) Aged(ctx context.Context, before time.Time, limit int) ([]roof.KeptDay, error) {
	return s.days(ctx, `SELECT l.case_id, l.name, d.day, d.n FROM day d JOIN logger l ON l.id = d.logger
		WHERE d.sealed = 1 AND d.day < ? AND NOT EXISTS (SELECT 1 FROM outbox) AND `+notRefused+` ORDER BY d.day, d.logger LIMIT ?`, dayOf(before.UnixMilli()), limit)
}

const notRefused = `NOT EXISTS (SELECT 1 FROM refused r WHERE r.logger = d.logger AND (r.kind = 2 AND r.at = d.day OR r.kind = 0 AND r.at >= d.day * 86400000 AND r.at < (d.day + 1) * 86400000))`

// Elsewhere lists a logger's days within a span that lie in the other engine
// alone; with an empty case, those of all cases.
func (s *Store) Elsewhere(ctx context.Context, caseID, logger string, from, until time.Time) ([]roof.KeptDay, error) {
	if s.away.Load() == 0 {
		return nil, nil
	}
	lo, hi := bounds(from, until)
	return s.days(ctx, `SELECT l.case_id, l.name, d.day, d.n FROM day d JOIN logger l ON l.id = d.logger
		WHERE (? = '' OR l.case_id = ? AND l.name = ?) AND d.sealed = 3 AND d.day >= ? AND d.day * 86400000 < ? ORDER BY l.id, d.day`, caseID, caseID, logger, dayOf(lo), hi)
}

func (s *Store) days(ctx context.Context, query string, args ...any) ([]roof.KeptDay, error) {
	var out []roof.KeptDay
	err := s.each(ctx, query, func(rows *sql.Rows) error {
		var d roof.KeptDay
		var k int64
		err := rows.Scan(&d.Case, &d.Logger, &k, &d.Count)
		d.Day = fromMS(k * dayMS)
		out = append(out, d)
		return err
	}, args...)
	if err != nil {
		return nil, fmt.Errorf("listing days: %w", err)
	}
	return out, nil
}

// Agrees says whether readings are exactly what was stored of a day.
func (s *Store) Agrees(ctx context.Context, of roof.KeptDay, readings []roof.Reading) error {
	var sum []byte
	var n int64
	err := s.read.QueryRowContext(ctx, `SELECT d.n, d.digest FROM day d JOIN logger l ON l.id = d.logger WHERE l.case_id = ? AND l.name = ? AND d.day = ?`,
		of.Case, of.Logger, dayOf(of.Day.UnixMilli())).Scan(&n, &sum)
	if err != nil {
		return fmt.Errorf("comparing a day of logger %s: %w", of.Logger, explain(err))
	}
	return agrees(of, readings, n, asDigest(sum))
}

func agrees(of roof.KeptDay, readings []roof.Reading, n int64, sum digest) error {
	if int64(len(readings)) != n {
		return damagedDay(of.Case, of.Logger, dayOf(of.Day.UnixMilli()), fmt.Errorf("the other store holds %d readings, %d were stored", len(readings), n))
	}
	if digestOfDay(of.Case, readings) != sum {
		return damagedDay(of.Case, of.Logger, dayOf(of.Day.UnixMilli()), errors.New("the other store's readings are not those that were stored"))
	}
	return nil
}

func digestOfDay(caseID string, readings []roof.Reading) (d digest) {
	for i := range readings {
		d.add(digestOf(ofRecord, caseID, &readings[i]))
	}
	return d
}

// Release drops the content of a sealed day here, given what the other engine
// holds of it, and only if that is exactly what was stored. A day that was
// opened again meanwhile stays.
func (s *Store) Release(ctx context.Context, of roof.KeptDay, readings []roof.Reading) (released bool, err error) {
	err = s.do(ctx, func(p *pen) error {
		l, d, k, err := p.keptDay(of)
		if err != nil {
			return err
		}
		var busy bool
		if err := p.conn.QueryRowContext(context.Background(), `SELECT EXISTS (SELECT 1 FROM outbox)`).Scan(&busy); err != nil {
			return err
		}
		if busy || d.sealed != asBlock {
			return nil
		}
		if err := agrees(of, readings, d.n, d.digest); err != nil {
			return soft{err}
		}
		if _, err := p.unseal.ExecContext(context.Background(), l.id, k); err != nil {
			return err
		}
		d.sealed, d.block, d.dirty, released = elsewhere, nil, true, true
		p.away++
		return nil
	})
	if err != nil {
		return false, fmt.Errorf("releasing a day of logger %s: %w", of.Logger, err)
	}
	return released, nil
}

// Adopt takes a released day back, given what the other engine holds of it, and
// only if that is exactly what was stored.
func (s *Store) Adopt(ctx context.Context, of roof.KeptDay, readings []roof.Reading) error {
	err := s.do(ctx, func(p *pen) error {
		l, d, k, err := p.keptDay(of)
		if err != nil || d.sealed != elsewhere {
			return err
		}
		if err := agrees(of, readings, d.n, d.digest); err != nil {
			return soft{err}
		}
		data := packBlock(readings)
		if _, err := p.conn.ExecContext(context.Background(), `INSERT INTO block (logger, day, n, crc, data) VALUES (?, ?, ?, ?, ?)`,
			l.id, k, d.n, blockCRC(data, l.id, k, d.n), data); err != nil {
			return err
		}
		d.sealed, d.block, d.dirty = asBlock, nil, true
		p.away--
		return nil
	})
	if err != nil {
		return fmt.Errorf("taking back a day of logger %s: %w", of.Logger, err)
	}
	return nil
}

func (p *pen) keptDay(of roof.KeptDay) (*logger, *day, int64, error) {
	k := dayOf(of.Day.UnixMilli())
	l, err := p.logger(of.Case, of.Logger)
	if err != nil {
		return nil, nil, 0, err
	}
	d, err := p.day(l, k)
	return l, d, k, err
}

// PostDay puts a whole day into the outbox once more.
func (s *Store) PostDay(ctx context.Context, of roof.KeptDay) error {
	err := s.do(ctx, func(p *pen) error {
		l, _, k, err := p.keptDay(of)
		if err != nil {
			return err
		}
		_, err = p.addOut.ExecContext(context.Background(), outDay, l.id, k)
		return err
	})
	if err != nil {
		return fmt.Errorf("noting that a day is to be copied again: %w", err)
	}
	return nil
}
