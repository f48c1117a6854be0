package web

import (
	"fmt"
	"html/template"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/exports"
	"dewcase/internal/reason/alert"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/repair"
	"dewcase/internal/words"
)

// payloadWords shows what came: text as it is, everything else as \xNN, cut
// short.
func payloadWords(b []byte) string {
	const most = 600
	var out strings.Builder
	for len(b) > 0 {
		if out.Len() >= most {
			return out.String() + " …"
		}
		r, n := utf8.DecodeRune(b)
		if r == utf8.RuneError && n <= 1 || !unicode.IsPrint(r) && r != '\n' && r != '\t' {
			fmt.Fprintf(&out, `\x%02x`, b[:n])
		} else {
			out.WriteRune(r)
		}
		b = b[n:]
	}
	return out.String()
}

// shown lets a way to write a figure take one that could not be had.
func shown(write func(float64) string) func(any) string {
	return func(x any) string {
		switch v := x.(type) {
		case float64:
			return write(v)
		case *float64:
			if v != nil {
				return write(*v)
			}
		}
		return "–"
	}
}

func (p *Pages) funcs() template.FuncMap {
	return template.FuncMap{
		"reportpages": func() bool { return p.Reports },
		"alertpages":  func() bool { return p.alerts },
		"valuesof":    valuesWords,
		"inboxhere":   func() bool { return p.inbox != nil },
		"filepages":   func() bool { return p.filesHere },
		"roles":       exports.Roles,
		"units":       exports.Units,
		"holds":       words.ColumnHolds,
		"rowsagainst": words.RowsAgainst,
		"order":       func(o exports.Order) string { return words.OrderWords(string(o)) },
		"measured":    measuredCell,
		"stationask":  func() string { return words.StationQuestion },
		"stationno":   func() string { return words.StationNo },
		"stationyes":  func() string { return words.StationYes },
		"further":     furtherCell,
		"other":       otherField,
		"svg": func(s *picture.Scene) (template.HTML, error) {
			var b strings.Builder
			if err := s.WriteSVG(&b); err != nil {
				return "", err
			}
			return template.HTML(b.String()), nil //nolint:gosec // the scene escapes every word it is given
		},
		"stamp": func(t time.Time) string { return t.UTC().Format(time.RFC3339) },
		"local": func(zone *time.Location, layout string, at any) string {
			switch t := at.(type) {
			case time.Time:
				if !t.IsZero() {
					return t.In(zone).Format(layout)
				}
			case *time.Time:
				if t != nil && !t.IsZero() {
					return t.In(zone).Format(layout)
				}
			}
			return "–"
		},
		"age":       func(t time.Time) string { return words.Ago(p.Now(), t) },
		"hours":     shown(words.Hours),
		"signed":    shown(words.Signed),
		"percent":   shown(words.Percent),
		"whole":     shown(words.Whole),
		"size":      shown(words.Size),
		"upper":     words.Upper,
		"int":       words.Int,
		"plural":    words.Count,
		"list":      words.List,
		"alerttask": func(c alert.Condition) string { return words.AlertTask(string(c)) },
		"alertstate": func(state any, until time.Time, zone *time.Location) string {
			return words.AlertState(fmt.Sprint(state), until, zone)
		},
		"interval": func(lo, hi *float64) string {
			if lo == nil || hi == nil {
				return "–"
			}
			return words.Interval(*lo, *hi)
		},
		"fall":      func(e repair.Effect) string { return words.Fall(e).String() },
		"weight":    words.Weight,
		"support":   words.Of100,
		"classfrom": func(class, from string) string { return strings.TrimPrefix(from, "class "+words.Key(class)+" ") },
		"month":     words.Month,
		"dateof":    words.DateOf,
		"fixed":     func(x float64) string { return words.Fixed(x, 1) },
		"known":     func(s string) string { return strings.TrimPrefix(s, "not identifiable here: ") },

		"quantity": words.Quantity,
		"nightdate": func(zone *time.Location,
			t *time.Time) string {
			return evidence.Noon(*t, zone).Format(time.DateOnly)
		},
		"sentence": words.Sentence,
		"qr":       qrCode,
		"round":    shown(words.Round),
		"pair":     func(s ...string) []string { return s },
		"args":     func(x ...any) []any { return x },
		"head":     func(rows []topicRow, n int) []topicRow { return rows[:min(n, len(rows))] },
		"tail":     func(rows []topicRow, n int) []topicRow { return rows[min(n, len(rows)):] },
		"nothours": func() string { return words.NotWetHours },
		"payload":  payloadWords,
		"barwidth": func(share float64) string { return fmt.Sprintf("%.1f%%", share*100) },
		"join":     strings.Join,
		"words":    words.Key,
		"zone": func(z *time.Location) string {
			if z == nil {
				return "UTC"
			}
			return z.String()
		},
	}
}
