package web

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/repair"
	"dewcase/internal/words"
)

// surfaceSentences are the answer for one surface: on how many nights, then how
// many hours and how sure.
func surfaceSentences(where string, sheet picture.WinterSheet, s *assessment.Surface) (first, second string) {
	n := picture.CountNights(sheet.Nights)
	switch {
	case len(sheet.Nights) == 0 || n.Counted == 0 && n.WetHours == 0:
		first = "No night has been observed well enough yet to say whether water formed " + where + "."
	case n.Wet == 0 && n.Briefly > 0:
		first = fmt.Sprintf("No night of %d observed was wet for an hour or more %s.", n.Counted, where)
	case n.Wet == 0:
		first = fmt.Sprintf("No water was seen to form %s on %d observed nights.", where, n.Counted)
	default:
		first = "Water formed " + where + strings.TrimPrefix(sheet.NightsWords(), "Wet")
	}
	if s == nil || s.HoursCondensing == nil {
		if n.Counted == 0 && n.Unsure > 0 { // there is none to which these were more
			return first, fmt.Sprintf("The record has %s so far.", words.Count(n.Unsure, "night"))
		}
		return first, strings.TrimSpace(sheet.UnsureWords())
	}
	second = fmt.Sprintf("In all %s h wet", words.Hours(*s.HoursCondensing))
	if s.HoursCondensingLow != nil && s.HoursCondensingHigh != nil {
		second += fmt.Sprintf(", %s to %s h with the loggers’ accuracy (95 %%)", words.Hours(*s.HoursCondensingLow),
			words.Hours(*s.HoursCondensingHigh))
	}
	second += fmt.Sprintf(", of %s h observed.", words.Hours(s.HoursObserved))
	if s.HoursCondensingLow == nil || s.HoursCondensingHigh == nil {
		second += " How sure that is cannot be said, because a logger’s accuracy is not in the case file."
	}
	if s.FrostHours != nil && *s.FrostHours >= 0.05 {
		second += fmt.Sprintf(" Frost: %s h.", words.Hours(*s.FrostHours))
	}
	if s.HoursAtRisk != nil {
		second += fmt.Sprintf(" Wet or within 1 K of it: %s h.", words.Hours(*s.HoursAtRisk))
	}
	return first, second + sheet.UnsureWords()
}

// lately says in one sentence how the last nights were.
func lately(where string, nights []picture.Night) string {
	const last = 7
	if len(nights) > last {
		nights = nights[len(nights)-last:]
	}
	n := picture.CountNights(nights)
	if n.Counted == 0 {
		return "Not observed well enough over the last " + words.Count(len(nights), "night") + " to say."
	}
	if n.Wet == 0 && n.Briefly > 0 {
		return fmt.Sprintf("Briefly wet %s on %d of the last %s observed, for less than an hour each.", where, n.Briefly,
			words.Count(n.Counted, "night"))
	}
	if n.Wet == 0 {
		s := fmt.Sprintf("No water %s on the last %s observed", where, words.Count(n.Counted, "night"))
		if n.Unsure > 0 {
			s += fmt.Sprintf(" (%d not observed)", n.Unsure)
		}
		return s + "."
	}
	lo, hi := math.Inf(1), 0.0
	for _, night := range nights {
		if night.IsWet() {
			h := night.Sum().CondensingMin / 60
			lo, hi = math.Min(lo, h), math.Max(hi, h)
		}
	}
	span := fmt.Sprintf("%.0f to %.0f hours each", lo, hi)
	switch {
	case math.Round(lo) == math.Round(hi):
		span = words.Count(int(math.Round(hi)), "hour") + " each"
	}
	if n.Wet == 1 {
		span = strings.TrimSuffix(span, " each")
	}
	return fmt.Sprintf("Water formed %s on %d of the last %s, %s.", where, n.Wet, words.Count(n.Counted, "night"), span)
}

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

// supportWords writes a cause's share of the support.
func supportWords(x float64) string {
	if x > 0 && x < 0.005 {
		return "under 0.01"
	}
	return fmt.Sprintf("%.2f", x)
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
		"age":     func(t time.Time) string { return words.Ago(p.Now(), t) },
		"hours":   shown(words.Hours),
		"signed":  shown(words.Signed),
		"percent": shown(words.Percent),
		"whole":   shown(words.Whole),
		"upper":   words.Upper,
		"plural":  words.Count,
		"interval": func(lo, hi *float64) string {
			if lo == nil || hi == nil {
				return "–"
			}
			return words.Interval(*lo, *hi)
		},
		"fall":    func(e repair.Effect) string { return words.Fall(e).String() },
		"weight":  words.Weight,
		"support": supportWords,
		"classfrom": func(class, from string) string {
			return strings.Replace(strings.TrimPrefix(from, "class "+class+" "), "key positions.mould_class says otherwise",
				"mould_class in the case file can say otherwise", 1)
		},
		"category": func(s string) string { return strings.ReplaceAll(s, "tau", "τ") },
		"known":    func(s string) string { return strings.TrimPrefix(s, "not identifiable here: ") },

		"quantity": quantityWords,
		"nightdate": func(zone *time.Location,
			t *time.Time) string {
			return evidence.Noon(*t, zone).Format(time.DateOnly)
		},
		"sentence": words.Sentence,
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
