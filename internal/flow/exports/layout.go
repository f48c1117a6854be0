package exports

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

const (
	// maxHead is how many lines may stand above a table.
	maxHead = 200
	// maxColumns bounds a table's width.
	maxColumns = 256
	// peekRows is how many rows under the header are looked at to tell which
	// columns hold time.
	peekRows = 40
)

// column is one column of the table.
type column struct {
	name    string
	written string // as it stands in the header; name may have the unit of the line below
	role    role
	unit    unit
	// label is which logger the name means, in a file with a column for each.
	label string
	stamp stampKind // what the cells of a column of time hold
	later bool      // a time of what happened to the row after it was measured
}

// layout is where what stands.
type layout struct {
	separator byte
	header    int // line of the header
	data      int // first line that can hold values
	columns   []column
	time      int // column of the date, or of both
	clock     int // column of the time of day, -1 in the same
	names     []int
	kinds     []int
	value     int // of a long file, else -1
	unit      int // of a long file, else -1
	long      bool
	second    string // another column of whole times, of which nothing says which counts
	zone      string // named in the file
	zoneFrom  string // where
	logger    string // named above the table
	headUnit  unit   // named above the table
	notes     []string
}

var separators = [...]byte{',', ';', '\t', '|'}

// head is the beginning of a file.
type head struct {
	lines [][]byte
	at    []int
}

func readHead(text Text) (head, error) {
	var h head
	in, err := text.Open()
	if err != nil {
		return h, fmt.Errorf("opening %s: %w", text.Name, err)
	}
	defer func() { _ = in.Close() }()
	lines := csvreadings.NewLines(in)
	for len(h.lines) < maxHead+peekRows {
		line, tooLong, err := lines.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return h, fmt.Errorf("reading %s: %w", text.Name, err)
		}
		if lines.At == 1 {
			line = bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))
		}
		if tooLong {
			continue
		}
		h.lines, h.at = append(h.lines, bytes.Clone(line)), append(h.at, lines.At)
	}
	return h, nil
}

// cut splits a line leniently: what cannot be split as cells is no row.
func cut(line []byte, separator byte) []string {
	cells, err := csvreadings.Split(line, separator, nil)
	if err != nil || len(cells) > maxColumns {
		return nil
	}
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = strings.TrimSpace(string(c))
	}
	return out
}

// findLayout finds the header and what its columns hold.
func findLayout(h head, text Text, a Answers, house House) (*layout, error) {
	best, bestAt, bestScore := (*layout)(nil), 0, 0
	for _, separator := range separators {
		if text.Cells && separator != '\t' {
			continue
		}
		for i, line := range h.lines[:min(len(h.lines), maxHead)] {
			cells := cut(line, separator)
			if len(cells) < 2 {
				continue
			}
			l := newLayout(cells, separator, h.at[i], a)
			score := l.score()
			if i+1 < len(h.lines) && score < 20 { // its units may stand in a line of their own
				if units := cut(h.lines[i+1], separator); l.unitLine(units) {
					if under := newLayout(withUnits(cells, units), separator, h.at[i], a); under.score() > score {
						for k := range under.columns {
							under.columns[k].written = cells[k]
						}
						l, score = under, under.score()
					}
				}
			}
			if score > bestScore {
				best, bestAt, bestScore = l, i, score
			}
		}
	}
	if best == nil {
		if best, bestAt = unnamed(h, text, a); best == nil {
			return nil, roof.Faults{{File: text.Name, Line: 1, Key: "header", Problem: words.NoTable,
				Remedy: words.NoTableRemedy}}
		}
	}
	best.above(h, bestAt)
	best.peek(h, bestAt)
	best.settle(house)
	return best, nil
}

