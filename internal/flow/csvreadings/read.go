// Package csvreadings reads and writes the readings file: one row per logger
// and time. It streams, reports each bad row by line with the reason, and
// keeps every good row.
package csvreadings

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"dewcase/internal/flow/qc"
	"dewcase/internal/roof"
)

const (
	// maxListed is how many bad rows are listed; all are counted.
	maxListed = 10_000
	// maxNames bounds the memory that distinct logger names cost while reading.
	maxNames = 10_000
	// maxCells bounds the header; rows have as many cells as it.
	maxCells = 256
)

// The columns that a header must have.
var required = []string{"time", "logger", "temp_c", "rh_pct"}

// Rejected is a row that could not be used.
type Rejected struct {
	Line   int
	Column string // what it concerns; row for the whole
	Reason roof.Reason
	Detail string // what was wrong and what would be right
	Row    string // what stood there, cut short
}

// Summary is what became of a file.
type Summary struct {
	Rows     int // rows with anything in them, without the header
	Good     int
	Bad      int
	ByReason map[roof.Reason]int
	Rejected []Rejected // the first maxListed
	Notes    []string   // what was left aside, such as unknown columns
}

// Faults renders the listed bad rows as faults of the file.
func (s Summary) Faults(name string) roof.Faults {
	var out roof.Faults
	for _, r := range s.Rejected {
		out = append(out, roof.Fault{File: name, Line: r.Line, Key: r.Column, Problem: r.Detail})
	}
	return out
}

// ErrNoGoodRow is wrapped by the error for a file that has no row that can be
// used.
var ErrNoGoodRow = errors.New("no row can be used")

// fileError joins the faults that make a whole file unusable with their kind.
type fileError struct {
	roof.Faults
	kind error
}

func (e fileError) Unwrap() []error { return []error{e.Faults, e.kind} }

// IsHeader reports whether a line is the header of a readings file.
func IsHeader(line []byte) bool {
	cells, err := Split(bytes.TrimPrefix(line, []byte("\xef\xbb\xbf")), ',', nil)
	for _, name := range required {
		if !slices.ContainsFunc(cells, func(c []byte) bool { return string(c) == name }) {
			return false
		}
	}
	return err == nil
}

// Usable is nil where a row of the file was good, and else the error for the
// file as a whole.
func (s Summary) Usable(name string) error {
	if s.Good > 0 {
		return nil
	}
	problem := "is a header only"
	if s.Bad > 0 {
		problem = fmt.Sprintf("none of its %d rows can be used", s.Bad)
	}
	return fileError{append(roof.Faults{{File: name, Line: 1, Key: "rows", Problem: problem,
		Remedy: "at least one good reading is needed"}}, s.Faults(name)...), ErrNoGoodRow}
}

// Refuse counts a bad row, and lists it while there is room.
func (s *Summary) Refuse(r Rejected) {
	if s.ByReason == nil {
		s.ByReason = map[roof.Reason]int{}
	}
	s.Bad++
	s.ByReason[r.Reason]++
	if len(s.Rejected) < maxListed {
		r.Row = r.Row[:min(len(r.Row), maxRowKept)]
		s.Rejected = append(s.Rejected, r)
	}
}

// maxRowKept is how much of a bad row is kept, in bytes.
const maxRowKept = 200

// Read reads a readings file and hands on each good reading with its line. The
// name stands before each fault; now is the time of arrival, against which
// times ahead are judged.
//
// An error means that the file as a whole cannot be used (errors.As gives its
// roof.Faults), that r failed, or that each did; what was handed on before
// stands. Duplicates and conflicts are the store's to tell.
func Read(name string, r io.Reader, now time.Time, each func(reading roof.Reading, line int) error) (Summary, error) {
	d := &reader{name: name, Lines: NewLines(r), now: now.UTC().Truncate(time.Millisecond),
		each: each, names: map[string]string{}}
	if err := d.header(); err != nil {
		return d.sum, err
	}
	if err := d.rows(); err != nil {
		return d.sum, err
	}
	return d.sum, d.sum.Usable(name)
}

type reader struct {
	name string
	*Lines
	now     time.Time
	each    func(roof.Reading, int) error
	names   map[string]string
	columns []column
	cells   [][]byte
	sum     Summary
}

// column says what a cell is.
type column struct {
	name     string
	role     role
	quantity roof.Quantity
}

type role uint8

const (
	aside role = iota
	timeCell
	loggerCell
	quantityCell
)

func (d *reader) fault(problem, remedy string) error {
	return fileError{roof.Faults{{File: d.name, Line: max(d.At, 1), Key: "header", Problem: problem, Remedy: remedy}},
		ErrNoGoodRow}
}

const headerRemedy = "the first line must name the columns: time,logger,temp_c,rh_pct"

// elsewhere is where files of other programs go in.
const elsewhere = "; or read it as an export of another program: with -as auto, or on the house's page Files"

