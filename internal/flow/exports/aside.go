package exports

import (
	"slices"
	"strings"
)

// withUnits writes each unit behind the name over it.
func withUnits(names, units []string) []string {
	out := slices.Clone(names)
	for len(out) > 0 && len(out) < len(units) && out[len(out)-1] != "" { // the last name is over several columns
		out = append(out, make([]string, len(units)-len(out))...)
	}
	over := ""
	for i, u := range units {
		if i >= len(out) {
			break
		}
		if out[i] == "" && u != "" {
			out[i] = over // one name over two columns
		} else {
			over = out[i]
		}
		if u != "" && out[i] != "" {
			out[i] += " [" + u + "]"
		}
	}
	return out
}

// maxStacked is how many lines of a header may stand over its last.
const maxStacked = 3

// filledFrom fills the empty names of a header's last line from the lines over it,
// the nearest first, as merged cells leave them. A line with one cell is a title.
func filledFrom(over [][]byte, names []string, separator byte) (some bool, out []string) {
	out = slices.Clone(names)
	for _, raw := range slices.Backward(over) {
		cells := cut(raw, separator)
		if len(cells)-count(cells, "") < 2 {
			continue
		}
		for i, c := range cells {
			if c != "" && i < len(out) && out[i] == "" {
				out[i], some = c, true
			}
		}
	}
	return some, out
}

func count(list []string, what string) (n int) {
	for _, s := range list {
		n += bit(s == what)
	}
	return n
}

// laterAside leaves out the times of what happened to the rows afterwards, where
// another column holds a time.
func (l *layout) laterAside() {
	first := slices.ContainsFunc(l.columns, func(c column) bool {
		return c.role == timeRole && !c.later && (whole(c.stamp) || c.stamp == dateOnly || c.stamp == serialDay)
	})
	for i := range l.columns {
		if c := &l.columns[i]; first && c.later && c.role == timeRole {
			c.role = unused
		}
	}
}

// fahrenheitAside leaves out a temperature that stands beside the same in degrees
// Celsius.
func (l *layout) fahrenheitAside() {
	for i := range l.columns {
		f := &l.columns[i]
		if f.role == tempRole && f.unit == fahrenheit && slices.ContainsFunc(l.columns, func(c column) bool {
			return c.role == tempRole && c.unit == celsius && strings.EqualFold(c.label, f.label)
		}) {
			f.role = unused
		}
	}
}

// idNames takes a column named ID for that of the loggers where it is no count of the
// rows: the same comes again, or two stand beside one time.
func (l *layout) idNames(rows [][]byte) {
	for i := range l.columns {
		c := &l.columns[i]
		if list := tokens(c.name); c.role != unused || len(list) != 1 || list[0] != "id" {
			continue
		}
		seen, times := map[string]bool{}, map[string]string{}
		for _, raw := range rows {
			cells := cut(raw, l.separator)
			if i >= len(cells) || cells[i] == "" {
				continue
			}
			at := ""
			for k, t := range l.columns {
				if t.role == timeRole && k < len(cells) {
					at += cells[k] + " "
				}
			}
			before, twice := times[at]
			if seen[cells[i]] || twice && before != cells[i] {
				c.role = nameRole
				break
			}
			seen[cells[i]], times[at] = true, cells[i]
		}
	}
}
