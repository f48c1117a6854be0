package exports

import (
	"bytes"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"strings"
	"unicode/utf8"

	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/words"
)

// rows steps through the rows of a table, the same way for looking and for
// taking.
type rows struct {
	*csvreadings.Lines
	layout *layout
	cells  [][]byte
	line   []byte
	need   int // cells a row must have
	close  func() error
	other  int // line of a header with other columns, under which the rows stand; 0 none
	// the date and the time of day of a row whose columns hold parts of them
	dayText, clockText []byte
	last               struct {
		time, clock []byte
		stamp       stamp
	}
}

func (l *layout) open(text Text) (*rows, error) {
	in, err := text.Open()
	if err != nil {
		return nil, fmt.Errorf("opening %s: %w", text.Name, err)
	}
	return &rows{Lines: csvreadings.NewLines(in), layout: l, need: l.need(), close: in.Close}, nil
}

// need is how many cells a row must have for all columns that count.
func (l *layout) need() int {
	n := 0
	for i, c := range l.columns {
		if c.role != unused {
			n = i + 1
		}
	}
	return n
}

// errSkip is a row that is none: empty, or the header again.
var errSkip = errors.New("no row")

// next reads the next row. Of a row that cannot be read, problem says why.
func (r *rows) next() (problem string, err error) {
	line, tooLong, err := r.Next()
	if err != nil {
		return "", err
	}
	r.line = line
	if r.At < r.layout.data || len(bytes.TrimSpace(line)) == 0 {
		return "", errSkip
	}
	if tooLong {
		return fmt.Sprintf("the row is longer than %d bytes", csvreadings.MaxLine), nil
	}
	r.cells, err = csvreadings.Split(line, r.layout.separator, r.cells[:0])
	if err != nil {
		return "the row cannot be read: " + err.Error(), nil
	}
	have := len(r.cells)
	for have > len(r.layout.columns) && len(r.cells[have-1]) == 0 {
		have--
	}
	switch {
	case r.bare():
		return "", errSkip
	case r.other > 0:
		return words.UnderOtherHeader(r.other), nil
	case have < r.need || have > len(r.layout.columns):
		return fmt.Sprintf("the row has %d cells where the header has %d", have, len(r.layout.columns)), nil
	}
	return "", nil
}

// bare reports a row that holds nothing, or the header again, as programs write
// it between blocks.
func (r *rows) bare() bool {
	empty := true
	for _, c := range r.cells {
		if len(c) > 0 {
			empty = false
			break
		}
	}
	if empty {
		return true
	}
	return r.headed()
}

// headed reports a row that is a header: the table's own again, or one under which
// the cells mean something else.
func (r *rows) headed() bool {
	t := r.layout.time
	if t < 0 || t >= len(r.cells) || r.layout.columns[t].name == "" || string(r.cells[t]) != r.layout.columns[t].written {
		return false
	}
	r.other = 0
	for i, c := range r.layout.columns {
		if c.role != unused && (i >= len(r.cells) || string(bytes.TrimSpace(r.cells[i])) != c.written) {
			r.other = r.At
		}
	}
	return true
}

// each calls f for every row, with what is wrong with it; an error ends it.
func (r *rows) each(f func(problem string) error) error {
	defer func() { _ = r.close() }()
	for {
		problem, err := r.next()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case errors.Is(err, errSkip):
			continue
		case err != nil:
			return fmt.Errorf("reading after line %d: %w", r.At, err)
		}
		if err := f(problem); err != nil {
			return err
		}
	}
}

// stamp is the time of the row as it is written. Loggers report together: most
// rows bear the time of the one before.
func (r *rows) stamp() stamp {
	l := r.layout
	cell, clock := r.day(), r.ofDay()
	if bytes.Equal(cell, r.last.time) && bytes.Equal(clock, r.last.clock) && len(cell) > 0 {
		return r.last.stamp
	}
	r.last.time, r.last.clock = append(r.last.time[:0], cell...), append(r.last.clock[:0], clock...)
	r.last.stamp = l.stamp(cell, clock)
	return r.last.stamp
}

