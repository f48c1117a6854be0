package sqlite

import (
	"context"
	"database/sql"
	"encoding/binary"
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

// entriesARow is how many readings one row of the outbox holds at most.
const entriesARow = 2000

// post notes that something new is to be copied, as its row holds it. An entry
// is the kind, the logger's id, the time, the number of one kept aside, and the
// record; of a day only the kind, the logger's id and the day.
func (p *writeConn) post(kind int, logger, at, aside int64, rec []byte) error {
	if !p.s.opt.Outbox {
		return nil
	}
	p.out = append(p.out, byte(kind))
	p.out = binary.AppendVarint(p.out, logger)
	p.out = binary.AppendVarint(p.out, at)
	p.out = binary.AppendVarint(p.out, aside)
	p.out = binary.AppendUvarint(p.out, uint64(len(rec)))
	p.out = append(p.out, rec...)
	p.outN++
	if p.outN >= entriesARow {
		return p.postRow()
	}
	return nil
}

// postRow writes the entries gathered so far, in the same transaction.
func (p *writeConn) postRow() error {
	if p.outN == 0 {
		return nil
	}
	p.outTotal += p.outN
	if _, err := p.addOut.ExecContext(context.Background(), p.outN, p.outTotal, p.out); err != nil {
		return fmt.Errorf("noting what is to be copied: %w", err)
	}
	p.out, p.outN = p.out[:0], 0
	return nil
}

// Pending gives what is to be copied, in the order of arrival, after a number,
// about limit readings. What lies elsewhere already is passed over, as is what
// belongs to a house that another instance keeps now, which copies it; last is the
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
	rows, err := tx.QueryContext(ctx, `SELECT seq, entries FROM outbox WHERE seq > ? ORDER BY seq`, after)
	if err != nil {
		return fail(err)
	}
	defer rows.Close()
	last = after
	look := dayReader{tx: tx, names: map[int64]loggerKey{}, away: map[int64]bool{}}
	for len(out) < limit && rows.Next() {
		var entries sql.RawBytes
		if err := rows.Scan(&last, &entries); err != nil {
			return fail(err)
		}
		if out, err = look.entries(ctx, out, last, entries); err != nil {
			return fail(err)
		}
	}
	if err := rows.Err(); err != nil {
		return fail(err)
	}
	return out, last, nil
}

// dayReader unpacks the outbox: it remembers the loggers' names, and which belong to
// houses that another instance keeps.
type dayReader struct {
	tx    executor
	names map[int64]loggerKey
	away  map[int64]bool
}

func (d *dayReader) name(ctx context.Context, id int64) (key loggerKey, err error) {
	key, ok := d.names[id]
	if !ok {
		var away bool
		if err := d.tx.QueryRowContext(ctx, `SELECT case_id, name, EXISTS (SELECT 1 FROM state WHERE kind = '`+
			roof.StateAway+`' AND key = case_id) FROM logger WHERE id = ?`, id).Scan(&key.caseID, &key.name,
			&away); err != nil {
			return key, fmt.Errorf("looking up a logger's name: %w", err)
		}
		d.names[id], d.away[id] = key, away
	}
	return key, nil
}

func (d *dayReader) entries(ctx context.Context, out []roof.Outgoing, seq int64, b []byte) ([]roof.Outgoing, error) {
	u := unpacker{b: b}
	for len(u.b) > 0 {
		kind, id, at, aside, n := u.byte(), u.varint(), u.varint(), u.varint(), u.uvarint()
		if u.bad || n > uint64(len(u.b)) {
			return nil, damaged(fmt.Errorf("entry %d of the outbox", seq))
		}
		rec := u.b[:n]
		u.b = u.b[n:]
		key, err := d.name(ctx, id)
		if err != nil {
			return nil, err
		}
		if d.away[id] {
			continue
		}
		if kind == outDay {
			readings, err := d.day(ctx, key, id, at)
			if err != nil {
				return nil, err
			}
			for _, r := range readings {
				out = append(out, roof.Outgoing{Case: key.caseID, Reading: r})
			}
			continue
		}
		r, err := readRecord(rec, id, key.name, at)
		if err != nil {
			return nil, damagedAt(key.caseID, key.name, at, err)
		}
		out = append(out, roof.Outgoing{Case: key.caseID, Reading: r, Aside: aside})
	}
	return out, nil
}

// soundEntries says whether a row of the outbox is as it was written.
func soundEntries(b []byte) bool {
	u := unpacker{b: b}
	for len(u.b) > 0 {
		kind, id, at, _, n := u.byte(), u.varint(), u.varint(), u.varint(), u.uvarint()
		if u.bad || n > uint64(len(u.b)) {
			return false
		}
		rec := u.b[:n]
		u.b = u.b[n:]
		if _, err := readRecord(rec, id, "", at); err != nil && kind != outDay {
			return false
		}
	}
	return true
}

