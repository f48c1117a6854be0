package exports

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/flow/qc"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// reader takes the readings of a file by a plan.
type reader struct {
	*Plan
	now     time.Time
	each    func(roof.Reading, int) error
	rows    *rows
	sum     csvreadings.Summary
	courses map[string]*course
	series  seriesOf
	groups  []group
	halves  []half // that may join
	blank   int    // rows without a value
	failed  int    // cells that say that a probe could not measure
	failure string // what stands in the first
	other   int    // rows of another quantity
	bad     bool   // something of the row was refused
	good    bool
}

// group is the columns of one logger.
type group struct {
	label   string
	columns []int
}

func (r *reader) run() (csvreadings.Summary, error) {
	var err error
	if r.rows, err = r.layout.open(r.Text); err != nil {
		return r.sum, err
	}
	r.series = seriesOf{layout: r.layout, namer: r.namer}
	at := map[string]int{}
	for i, c := range r.layout.columns {
		if _, ok := c.role.quantity(); !ok {
			continue
		}
		g, known := at[c.label]
		if !known {
			g = len(r.groups)
			at[c.label] = g
			r.groups = append(r.groups, group{label: c.label})
		}
		r.groups[g].columns = append(r.groups[g].columns, i)
	}
	err = r.rows.each(func(problem string) error {
		r.sum.Rows++
		r.bad, r.good = false, false
		if problem != "" {
			r.refuse("row", roof.BadRow, problem)
			return nil
		}
		if err := r.row(); err != nil {
			return fmt.Errorf("taking line %d of %s: %w", r.rows.At, r.Text.Name, err)
		}
		if r.good {
			r.sum.Good++
		}
		return nil
	})
	if err != nil {
		return r.sum, err
	}
	if err := joined(r.halves, r.Pair, r.each); err != nil {
		return r.sum, fmt.Errorf("taking the readings of %s: %w", r.Text.Name, err)
	}
	r.sum.Notes = append(r.sum.Notes, r.Notes...)
	if r.failed > 0 {
		r.sum.Notes = append(r.sum.Notes, words.CellsThatFailed(r.failed, r.failure))
	}
	if r.blank > 0 {
		r.sum.Notes = append(r.sum.Notes, words.RowsWithoutValue(r.blank))
	}
	if r.other > 0 {
		r.sum.Notes = append(r.sum.Notes, words.RowsOfOtherQuantities(r.other))
	}
	return r.sum, r.sum.Usable(r.Text.Name)
}

// refuse notes what is wrong with the row; of one row the first counts.
func (r *reader) refuse(column string, reason roof.Reason, detail string) {
	if r.bad {
		return
	}
	r.bad = true
	r.sum.Refuse(csvreadings.Rejected{Line: r.rows.At, Column: column, Reason: reason, Detail: detail,
		Row: string(r.rows.line)})
}

func (r *reader) row() error {
	r.series.of(r.rows)
	if r.layout.long {
		return r.longRow()
	}
	at, ok := r.time()
	if !ok {
		return nil
	}
	for i := range r.groups {
		g := &r.groups[i]
		name := g.label
		if len(r.layout.names) > 0 {
			name = r.series.name
		}
		reading, any, ok := r.values(g, at)
		if !ok || !any {
			continue
		}
		if err := r.take(name, reading); err != nil {
			return err
		}
	}
	if !r.good && !r.bad {
		r.blank++
	}
	return nil
}

// values reads the numbers of one logger.
func (r *reader) values(g *group, at time.Time) (out roof.Reading, any, ok bool) {
	out.At = at
	for _, i := range g.columns {
		if i >= len(r.rows.cells) {
			continue
		}
		c := &r.layout.columns[i]
		q, _ := c.role.quantity()
		x, measured, ok := r.value(q, r.rows.cells[i], c.unit, c.label, c.name)
		if !ok {
			return out, false, false
		}
		if measured && !out.Values.Has(q) {
			out.Values.Set(q, x)
			any = true
		}
	}
	return out, any, true
}

