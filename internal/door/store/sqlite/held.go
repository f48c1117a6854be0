package sqlite

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"dewcase/internal/roof"
)

// held is a day's content in memory: a sealed day that is looked into, or a day
// of which so much comes at once that it goes to a block without becoming rows.
type held struct {
	readings []roof.Reading
	sorted   bool          // in time order
	index    map[int64]int // by time, once they are not
	known    int           // of readings, the first that the day's digest covers
	toBlock  bool          // a block is written of it
}

// find looks for the reading of a time.
func (h *held) find(at int64) (int, bool) {
	if h.sorted {
		if n := len(h.readings); n == 0 || h.readings[n-1].At.UnixMilli() < at {
			return 0, false
		}
		return slices.BinarySearchFunc(h.readings, at, func(r roof.Reading, at int64) int {
			return cmp.Compare(r.At.UnixMilli(), at)
		})
	}
	i, ok := h.index[at]
	return i, ok
}

// add takes a reading of a new time.
func (h *held) add(r *roof.Reading) {
	at, n := r.At.UnixMilli(), len(h.readings)
	if h.sorted && n > 0 && at < h.readings[n-1].At.UnixMilli() {
		h.sorted, h.index = false, make(map[int64]int, cap(h.readings))
		for i := range h.readings {
			h.index[h.readings[i].At.UnixMilli()] = i
		}
	}
	if !h.sorted {
		h.index[at] = n
	}
	h.readings = append(h.readings, *r)
}

// heldReadings bounds what is held at a time.
const heldReadings = 1 << 18

// readingsPerRow is how many readings a block can be packed of, and read back, in
// the time that one row takes.
const readingsPerRow = 16

// toBlock says whether what comes to a day goes to a block at once: a day that is
// over, of which much comes together, beside what is there already. A logger that
// hands over its past in small batches would have its days packed for each of them.
func (p *writeConn) toBlock(d *day, k int64) bool {
	from := int64(p.s.opt.BlockFrom)
	return from >= 0 && d.coming >= max(from, d.n/readingsPerRow) && d.n+d.coming <= maxBlockReadings &&
		p.s.opt.SealAfter >= 0 && (d.sealed == asBlock || d.sealed == asRows) &&
		k < dayOf(p.s.opt.Now().UnixMilli())
}

// hold takes a day's content into memory, to be written as a block by putBlocks.
// What does not agree with its digest stays as it is, for Check to name.
func (p *writeConn) hold(l *logger, d *day, k int64) error {
	if p.heldN > heldReadings {
		if err := p.putBlocks(); err != nil {
			return err
		}
	}
	h := &held{sorted: true}
	switch {
	case d.sealed == asBlock:
		if err := p.look(l, d, k); err != nil {
			return err
		}
		h, d.held = d.held, nil
		p.looked = slices.DeleteFunc(p.looked, func(x *day) bool { return x == d })
	case d.n > 0:
		rows, err := readRows(context.Background(), p.conn, l.id, k*dayMS, (k+1)*dayMS, maxBlockReadings+1)
		if err != nil {
			return fmt.Errorf("reading a day of logger %s: %w", l.name, err)
		}
		var sum digest
		if h.readings, sum, err = readDay(l, rows); err != nil || sum != d.digest {
			return nil
		}
	}
	h.known = len(h.readings)
	h.readings = slices.Grow(h.readings, int(d.coming))
	h.toBlock = true
	p.held = append(p.held, heldDay{l, d, k})
	p.heldN += h.known + int(d.coming)
	d.held = h
	return nil
}

// readDay unpacks the rows of a day.
func readDay(l *logger, rows []row) (readings []roof.Reading, sum digest, err error) {
	readings = make([]roof.Reading, len(rows))
	for i, row := range rows {
		if readings[i], err = readRecord(row.rec, l.id, l.name, row.at); err != nil {
			return nil, sum, err
		}
		sum.add(digestOf(ofRecord, l.caseID, &readings[i]))
	}
	return readings, sum, nil
}

// heldDay is a day of which putBlocks is to write a block.
type heldDay struct {
	l *logger
	d *day
	k int64
}

// oneHeld takes one reading into a day that is held, as one does into rows.
func (p *writeConn) oneHeld(l *logger, d *day, r *roof.Reading) (roof.Outcome, error) {
	h, at := d.held, r.At.UnixMilli()
	i, ok := h.find(at)
	if !ok {
		h.add(r)
		p.counted(l, d, at)
		return roof.Stored, p.postReading(l, r)
	}
	outcome, merged := roof.Meet(h.readings[i], nil, *r)
	switch outcome {
	case roof.Conflict:
		return p.conflict(l, d, h.readings[i], r)
	case roof.Merged:
		if i < h.known {
			d.digest.sub(digestOf(ofRecord, l.caseID, &h.readings[i]))
			d.digest.add(digestOf(ofRecord, l.caseID, &merged))
		}
		merged.Logger, h.readings[i], d.dirty = l.name, merged, true
		return outcome, p.postReading(l, &merged)
	}
	return outcome, nil
}