func (d *dayReader) day(ctx context.Context, key loggerKey, id, k int64) (out []roof.Reading, err error) {
	p := part{end: (k + 1) * dayMS}
	if p.rows, err = readRows(ctx, d.tx, id, k*dayMS, (k+1)*dayMS, 1<<30); err != nil {
		return nil, err
	}
	if p.blocks, err = readBlocks(ctx, d.tx, id, k*dayMS, (k+1)*dayMS, 1); err != nil {
		return nil, err
	}
	_, err = p.each(key.caseID, key.name, id, k*dayMS, func(r roof.Reading) bool {
		out = append(out, r)
		return true
	})
	return out, err
}

// Sent drops from the outbox what was copied, up to a number.
func (s *Store) Sent(ctx context.Context, upTo int64) error {
	err := s.do(ctx, func(p *writeConn) error {
		return each(context.Background(), p.conn, `DELETE FROM outbox WHERE seq <= ? RETURNING total`,
			func(rows *sql.Rows) error {
				var sum int64
				err := rows.Scan(&sum)
				p.outSent = max(p.outSent, sum)
				return err
			}, upTo)
	})
	return during(err, "noting what was copied")
}

// Refuse lists a reading that the other engine will not have, with the reason;
// its day is never released.
func (s *Store) Refuse(ctx context.Context, o roof.Outgoing, why string) error {
	err := s.do(ctx, func(p *writeConn) error {
		l, err := p.logger(o.Case, o.Reading.Logger)
		if err != nil {
			return err
		}
		kind, at := outReading, o.Reading.At.UnixMilli()
		if o.Aside != 0 {
			kind, at = outAside, o.Aside
		}
		_, err = p.conn.ExecContext(context.Background(),
			`INSERT OR REPLACE INTO refused (kind, logger, at, why) VALUES (?, ?, ?, ?)`, kind, l.id, at, cut(why))
		return err
	})
	return during(err, "noting what was refused")
}

// Backlog says how many readings wait to be copied and how many were refused.
func (s *Store) Backlog(ctx context.Context) (waiting, refused int64, err error) {
	if err := s.read.QueryRowContext(ctx, `SELECT coalesce((SELECT total FROM outbox ORDER BY seq DESC LIMIT 1) -
		(SELECT total - n FROM outbox ORDER BY seq LIMIT 1), 0), (SELECT count(*) FROM refused)`).Scan(&waiting,
		&refused); err != nil {
		return 0, 0, fmt.Errorf("counting what is to be copied: %w", explain(err))
	}
	return waiting, refused, nil
}

// PostAll puts every day that is here into the outbox, everything kept aside,
// and with them again what was refused, so that the other engine comes to hold
// all of it.
func (s *Store) PostAll(ctx context.Context) error {
	err := s.do(ctx, func(p *writeConn) error {
		if err := p.postAll(); err != nil {
			return err
		}
		_, err := p.conn.ExecContext(context.Background(), `DELETE FROM refused`)
		return err
	})
	return during(err, "noting that everything is to be copied")
}

func (p *writeConn) postAll() error {
	ctx := context.Background()
	var after [2]int64
	for more := true; more; {
		rows, err := p.conn.QueryContext(ctx, `SELECT logger, day, n FROM day
			WHERE (logger, day) > (?, ?) AND n > 0 AND sealed <> 3 AND logger NOT IN (SELECT id FROM logger
				WHERE case_id IN `+leaving+`) ORDER BY logger, day LIMIT 1000`, after[0], after[1],
			p.s.opt.Now().Add(-leavingFor).UnixMilli())
		if err != nil {
			return err
		}
		var list [][3]int64
		for rows.Next() {
			var x [3]int64
			if err := rows.Scan(&x[0], &x[1], &x[2]); err != nil {
				rows.Close()
				return err
			}
			list = append(list, x)
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			return err
		}
		for _, x := range list {
			after = [2]int64{x[0], x[1]}
			if err := p.postDay(x[0], x[1], x[2]); err != nil {
				return err
			}
		}
		more = len(list) > 0
	}
	rows, err := p.conn.QueryContext(ctx, `SELECT id, logger, at, rec FROM aside ORDER BY id`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id, logger, at int64
		var rec []byte
		if err := rows.Scan(&id, &logger, &at, &rec); err != nil {
			return err
		}
		if err := p.post(outAside, logger, at, id, rec); err != nil {
			return err
		}
	}
	return rows.Err()
}

// postDay puts one day into the outbox, in a row of its own.
func (p *writeConn) postDay(logger, k, n int64) error {
	if err := p.postRow(); err != nil {
		return err
	}
	if err := p.post(outDay, logger, k, 0, nil); err != nil {
		return err
	}
	p.outN = n
	return p.postRow()
}