func newLayout(cells []string, separator byte, line int, a Answers) *layout {
	l := &layout{separator: separator, header: line, data: line + 1, time: -1, clock: -1, value: -1, unit: -1}
	for _, name := range cells {
		m := understand(name)
		c := column{name: name, written: name, role: m.role, unit: m.unit, label: m.label, later: m.later}
		if c.role == "" {
			c.role = unused
		}
		if said, ok := a.Columns[name]; ok {
			if said.Holds != "" {
				if _, named := c.role.quantity(); !named {
					c.label = "" // its name is no logger's
				}
				c.role = role(said.Holds)
			}
			if said.Unit != "" {
				c.unit = unit(said.Unit)
			}
			if said.Logger != "" {
				c.label = said.Logger
			}
		}
		if c.role == timeRole && m.zone != "" && l.zone == "" {
			l.zone, l.zoneFrom = m.zone, name
		}
		l.columns = append(l.columns, c)
	}
	return l
}

// score is how sure it is that a line is the header: 0 where it is none.
func (l *layout) score() int {
	times, quantities, values, named := 0, 0, 0, 0
	for _, c := range l.columns {
		_, quantity := c.role.quantity()
		switch {
		case c.name == "":
		case c.role == timeRole:
			times++
		case quantity:
			quantities++
		case c.role == valueRole:
			values++
		case c.role == nameRole || c.role == kindRole:
			named++
		}
		if parseStamp([]byte(c.name)).kind != noStamp && c.name != "" {
			return 0 // a row of values
		}
	}
	if times == 0 || quantities+values == 0 || quantities == 0 && named == 0 {
		return 0
	}
	return 10 + times + 2*quantities + 2*values + named
}

// unnamed finds a table whose header does not say enough: the first line with
// as many cells as the rows below it, among which one is a time.
func unnamed(h head, text Text, a Answers) (*layout, int) {
	for _, separator := range []byte{'\t', ';', ',', '|'} {
		if text.Cells && separator != '\t' {
			continue
		}
		for i := 0; i+1 < len(h.lines) && i < maxHead; i++ {
			cells, next := cut(h.lines[i], separator), cut(h.lines[i+1], separator)
			if len(cells) < 2 || len(next) < len(cells) || parseStamp([]byte(cells[0])).kind != noStamp {
				continue
			}
			if slices.ContainsFunc(next, func(c string) bool { return parseStamp([]byte(c)).kind != noStamp }) {
				return newLayout(cells, separator, h.at[i], a), i
			}
		}
	}
	return nil, 0
}

// doubled reports whether a quantity is there twice without a logger's name.
func (l *layout) doubled() bool {
	seen := map[role]bool{}
	for _, c := range l.columns {
		if _, ok := c.role.quantity(); ok && c.label == "" {
			if seen[c.role] {
				return true
			}
			seen[c.role] = true
		}
	}
	return false
}

// peek looks at the first rows: a line of units, and what the columns of time
// hold.
func (l *layout) peek(h head, at int) {
	rows := h.lines[at+1 : min(len(h.lines), at+1+peekRows)]
	if len(rows) > 0 {
		if cells := cut(rows[0], l.separator); l.unitLine(cells) {
			for i, c := range cells {
				if i < len(l.columns) && l.columns[i].unit == "" {
					l.columns[i].unit = unitIn(c)
				}
			}
			l.data, rows = h.at[at]+2, rows[1:]
		}
	}
	l.idNames(rows)
	for i := range l.columns {
		c := &l.columns[i]
		if c.role != timeRole {
			continue
		}
		tally := map[stampKind]int{}
		for _, raw := range rows {
			if cells := cut(raw, l.separator); i < len(cells) && cells[i] != "" {
				tally[parseStamp([]byte(cells[i])).kind]++
			}
		}
		most := 0
		for kind := noStamp; kind <= serialHour; kind++ {
			if n := tally[kind]; kind != noStamp && n > most {
				c.stamp, most = kind, n
			}
		}
	}
}

// unitLine reports whether a line under the header holds units.
func (l *layout) unitLine(cells []string) bool {
	units := 0
	for i, c := range cells {
		if c == "" {
			continue
		}
		if i < len(l.columns) && l.columns[i].role == timeRole && parseStamp([]byte(c)).kind != noStamp {
			return false
		}
		if unitIn(c) != "" && len(c) <= 12 && strings.IndexFunc(c, func(r rune) bool { return r >= '0' && r <= '9' }) < 0 {
			units++
		}
	}
	return units > 0
}

