package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"dewcase/internal/roof"
)

// append writes readings inside the open transaction. A soft error leaves what
// was written before it, which a repeat finds as duplicates.
func (p *writeConn) append(caseID string, readings []roof.Reading) ([]roof.Outcome, error) {
	out := make([]roof.Outcome, len(readings))
	var l *logger
	for i := range readings {
		r := readings[i]
		r.At, r.Arrived = fromMS(r.At.UnixMilli()), fromMS(r.Arrived.UnixMilli())
		if l == nil || l.name != r.Logger {
			var err error
			if l, err = p.logger(caseID, r.Logger); err != nil {
				return nil, err
			}
		}
		var err error
		if out[i], err = p.one(l, &r); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// logger finds a logger or makes it, and notes that it is being written.
func (p *writeConn) logger(caseID, name string) (*logger, error) {
	key := loggerKey{caseID, name}
	l := p.loggers[key]
	if l == nil {
		ctx := context.Background()
		l = &logger{loggerKey: key, days: map[int64]*day{}}
		err := p.findLogger.QueryRowContext(ctx, caseID, name).Scan(&l.id, &l.n, &l.aside, &l.first, &l.last)
		if errors.Is(err, sql.ErrNoRows) {
			var res sql.Result
			if res, err = p.addLogger.ExecContext(ctx, caseID, name); err == nil {
				l.id, err = res.LastInsertId()
			}
		}
		if err != nil {
			return nil, fmt.Errorf("looking up logger %s: %w", name, err)
		}
		p.loggers[key] = l
	}
	if !l.dirty {
		l.dirty = true
		p.touched = append(p.touched, l)
	}
	return l, nil
}

func (p *writeConn) day(l *logger, k int64) (*day, error) {
	if d := l.days[k]; d != nil {
		return d, nil
	}
	d := &day{}
	var sum, aside []byte
	err := p.findDay.QueryRowContext(context.Background(), l.id, k).Scan(&d.n, &sum, &d.asideN, &aside, &d.sealed)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, fmt.Errorf("looking up a day of logger %s: %w", l.name, err)
	}
	d.digest, d.asideDigest = asDigest(sum), asDigest(aside)
	if err == nil {
		d.entered = digestOfDayRow(l.id, k, d)
	}
	l.days[k] = d
	return d, nil
}

// one writes one reading.
func (p *writeConn) one(l *logger, r *roof.Reading) (roof.Outcome, error) {
	ctx := context.Background()
	at := r.At.UnixMilli()
	k := dayOf(at)
	d, err := p.day(l, k)
	if err != nil {
		return 0, err
	}
	if d.sealed == elsewhere {
		return 0, soft{fmt.Errorf("%w: case %s, logger %s, day %s", roof.ErrElsewhere, l.caseID, l.name,
			r.At.Format(time.DateOnly))}
	}
	if d.sealed == asBlock {
		if err := p.look(l, d, k); err != nil {
			return 0, err
		}
		if kept, ok := d.block[at]; ok {
			outcome, _ := roof.Meet(kept, nil, *r)
			if outcome == roof.Conflict {
				return p.conflict(l, d, kept, r)
			}
			if outcome == roof.Duplicate {
				return outcome, nil
			}
		}
		if err := p.reopenDay(l, d, k); err != nil {
			return 0, err
		}
	}
	p.buf = appendRecord(p.buf[:0], l.id, r)
	res, err := p.addRow.ExecContext(ctx, l.id, at, p.buf)
	if err != nil {
		return 0, fmt.Errorf("writing a reading of logger %s: %w", l.name, err)
	}
	if n, err := res.RowsAffected(); err == nil && n == 1 {
		d.digest.add(digestOf(ofRecord, l.caseID, r))
		d.dirty = true
		if d.n++; l.n == 0 || at < l.first {
			l.first = at
		}
		if l.n == 0 || at > l.last {
			l.last = at
		}
		l.n++
		p.readings++
		return roof.Stored, p.post(outReading, l.id, at, 0, p.buf)
	}
	var rec []byte
	if err := p.findRow.QueryRowContext(ctx, l.id, at).Scan(&rec); err != nil {
		return 0, fmt.Errorf("reading a reading of logger %s: %w", l.name, err)
	}
	kept, err := readRecord(rec, l.id, l.name, at)
	if err != nil {
		return 0, soft{damagedAt(l.caseID, l.name, at, err)}
	}
	outcome, merged := roof.Meet(kept, nil, *r)
	switch outcome {
	case roof.Conflict:
		return p.conflict(l, d, kept, r)
	case roof.Merged:
		p.buf = appendRecord(p.buf[:0], l.id, &merged)
		if _, err := p.putRow.ExecContext(ctx, p.buf, l.id, at); err != nil {
			return 0, fmt.Errorf("writing a reading of logger %s: %w", l.name, err)
		}
		d.digest.sub(digestOf(ofRecord, l.caseID, &kept))
		d.digest.add(digestOf(ofRecord, l.caseID, &merged))
		d.dirty = true
		err = p.post(outReading, l.id, at, 0, p.buf)
	}
	return outcome, err
}

// conflict keeps a reading aside, unless one kept aside already says the same.
func (p *writeConn) conflict(l *logger, d *day, kept roof.Reading, r *roof.Reading) (roof.Outcome, error) {
	ctx := context.Background()
	at := r.At.UnixMilli()
	aside, err := p.asideAt(ctx, l, at)
	if err != nil {
		return 0, err
	}
	if outcome, _ := roof.Meet(kept, aside, *r); outcome != roof.Conflict {
		return outcome, nil
	}
	p.buf = appendRecord(p.buf[:0], l.id, r)
	res, err := p.addAside.ExecContext(ctx, l.id, at, p.buf)
	if err != nil {
		return 0, fmt.Errorf("keeping a reading of logger %s aside: %w", l.name, err)
	}
	id, err := res.LastInsertId()
	if err != nil {
		return 0, fmt.Errorf("keeping a reading of logger %s aside: %w", l.name, err)
	}
	d.asideDigest.add(digestOf(ofAside, l.caseID, r))
	d.dirty = true
	d.asideN++
	l.aside++
	return roof.Conflict, p.post(outAside, l.id, at, id, p.buf)
}

func (p *writeConn) asideAt(ctx context.Context, l *logger, at int64) ([]roof.Values, error) {
	rows, err := p.findAside.QueryContext(ctx, l.id, at)
	if err != nil {
		return nil, fmt.Errorf("reading what was kept aside of logger %s: %w", l.name, err)
	}
	defer rows.Close()
	var out []roof.Values
	for rows.Next() {
		var rec []byte
		if err := rows.Scan(&rec); err != nil {
			return nil, fmt.Errorf("reading what was kept aside of logger %s: %w", l.name, err)
		}
		r, err := readRecord(rec, l.id, l.name, at)
		if err != nil {
			return nil, soft{damagedAt(l.caseID, l.name, at, err)}
		}
		out = append(out, r.Values)
	}
	return out, rows.Err()
}

// blocksCached bounds the unpacked days that a transaction holds at a time.
const blocksCached = 16

// look reads a sealed day's block.
func (p *writeConn) look(l *logger, d *day, k int64) error {
	if d.block != nil {
		return nil
	}
	var n int64
	var crc uint32
	var data []byte
	if err := p.sealed.QueryRowContext(context.Background(), l.id, k).Scan(&n, &crc, &data); err != nil {
		if errors.Is(err, sql.ErrNoRows) {
			return soft{damagedDay(l.caseID, l.name, k, errors.New("its block is missing"))}
		}
		return fmt.Errorf("reading a sealed day of logger %s: %w", l.name, err)
	}
	readings, err := openBlock(data, crc, l.id, k, n, l.name)
	if err != nil {
		return soft{damagedDay(l.caseID, l.name, k, err)}
	}
	if len(p.looked) == blocksCached {
		p.looked[0].block = nil
		p.looked = p.looked[1:]
	}
	p.looked = append(p.looked, d)
	d.block = make(map[int64]roof.Reading, len(readings))
	for _, r := range readings {
		d.block[r.At.UnixMilli()] = r
	}
	return nil
}

// reopenDay turns a sealed day back into rows, so that a late reading finds its
// place; the day is sealed again when it has been quiet.
func (p *writeConn) reopenDay(l *logger, d *day, k int64) error {
	ctx := context.Background()
	for at, r := range d.block {
		p.buf = appendRecord(p.buf[:0], l.id, &r)
		if _, err := p.addRow.ExecContext(ctx, l.id, at, p.buf); err != nil {
			return fmt.Errorf("opening a sealed day of logger %s: %w", l.name, err)
		}
	}
	if _, err := p.unseal.ExecContext(ctx, l.id, k); err != nil {
		return fmt.Errorf("opening a sealed day of logger %s: %w", l.name, err)
	}
	d.sealed, d.block, d.dirty = asRows, nil, true
	return nil
}
