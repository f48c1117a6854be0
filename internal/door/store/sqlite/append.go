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
func (p *writeConn) append(caseID string, readings []roof.Reading) (out []roof.Outcome, err error) {
	out = make([]roof.Outcome, len(readings))
	places, err := p.places(caseID, readings)
	if err != nil {
		return nil, err
	}
	defer func() {
		if of := (soft{}); err == nil || errors.As(err, &of) {
			if e := p.putBlocks(); e != nil {
				out, err = nil, e
			}
		}
		for _, of := range places {
			of.day.coming = 0
		}
	}()
	for i := range readings {
		r := readings[i]
		r.At, r.Arrived = fromMS(r.At.UnixMilli()), fromMS(r.Arrived.UnixMilli())
		if out[i], err = p.one(places[i].logger, places[i].day, &r); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// place is where a reading belongs.
type place struct {
	logger *logger
	day    *day
}

// places finds the places of readings, and counts how many come to each day.
func (p *writeConn) places(caseID string, readings []roof.Reading) ([]place, error) {
	out := make([]place, len(readings))
	var recent [8]*logger // a file's loggers take turns
	for i := range readings {
		r := &readings[i]
		var l *logger
		for _, of := range recent {
			if of != nil && of.name == r.Logger {
				l = of
				break
			}
		}
		if l == nil {
			var err error
			if l, err = p.logger(caseID, r.Logger); err != nil {
				return nil, err
			}
			recent[i%len(recent)] = l
		}
		k := dayOf(r.At.UnixMilli())
		if l.latest == nil || l.latestDay != k {
			d, err := p.day(l, k)
			if err != nil {
				return nil, err
			}
			l.latest, l.latestDay = d, k
		}
		l.latest.coming++
		out[i] = place{l, l.latest}
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
func (p *writeConn) one(l *logger, d *day, r *roof.Reading) (roof.Outcome, error) {
	ctx := context.Background()
	at := r.At.UnixMilli()
	if d.sealed == elsewhere {
		return 0, soft{fmt.Errorf("%w: case %s, logger %s, day %s", roof.ErrElsewhere, l.caseID, l.name,
			r.At.Format(time.DateOnly))}
	}
	k := dayOf(at)
	if d.held == nil && p.toBlock(d, k) {
		if err := p.hold(l, d, k); err != nil {
			return 0, err
		}
	}
	if d.held != nil && d.held.toBlock {
		return p.oneHeld(l, d, r)
	}
	if d.sealed == asBlock {
		if err := p.look(l, d, k); err != nil {
			return 0, err
		}
		if i, ok := d.held.find(at); ok {
			outcome, _ := roof.Meet(d.held.readings[i], nil, *r)
			if outcome == roof.Conflict {
				return p.conflict(l, d, d.held.readings[i], r)
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
		p.counted(l, d, at)
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

// counted notes one more reading.
func (p *writeConn) counted(l *logger, d *day, at int64) {
	d.dirty = true
	if d.n++; l.n == 0 || at < l.first {
		l.first = at
	}
	if l.n == 0 || at > l.last {
		l.last = at
	}
	l.n++
	p.readings++
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
