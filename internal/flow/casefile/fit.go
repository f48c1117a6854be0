package casefile

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// Placing fits a logger to a position from a time on. A position that the case
// has not got yet is added with its place and the air that meets it.
type Placing struct {
	Logger, Position string
	Place            roof.Place
	Meets            string
	From             time.Time
}

// Fit writes placings into a case file. The file stays as its author wrote it,
// comments included, but for the new lines; where they cannot be put in line by
// line (a logger that has a history already, lists in one line) the whole file is
// written anew. An error is the file's faults afterwards.
func Fit(name string, file []byte, placings []Placing) ([]byte, error) {
	c, faults := Parse(name, file)
	if len(faults) > 0 {
		return nil, faults
	}
	lines := strings.Split(strings.TrimSuffix(strings.ReplaceAll(string(file), "\r\n", "\n"), "\n"), "\n")
	byLine := true
	for _, p := range placings {
		if _, there := c.Position(p.Position); !there {
			pos := roof.Position{ID: p.Position, Place: p.Place, Meets: p.Meets}
			c.Positions = append(c.Positions, pos)
			item := fmt.Sprintf("id: %s, place: %s", p.Position, p.Place)
			if p.Meets != "" {
				item += ", meets: " + p.Meets
			}
			lines, byLine = addItem(lines, "positions", item, byLine)
		}
		fitted := roof.Fitting{Position: p.Position, From: p.From.UTC().Truncate(time.Second)}
		at := slices.IndexFunc(c.Loggers, func(l roof.Logger) bool { return l.ID == p.Logger })
		if at >= 0 {
			// Where it hung before, it hung until now.
			l := &c.Loggers[at]
			for i := range l.Fitted {
				if f := &l.Fitted[i]; f.To.IsZero() || f.To.After(fitted.From) && f.From.Before(fitted.From) {
					f.To = fitted.From
				}
			}
			l.Fitted, byLine = append(l.Fitted, fitted), false
			continue
		}
		c.Loggers = append(c.Loggers, roof.Logger{ID: p.Logger, Fitted: []roof.Fitting{fitted}})
		lines, byLine = addItem(lines, "loggers", fmt.Sprintf("id: %s, fitted: [{position: %s, from: %s}]", text(p.Logger),
			p.Position, fitted.From.Format(time.RFC3339)), byLine)
	}
	whole, err := Format(c)
	if err != nil {
		return nil, err
	}
	if edited := []byte(strings.Join(lines, "\n") + "\n"); byLine && bytes.Equal(normal(edited), normal(whole)) {
		return edited, nil
	}
	return whole, nil
}

// normal is a file as Format writes it; nil for one with faults.
func normal(file []byte) []byte {
	c, faults := Parse("", file)
	if len(faults) > 0 {
		return nil
	}
	out, err := Format(c)
	if err != nil {
		return nil
	}
	return out
}

// addItem puts an item at the end of a list of the file's first level; false where
// the list is not written line by line.
func addItem(lines []string, key, item string, ok bool) ([]string, bool) {
	at := slices.IndexFunc(lines, func(l string) bool { return strings.HasPrefix(l, key+":") })
	if at < 0 {
		return append(lines, key+":", "  - {"+item+"}"), ok
	}
	value, _, _ := strings.Cut(lines[at][len(key)+1:], " #")
	switch strings.TrimSpace(value) {
	case "":
	case "[]":
		lines[at] = strings.Replace(lines[at], "[]", "", 1)
	default:
		return lines, false
	}
	indent, last := "  ", at
	for i := at + 1; i < len(lines); i++ {
		bare := strings.TrimSpace(lines[i])
		if bare == "" || bare[0] == '#' {
			continue
		}
		dash := strings.HasPrefix(bare, "-")
		if lines[i][0] != ' ' && !dash {
			break // the next key
		}
		if dash && last == at {
			indent = lines[i][:strings.Index(lines[i], "-")]
		}
		last = i
	}
	return slices.Insert(lines, last+1, indent+"- {"+item+"}"), ok
}