func (d *reader) header() error {
	line, tooLong, err := d.Next()
	if errors.Is(err, io.EOF) {
		return d.fault("the file is empty", headerRemedy)
	}
	if err != nil {
		return fmt.Errorf("reading %s: %w", d.name, err)
	}
	if bytes.HasPrefix(line, []byte("\xff\xfe")) || bytes.HasPrefix(line, []byte("\xfe\xff")) {
		return d.fault("the file is UTF-16", "save it as UTF-8"+elsewhere)
	}
	line = bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))
	cells, err := Split(line, ',', nil)
	switch {
	case tooLong || len(cells) > maxCells:
		return d.fault("the first line is too long", headerRemedy)
	case err != nil:
		return d.fault("the first line cannot be read: "+err.Error(), headerRemedy+elsewhere)
	case len(cells) < len(required) && bytes.IndexByte(line, ';') >= 0:
		return d.fault("its columns are parted by semicolons",
			"save it with commas between the columns and decimal points in the numbers"+elsewhere)
	case len(cells) < len(required) && bytes.IndexByte(line, '\t') >= 0:
		return d.fault("its columns are parted by tabs", "save it with commas between the columns"+elsewhere)
	}
	return d.setColumns(cells)
}

func (d *reader) setColumns(cells [][]byte) error {
	seen := map[string]bool{}
	var unknown []string
	for _, cell := range cells {
		c := column{name: string(cell)}
		if q, ok := roof.ParseQuantity(c.name); ok {
			c.role, c.quantity = quantityCell, q
		} else if c.name == "time" {
			c.role = timeCell
		} else if c.name == "logger" {
			c.role = loggerCell
		} else {
			unknown = append(unknown, fmt.Sprintf("%.60q", c.name))
		}
		if c.role != aside && seen[c.name] {
			return d.fault("the column "+c.name+" occurs twice", "keep one of the two")
		}
		seen[c.name] = true
		d.columns = append(d.columns, c)
	}
	var missing []string
	for _, name := range required {
		if !seen[name] {
			missing = append(missing, name)
		}
	}
	if len(missing) > 0 {
		return d.fault("columns are missing: "+strings.Join(missing, ", "), headerRemedy+elsewhere)
	}
	if len(unknown) > 0 {
		d.sum.Notes = append(d.sum.Notes, "columns that are not known and were left aside: "+strings.Join(unknown, ", "))
	}
	return nil
}

func (d *reader) rows() error {
	for {
		line, tooLong, err := d.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("reading %s after line %d: %w", d.name, d.At, err)
		}
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		d.sum.Rows++
		if tooLong {
			d.reject(line, "row", roof.BadRow, fmt.Sprintf("the row is longer than %d bytes", MaxLine))
			continue
		}
		r, ok := d.row(line)
		if !ok {
			continue
		}
		if err := d.each(r, d.At); err != nil {
			return fmt.Errorf("taking line %d of %s: %w", d.At, d.name, err)
		}
		d.sum.Good++
	}
}

// row reads one row; what is wrong with it has been noted when ok is false.
func (d *reader) row(line []byte) (r roof.Reading, ok bool) {
	cells, err := Split(line, ',', d.cells[:0])
	d.cells = cells
	if err != nil {
		d.reject(line, "row", roof.BadRow, "the row cannot be read: "+err.Error())
		return r, false
	}
	if len(cells) != len(d.columns) {
		d.reject(line, "row", roof.BadRow, fmt.Sprintf("the row has %d cells where the header has %d; write numbers with "+
			"a decimal point and leave nothing out", len(cells), len(d.columns)))
		return r, false
	}
	r.Arrived = d.now
	for i, c := range d.columns {
		cell := cells[i]
		switch c.role {
		case timeCell:
			at, err := roof.ParseTime(cell)
			if err != nil {
				d.reject(line, c.name, roof.BadTime, fmt.Sprintf("%.40q is %v", cell, err))
				return r, false
			}
			r.At = at.Truncate(time.Millisecond)
		case loggerCell:
			if r.Logger, ok = d.name64(cell); !ok {
				d.reject(line, c.name, roof.BadLogger,
					fmt.Sprintf("%.70q cannot name a logger; 1 to 64 of A-Z, a-z, 0-9, . _ - can", cell))
				return r, false
			}
		case quantityCell:
			if len(cell) == 0 {
				continue
			}
			x, err := Number(cell)
			if err != nil {
				reason := roof.BadValue
				if errors.Is(err, ErrNotFinite) {
					reason = roof.NotFinite
				}
				d.reject(line, c.name, reason, fmt.Sprintf("%.40q %v; write one such as 4.31, or nothing for not measured", cell,
					err))
				return r, false
			}
			r.Values.Set(c.quantity, x)
		}
	}
	flags, bad := qc.Check(r, d.now)
	if bad != nil {
		name := bad.Quantity.String()
		if bad.OfTime {
			name = "time"
		}
		d.reject(line, name, bad.Reason, bad.Detail)
		return r, false
	}
	r.Flags = flags
	return r, true
}

// name64 checks a logger's name and keeps one string for each.
func (d *reader) name64(cell []byte) (string, bool) {
	if s, ok := d.names[string(cell)]; ok {
		return s, true
	}
	s := string(cell)
	if !roof.ValidID(s) {
		return "", false
	}
	if len(d.names) < maxNames {
		d.names[s] = s
	}
	return s, true
}

func (d *reader) reject(line []byte, column string, reason roof.Reason, detail string) {
	d.sum.Refuse(Rejected{Line: d.At, Column: column, Reason: reason, Detail: detail,
		Row: string(line[:min(len(line), maxRowKept)])})
}