func (l *layout) stamp(cell, clock []byte) stamp {
	if ms, ok := rfc3339(cell); ok {
		return stamp{kind: epoch, absolute: ms, month: -1}
	}
	s := parseStamp(cell)
	if l.clock >= 0 && (s.kind == dateOnly || s.kind == serialDay && s.serial == float64(int(s.serial))) {
		s = s.on(parseStamp(clock))
	}
	return s
}

// timeCell is the time as it is written, for words.
func (r *rows) timeCell() string {
	cell := string(r.day())
	if r.layout.clock >= 0 {
		cell += " " + string(r.ofDay())
	}
	return cell
}

var seed = maphash.MakeSeed()

func (r *rows) digest() uint64 { return maphash.Bytes(seed, r.line) }

// absent are the words that stand where there is no value.
var absent = map[string]bool{"": true, "-": true, "--": true, "---": true, "n/a": true, "na": true, "nan": true,
	"null": true, "none": true, "unavailable": true, "unknown": true, "#n/a": true, "no data": true}

// failed are the words by which a logger says that its probe could not measure, which
// are told.
var failed = map[string]bool{"ol": true, "err": true, "err.": true, "error": true, "fehler": true, "erreur": true,
	"errore": true, "over": true, "open": true, "invalid": true, "ungültig": true, "lo": true, "hi": true, "***": true,
	"????": true, "----": true, "-----": true}

// measured takes a cell apart: the digits, and the unit behind them. ok is false
// where it stands for no value.
func measured(cell []byte) (digits []byte, u unit, ok bool) {
	if n := len(cell); n > 0 && cell[n-1] >= '0' && cell[n-1] <= '9' && cell[0] < utf8.RuneSelf {
		return cell, "", true
	}
	if len(cell) <= 12 {
		if word := strings.ToLower(string(cell)); absent[word] || failed[word] {
			return nil, "", false
		}
	}
	cell = bytes.ReplaceAll(cell, []byte("\u2212"), []byte("-"))
	end := len(cell)
	for end > 0 && (cell[end-1] < '0' || cell[end-1] > '9') {
		end--
	}
	if end == 0 {
		return cell, "", true
	}
	tail := strings.TrimSpace(string(bytes.ReplaceAll(cell[end:], []byte("\u00a0"), []byte(" "))))
	if u = unitIn(tail); u == "" {
		return cell, "", true
	}
	return cell[:end], u, true
}

// marks are the signs in a number.
type marks struct{ point, comma int }

func marksOf(digits []byte) (m marks) {
	for _, c := range digits {
		switch c {
		case '.':
			m.point++
		case ',':
			m.comma++
		}
	}
	return m
}

var errDecimal = errors.New("has another decimal sign than the rest of the file")

// number reads digits with the decimal sign of the file, which may part its
// thousands with the other one.
func number(digits []byte, decimal byte) (float64, error) {
	m := marksOf(digits)
	if decimal == '.' && m.comma == 0 {
		return csvreadings.Number(digits)
	}
	thousands := byte(',')
	if decimal == ',' {
		thousands = '.'
	}
	buf := make([]byte, 0, 32)
	for i, c := range digits {
		switch c {
		case decimal:
			buf = append(buf, '.')
		case thousands:
			if !threeDigits(digits[i+1:], decimal, thousands) || i == 0 {
				return 0, errDecimal
			}
		default:
			buf = append(buf, c)
		}
	}
	return csvreadings.Number(buf)
}

// threeDigits reports that exactly three digits follow, then nothing, the
// decimal sign or the next thousands.
func threeDigits(c []byte, decimal, thousands byte) bool {
	for i := range 3 {
		if i >= len(c) || c[i] < '0' || c[i] > '9' {
			return false
		}
	}
	return len(c) == 3 || c[3] == decimal || c[3] == thousands
}
