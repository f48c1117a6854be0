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

func (h head) cells(line int, separator byte) []string { return cut(h.lines[line], separator) }

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
			if tall, names := filledFrom(h.lines[max(0, i-maxStacked):i], cells, separator); tall {
				if high := newLayout(names, separator, h.at[i], a); high.score() > score {
					high.writtenAs(cells)
					l, score = high, high.score()
					cells = names
				}
			}
			if i+1 < len(h.lines) && score < 20 { // its units may stand in a line of their own
				if units := cut(h.lines[i+1], separator); l.unitLine(units) {
					if under := newLayout(withUnits(cells, units), separator, h.at[i], a); under.score() > score {
						under.writtenAs(h.cells(i, separator))
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
		best, bestAt = unnamed(h, text, a)
	}
	if best == nil {
		if best, bestAt = headless(h, text, a); best == nil {
			return nil, roof.Faults{{File: text.Name, Line: 1, Key: "header", Problem: words.NoTable,
				Remedy: words.NoTableRemedy}}
		}
	}
	best.above(h, bestAt)
	if best.headless {
		bestAt--
	}
	best.peek(h, bestAt)
	best.settle(house)
	return best, nil
}

// writtenAs notes how the header's own line has the columns.
func (l *layout) writtenAs(cells []string) {
	for k := range l.columns {
		if l.columns[k].written = ""; k < len(cells) {
			l.columns[k].written = cells[k]
		}
	}
}

func newLayout(cells []string, separator byte, line int, a Answers) *layout {
	l := &layout{separator: separator, header: line, data: line + 1, time: -1, clock: -1, value: -1, unit: -1}
	for _, name := range cells {
		m := understand(name)
		c := column{name: name, written: name, role: m.role, unit: m.unit, label: m.label, later: m.later, other: m.other,
			part: partOf(name)}
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
		if _, quantity := c.role.quantity(); quantity {
			c.part = noPart
		}
		l.columns = append(l.columns, c)
	}
	l.letters()
	return l
}

// letters takes T and H for temperature and humidity where they stand side by side, or
// beside the other's name, and nothing else is one; the unit is asked all the same.
func (l *layout) letters() {
	letter := map[role]string{tempRole: "t", rhRole: "h"}
	at, there := map[role]int{}, map[role]bool{}
	for i, c := range l.columns {
		there[c.role] = true
		for r, sign := range letter {
			if strings.EqualFold(strings.TrimSpace(c.name), sign) && (c.role == unused || c.role == timeRole) {
				at[r] = i
			}
		}
	}
	t, isT := at[tempRole]
	h, isH := at[rhRole]
	if isT && !there[tempRole] && (there[rhRole] || isH) {
		l.columns[t].role, l.columns[t].label = tempRole, ""
	}
	if isH && !there[rhRole] && (there[tempRole] || isT) {
		l.columns[h].role, l.columns[h].label = rhRole, ""
	}
}

// score is how sure it is that a line is the header: 0 where it is none.
func (l *layout) score() int {
	times, quantities, values, named := 0, 0, 0, 0
	parts := map[datePart]bool{}
	for _, c := range l.columns {
		parts[c.part] = true
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
	if parts[yearPart] && parts[monthPart] && parts[dayPart] {
		times++
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

// headless finds a table that no line names: three lines of as many cells, of which
// the same one is a time. Its columns are numbered, and what they hold is asked.
func headless(h head, text Text, a Answers) (*layout, int) {
	stamped := func(cells []string) int {
		return slices.IndexFunc(cells, func(c string) bool {
			k := parseStamp([]byte(c)).kind
			return k == dateOnly || k == dateAndClock
		})
	}
	for _, separator := range []byte{'\t', ';', ',', '|'} {
		if text.Cells && separator != '\t' {
			continue
		}
		for i := 0; i+2 < len(h.lines) && i < maxHead; i++ {
			cells := h.cells(i, separator)
			at := stamped(cells)
			if len(cells) < 2 || at < 0 {
				continue
			}
			same := func(line int) bool {
				next := h.cells(line, separator)
				return len(next) == len(cells) && stamped(next) == at
			}
			if !same(i+1) || !same(i+2) {
				continue
			}
			names := make([]string, len(cells))
			for k := range names {
				names[k] = words.NumberedColumn(k + 1)
			}
			l := newLayout(names, separator, h.at[i], a)
			l.data, l.headless = h.at[i], true
			for k := range l.columns {
				if _, said := a.Columns[names[k]]; !said {
					l.columns[k].role = unused
				}
				l.columns[k].label = a.Columns[names[k]].Logger
			}
			if l.columns[at].role == unused {
				l.columns[at].role = timeRole
			}
			return l, i
		}
	}
	return nil, 0
}