// value reads one cell in the unit of our quantity.
func (r *reader) value(q roof.Quantity, cell []byte, u unit, label, column string) (x float64, there, ok bool) {
	digits, own, there := measured(cell)
	if !there {
		if len(cell) <= 12 && failed[strings.ToLower(string(cell))] {
			if r.failed++; r.failed == 1 {
				r.failure = string(cell)
			}
		}
		return 0, false, true
	}
	x, err := number(digits, r.decimal)
	if err != nil {
		reason := roof.BadValue
		if errors.Is(err, csvreadings.ErrNotFinite) {
			reason = roof.NotFinite
		}
		r.refuse(column, reason, fmt.Sprintf("%.40q %v", cell, err))
		return 0, false, false
	}
	if own.of(q) {
		u = own
	} else if u == "" || q == roof.RHPct {
		u = r.units[held{q, r.series.key, label}]
	}
	return u.convert(x), true, true
}

func (r *reader) longRow() error {
	q, ok := r.series.meaning.role.quantity()
	if !ok {
		r.other++
		return nil
	}
	at, ok := r.time() // of every row, since the order of all tells the hours apart
	if !ok {
		return nil
	}
	l := r.layout
	x, there, ok := r.value(q, r.rows.cells[l.value], r.series.meaning.unit, "", l.columns[l.value].name)
	if !ok {
		return nil
	}
	if !there {
		r.blank++
		return nil
	}
	reading := roof.Reading{At: at}
	reading.Values.Set(q, x)
	return r.take(r.series.name, reading)
}

// take judges one reading and hands it on.
func (r *reader) take(name string, reading roof.Reading) error {
	id, ok := r.namer.id(name)
	if !ok {
		r.refuse("logger", roof.BadLogger, fmt.Sprintf("%.70q cannot name a logger; 1 to 64 of A-Z, a-z, 0-9, . _ - can",
			name))
		return nil
	}
	reading.Logger, reading.Arrived = id, r.now
	flags, bad := qc.Check(reading, r.now)
	if bad != nil {
		column := bad.Quantity.String()
		if bad.OfTime {
			column = "time"
		}
		r.refuse(column, bad.Reason, bad.Detail)
		return nil
	}
	reading.Flags = flags
	r.good = true
	if r.layout.long && r.Pair > 0 && reading.Values.OfAir() {
		r.halves = append(r.halves, half{reading, r.rows.At})
		return nil
	}
	return r.each(reading, r.rows.At)
}

// time is when the row was measured.
func (r *reader) time() (at time.Time, ok bool) {
	st := r.rows.stamp()
	wall, ok := st.wallMS(r.order, r.Text.Date1904)
	if !ok {
		r.refuse(r.layout.columns[r.layout.time].name, roof.BadTime,
			words.NoTimeInCell(r.rows.timeCell(), string(r.Dates)))
		return at, false
	}
	switch {
	case st.kind == epoch:
		return time.UnixMilli(wall).UTC(), true
	case st.offset:
		return time.UnixMilli(wall - int64(st.offsetS)*1000).UTC(), true
	}
	ms, shift := r.clock.utc(wall)
	if r.clock.moved() {
		ms, ok = r.folded(wall, ms, shift)
	}
	if !ok {
		r.refuse(r.layout.columns[r.layout.time].name, roof.BadTime, words.MissingHour(r.rows.timeCell(), r.clock.name))
		return at, false
	}
	return time.UnixMilli(ms).UTC(), true
}

// folded tells the passes of an hour that is there twice apart.
func (r *reader) folded(wall, ms int64, at int) (int64, bool) {
	if at >= 0 && r.clock.shifts[at].missing {
		return 0, false
	}
	key := r.series.key
	c := r.courses[key]
	if c == nil {
		c = &course{lastAt: -1}
		r.courses[key] = c
	}
	p := c.step(wall, at, 0)
	if at < 0 {
		return ms, true
	}
	shift := r.clock.shifts[at]
	first := r.fold == First
	falling, settled := r.settled[seriesShift{key, at}]
	if !settled && r.fold == "" {
		return 0, false
	}
	if settled {
		first = p.back == 0
		if falling {
			first = p.fore > 0
		}
	}
	if first {
		return wall - shift.beforeMS, true
	}
	return wall - shift.afterMS, true
}