// postReading notes for the outbox what rows are noted with.
func (p *writeConn) postReading(l *logger, r *roof.Reading) error {
	if !p.s.opt.Outbox {
		return nil
	}
	p.buf = appendRecord(p.buf[:0], l.id, r)
	return p.post(outReading, l.id, r.At.UnixMilli(), 0, p.buf)
}

// putBlocks writes the blocks of all days that are held for it.
func (p *writeConn) putBlocks() error {
	days := p.held
	p.held, p.heldN = p.held[:0], 0
	defer clear(days)
	blocks := make([][]byte, len(days))
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i, of := range days {
		if !of.d.dirty {
			continue // nothing new came
		}
		group.Go(func() (err error) {
			h := of.d.held
			for i := h.known; i < len(h.readings); i++ {
				of.d.digest.add(digestOf(ofRecord, of.l.caseID, &h.readings[i]))
			}
			if !h.sorted {
				slices.SortFunc(h.readings, func(a, b roof.Reading) int { return a.At.Compare(b.At) })
			}
			blocks[i], err = seal(h.readings)
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return fmt.Errorf("packing a day: %w", err)
	}
	ctx := context.Background()
	for i, of := range days {
		h := of.d.held
		of.d.held = nil
		if blocks[i] == nil {
			continue
		}
		var err error
		if of.d.sealed == asBlock {
			err = dropBlock(ctx, p.conn, of.l.id, of.k)
		} else if h.known > 0 {
			_, err = p.dropRows.ExecContext(ctx, of.l.id, of.k*dayMS, (of.k+1)*dayMS)
		}
		if err == nil {
			err = putBlock(ctx, p.conn, of.l.id, of.k, of.d.n, blocks[i])
		}
		if err != nil {
			return fmt.Errorf("writing a day of logger %s: %w", of.l.name, err)
		}
		of.d.sealed = asBlock
	}
	return nil
}

// seal packs readings of one logger and day and makes sure that they come back
// as they were, to the last bit.
func seal(readings []roof.Reading) ([]byte, error) {
	data := packBlock(readings)
	again, err := unpackBlock(data, int64(len(readings)), "", nil)
	if err != nil {
		return nil, fmt.Errorf("its block cannot be read back: %w", err)
	}
	for i := range readings {
		if !identical(&again[i], &readings[i]) {
			return nil, errors.New("its block differs from it")
		}
	}
	return data, nil
}

// identical compares all that a block keeps of two readings.
func identical(a, b *roof.Reading) bool {
	for q := range roof.Quantity(roof.QuantityCount) {
		x, hasX := a.Values.Get(q)
		y, hasY := b.Values.Get(q)
		if hasX != hasY || math.Float64bits(x) != math.Float64bits(y) {
			return false
		}
	}
	return a.At.Equal(b.At) && a.Arrived.Equal(b.Arrived) && a.Flags == b.Flags
}

// blocksCached bounds the unpacked days that a transaction looks into at a time.
const blocksCached = 16

// look reads a sealed day's block.
func (p *writeConn) look(l *logger, d *day, k int64) error {
	if d.held != nil {
		return nil
	}
	blocks, err := readBlocks(context.Background(), p.conn, l.id, k*dayMS, (k+1)*dayMS, 1)
	if err != nil {
		return fmt.Errorf("reading a sealed day of logger %s: %w", l.name, err)
	}
	if len(blocks) == 0 {
		return soft{damagedDay(l.caseID, l.name, k, errors.New("its block is missing"))}
	}
	readings, err := blocks[0].open(l.id, l.name, nil)
	if err != nil {
		return soft{damagedDay(l.caseID, l.name, k, err)}
	}
	if len(p.looked) == blocksCached {
		p.looked[0].held = nil
		p.looked = p.looked[1:]
	}
	p.looked = append(p.looked, d)
	d.held = &held{readings: readings, sorted: true}
	return nil
}

// reopenDay turns a sealed day back into rows, so that a late reading finds its
// place; the day is sealed again when it has been quiet.
func (p *writeConn) reopenDay(l *logger, d *day, k int64) error {
	ctx := context.Background()
	for i := range d.held.readings {
		r := &d.held.readings[i]
		p.buf = appendRecord(p.buf[:0], l.id, r)
		if _, err := p.addRow.ExecContext(ctx, l.id, r.At.UnixMilli(), p.buf); err != nil {
			return fmt.Errorf("opening a sealed day of logger %s: %w", l.name, err)
		}
	}
	if err := dropBlock(ctx, p.conn, l.id, k); err != nil {
		return fmt.Errorf("opening a sealed day of logger %s: %w", l.name, err)
	}
	d.sealed, d.held, d.dirty = asRows, nil, true
	return nil
}
