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
	// Station says that it is a weather station elsewhere, which stands where it
	// stands: a fitting that it has there already reaches back to From.
	Station *roof.Station
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
		_, there := c.Position(p.Position)
		_, known := c.Logger(p.Logger)
		if Place(c, p); !there {
			item := fmt.Sprintf("id: %s, place: %s", p.Position, p.Place)
			if p.Meets != "" {
				item += ", meets: " + p.Meets
			}
			lines, byLine = addItem(lines, "positions", item, byLine)
		}
		if known {
			byLine = false
			continue
		}
		item := "id: " + text(p.Logger)
		if p.Station != nil {
			item += ", station: " + WriteStation(*p.Station)
		}
		lines, byLine = addItem(lines, "loggers", fmt.Sprintf("%s, fitted: [{position: %s, from: %s}]", item, p.Position,
			p.From.UTC().Truncate(time.Second).Format(time.RFC3339)), byLine)
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

// Place puts a placing into a case.
func Place(c *roof.Case, p Placing) {
	if _, there := c.Position(p.Position); !there {
		c.Positions = append(c.Positions, roof.Position{ID: p.Position, Place: p.Place, Meets: p.Meets})
	}
	fitted := roof.Fitting{Position: p.Position, From: p.From.UTC().Truncate(time.Second)}
	at := slices.IndexFunc(c.Loggers, func(l roof.Logger) bool { return l.ID == p.Logger })
	if at < 0 {
		c.Loggers = append(c.Loggers, roof.Logger{ID: p.Logger, Station: p.Station, Fitted: []roof.Fitting{fitted}})
		return
	}
	l := &c.Loggers[at]
	if p.Station != nil {
		l.Station = p.Station
		if len(l.Fitted) > 0 && l.Fitted[0].Position == p.Position {
			if f := &l.Fitted[0]; fitted.From.Before(f.From) {
				f.From = fitted.From
			}
			return
		}
	}
	// Where it hung before, it hung until now.
	for i := range l.Fitted {
		if f := &l.Fitted[i]; f.To.IsZero() || f.To.After(fitted.From) && f.From.Before(fitted.From) {
			f.To = fitted.From
		}
	}
	l.Fitted = append(l.Fitted, fitted)
}

// CanBeStation reports whether a logger can be a weather station: it is not noted as
// one, and hangs nowhere but outdoors.
func CanBeStation(c *roof.Case, logger string) bool {
	l, _ := c.Logger(logger)
	return l.Station == nil && !slices.ContainsFunc(l.Fitted, func(f roof.Fitting) bool {
		pos, _ := c.Position(f.Position)
		return pos.Place != roof.OutdoorAir
	})
}

// StationPlacing places a weather station's series from its first reading on, at
// the outdoor position where no logger of the house hangs, or at one of its own: a
// position joins what was fitted there.
func StationPlacing(c *roof.Case, logger string, at roof.Station, first time.Time) Placing {
	p := Placing{Logger: logger, Place: roof.OutdoorAir, From: first, Station: &at}
	taken := map[string]bool{}
	for _, l := range c.Loggers {
		for _, f := range l.Fitted {
			taken[f.Position] = taken[f.Position] || l.ID != logger
			if pos, _ := c.Position(f.Position); l.ID == logger && pos.Place == roof.OutdoorAir && p.Position == "" {
				p.Position = f.Position
			}
		}
	}
	for _, pos := range c.Positions {
		if pos.Place == roof.OutdoorAir && !taken[pos.ID] && p.Position == "" {
			p.Position = pos.ID
		}
		taken[pos.ID] = true
	}
	for n := 1; p.Position == ""; n++ {
		if name := strings.TrimSuffix(fmt.Sprintf("station-%d", n), "-1"); !taken[name] {
			p.Position = name
		}
	}
	return p
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