// settle picks the columns that count.
func (l *layout) settle(house House) {
	l.laterAside()
	l.fahrenheitAside()
	inUTC := false
	for i, c := range l.columns {
		switch c.role {
		case timeRole:
			zone := zoneIn(c.name)
			switch {
			case c.stamp == dateAndClock || c.stamp == epoch || c.stamp == serialDay:
				switch {
				case l.time < 0 || !whole(l.columns[l.time].stamp) || zone != "" && !inUTC:
					l.time, inUTC = i, zone != ""
				case zone == "" && !inUTC && l.second == "" && whole(c.stamp):
					l.second = c.name
				}
			case c.stamp == dateOnly && l.time < 0:
				l.time = i
			case (c.stamp == clockOnly || c.stamp == serialHour) && l.clock < 0:
				l.clock = i
			}
		case nameRole:
			l.names = append(l.names, i)
		case kindRole:
			l.kinds = append(l.kinds, i)
		case valueRole:
			if l.value < 0 {
				l.value = i
			}
		case unitRole:
			if l.unit < 0 {
				l.unit = i
			}
		}
	}
	if l.time >= 0 && l.columns[l.time].stamp != dateOnly && l.columns[l.time].stamp != serialDay {
		l.clock = -1
	}
	quantities := 0
	for i := range l.columns {
		c := &l.columns[i]
		q, ok := c.role.quantity()
		if !ok {
			continue
		}
		if c.unit == "" && q == roof.TempC {
			c.unit = l.headUnit
		}
		if c.unit == "" && q == roof.WoodPct {
			c.unit = percent
		}
		if c.unit != "" && !c.unit.of(q) || c.unit == "" && q != roof.TempC && q != roof.RHPct {
			c.role = unused // lux, a rate, a depth of snow: nothing says in what
			continue
		}
		quantities++
	}
	l.long = l.value >= 0 && quantities == 0
	l.labels(house)
	var aside []string
	for i, c := range l.columns {
		used := c.role != unused && (c.role != timeRole || i == l.time || i == l.clock)
		if !used && c.name != "" {
			aside = append(aside, c.name)
		}
	}
	if len(aside) > 0 {
		l.notes = append(l.notes, words.ColumnsAside(aside))
	}
}

func whole(k stampKind) bool { return k == dateAndClock || k == epoch || k == serialDay }

// twice names a column that holds what another holds for the same logger; ""
// where there is none.
func (l *layout) twice() string {
	type held struct {
		role  role
		label string
	}
	seen := map[held]bool{}
	for _, c := range l.columns {
		if _, ok := c.role.quantity(); !ok {
			continue
		}
		h := held{c.role, strings.ToLower(c.label)}
		if seen[h] {
			return c.name
		}
		seen[h] = true
	}
	return ""
}

// missing names what the table lacks; "" where it can be read.
func (l *layout) missing() string {
	quantities := slices.ContainsFunc(l.columns, func(c column) bool { _, ok := c.role.quantity(); return ok })
	switch {
	case l.time < 0:
		return "time"
	case !quantities && l.value < 0:
		return "temperature"
	case l.long && len(l.kinds) == 0 && len(l.names) == 0:
		return "quantity"
	}
	if name := l.twice(); name != "" {
		return "twice:" + name
	}
	if l.second != "" {
		return "times:" + l.columns[l.time].name + "” and “" + l.second
	}
	return ""
}

// kind is by what files of one kind are known: the names of their columns, with
// numbers of more than one digit left out, since those are serial numbers and
// zones.
func (l *layout) kind() []string {
	var out []string
	for _, c := range l.columns {
		out = append(out, kindName(c.name))
	}
	for len(out) > 0 && out[len(out)-1] == "" {
		out = out[:len(out)-1]
	}
	return out
}

func kindName(name string) string {
	var b, digits strings.Builder
	flush := func() {
		if digits.Len() > 1 {
			b.WriteByte('#')
		} else {
			b.WriteString(digits.String())
		}
		digits.Reset()
	}
	for _, r := range strings.ToLower(strings.TrimSpace(name)) {
		if r >= '0' && r <= '9' {
			digits.WriteRune(r)
			continue
		}
		flush()
		b.WriteRune(r)
	}
	flush()
	return b.String()
}