// Aged lists sealed days before a time that wait for nothing to be copied, at
// most limit, oldest first: those that can be released.
func (s *Store) Aged(ctx context.Context, before time.Time, limit int) ([]roof.KeptDay, error) {
	return s.days(ctx, `SELECT l.case_id, l.name, d.day, d.n FROM day d JOIN logger l ON l.id = d.logger
		WHERE d.sealed = 1 AND d.day < ? AND NOT EXISTS (SELECT 1 FROM outbox) AND NOT EXISTS (SELECT 1 FROM refused r
			WHERE r.logger = d.logger AND r.kind = 0 AND r.at >= d.day * 86400000 AND r.at < (d.day + 1) * 86400000)
			AND l.case_id NOT IN `+leaving+` ORDER BY d.day, d.logger LIMIT ?`, dayOf(before.UnixMilli()),
		s.opt.Now().Add(-leavingFor).UnixMilli(), limit)
}

// leaving are the houses that another instance keeps, or is about to.
const (
	leaving = `(SELECT key FROM state WHERE kind = '` + roof.StateAway + `' OR kind = '` + roof.StateLeaving +
		`' AND at > ?)`
	leavingFor = 24 * time.Hour
)

// Elsewhere lists a logger's days within a span that lie in the other engine
// alone; with an empty case, those of all cases.
func (s *Store) Elsewhere(ctx context.Context, caseID, logger string, from, until time.Time) ([]roof.KeptDay, error) {
	if s.remoteDays.Load() == 0 {
		return nil, nil
	}
	lo, hi := bounds(from, until)
	return s.days(ctx, `SELECT l.case_id, l.name, d.day, d.n FROM day d JOIN logger l ON l.id = d.logger
		WHERE (? = '' OR l.case_id = ? AND l.name = ?) AND d.sealed = 3 AND d.day >= ? AND d.day * 86400000 < ?
		ORDER BY l.id, d.day`, caseID, caseID, logger, dayOf(lo), hi)
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
	return out, during(err, "listing days")
}

// Agrees says whether readings are exactly what was stored of a day.
func (s *Store) Agrees(ctx context.Context, of roof.KeptDay, readings []roof.Reading) error {
	var sum []byte
	var n int64
	err := s.read.QueryRowContext(ctx, `SELECT d.n, d.digest FROM day d JOIN logger l ON l.id = d.logger
		WHERE l.case_id = ? AND l.name = ? AND d.day = ?`,
		of.Case, of.Logger, dayOf(of.Day.UnixMilli())).Scan(&n, &sum)
	if err != nil {
		return fmt.Errorf("comparing a day of logger %s: %w", of.Logger, explain(err))
	}
	return agrees(of, readings, n, asDigest(sum))
}

func agrees(of roof.KeptDay, readings []roof.Reading, n int64, sum digest) error {
	if int64(len(readings)) != n {
		return damagedDay(of.Case, of.Logger, dayOf(of.Day.UnixMilli()),
			fmt.Errorf("the other store holds %d readings, %d were stored", len(readings), n))
	}
	if digestOfDay(of.Case, readings) != sum {
		return damagedDay(of.Case, of.Logger, dayOf(of.Day.UnixMilli()),
			errors.New("the other store's readings are not those that were stored"))
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
	err = s.do(ctx, func(p *writeConn) error {
		l, d, k, err := p.keptDay(of)
		if err != nil {
			return err
		}
		var busy bool
		if err := p.conn.QueryRowContext(context.Background(), `SELECT EXISTS (SELECT 1 FROM outbox)`).Scan(
			&busy); err != nil {
			return err
		}
		if busy || p.outN > 0 || d.sealed != asBlock {
			return nil
		}
		if err := agrees(of, readings, d.n, d.digest); err != nil {
			return soft{err}
		}
		if err := dropBlock(context.Background(), p.conn, l.id, k); err != nil {
			return err
		}
		d.sealed, d.held, d.dirty, released = elsewhere, nil, true, true
		p.remoteDays++
		return nil
	})
	return released && err == nil, during(err, "releasing a day of logger %s", of.Logger)
}

// Adopt takes a released day back, given what the other engine holds of it, and
// only if that is exactly what was stored.
func (s *Store) Adopt(ctx context.Context, of roof.KeptDay, readings []roof.Reading) error {
	err := s.do(ctx, func(p *writeConn) error {
		l, d, k, err := p.keptDay(of)
		if err != nil || d.sealed != elsewhere {
			return err
		}
		if err := agrees(of, readings, d.n, d.digest); err != nil {
			return soft{err}
		}
		data, err := seal(readings)
		if err != nil {
			return soft{err}
		}
		if err := putBlock(context.Background(), p.conn, l.id, k, d.n, data); err != nil {
			return err
		}
		d.sealed, d.held, d.dirty = asBlock, nil, true
		p.remoteDays--
		return nil
	})
	return during(err, "taking back a day of logger %s", of.Logger)
}

func (p *writeConn) keptDay(of roof.KeptDay) (*logger, *day, int64, error) {
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
	err := s.do(ctx, func(p *writeConn) error {
		l, d, k, err := p.keptDay(of)
		if err != nil {
			return err
		}
		return p.postDay(l.id, k, d.n)
	})
	return during(err, "noting that a day is to be copied again")
}
