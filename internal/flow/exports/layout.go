package exports

import (
	"slices"
	"strings"

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
	stamp stampKind // what most cells hold, read as times
	later bool      // a time of what happened to the row after it was measured
	part  datePart  // of a date or time of day that its name says it holds
	other bool      // a word of its name says that it is something else
	// of the first rows: the longest and the largest of whole numbers, and whether
	// something else stands among them
	digits, largest int
	mixed           bool
}

// layout is where what stands.
type layout struct {
	separator byte
	header    int // line of the header
	data      int // first line that can hold values
	columns   []column
	time      int   // column of the date, or of both
	clock     int   // column of the time of day, -1 in the same
	date      []int // columns of year, month and day; nil where one holds the date
	clockAs   digitsForm
	smaller   []int // columns of minutes and seconds beside one of hours
	names     []int
	kinds     []int
	value     int // of a long file, else -1
	unit      int // of a long file, else -1
	long      bool
	headless  bool   // no line names the columns
	second    string // another column of whole times, of which nothing says which counts
	zone      string // named in the file
	zoneFrom  string // where
	logger    string // named above the table
	headUnit  unit   // named above the table
	notes     []string
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
	if len(rows) > 0 && !l.headless {
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
		if _, quantity := c.role.quantity(); quantity {
			continue
		}
		tally := map[stampKind]int{}
		for _, raw := range rows {
			if cells := cut(raw, l.separator); i < len(cells) && cells[i] != "" {
				tally[parseStamp([]byte(cells[i])).kind]++
				c.peekDigits(cells[i])
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
	if l.time < 0 {
		l.dateApart()
	}
	switch {
	case l.time < 0:
	case l.columns[l.time].stamp != dateOnly && l.columns[l.time].stamp != serialDay:
		l.clock = -1
	case l.clock < 0:
		l.clockApart()
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
		used := c.role != unused && (c.role != timeRole || i == l.time || i == l.clock || slices.Contains(l.date, i) ||
			slices.Contains(l.smaller, i))
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
	case !quantities && l.value < 0 && l.headless:
		return "header"
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
