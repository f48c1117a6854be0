package report

import (
	"fmt"
	"regexp"
	"strings"
	"time"
	"unicode"

	"dewcase/internal/words"
)

// hoursAt is a figure of the assessment in hours.
func hoursAt(path string, x *float64) Run {
	if x == nil {
		return Run{Words: words.Missing}
	}
	return Run{Words: words.Hours(*x), From: path, Scale: 1}
}

// figureAt is a figure of the assessment.
func figureAt(path string, x *float64, decimals int) Run {
	if x == nil {
		return Run{Words: words.Missing}
	}
	return Run{Words: words.Fixed(*x, decimals), From: path, Scale: 1}
}

// shareAt is a share of the assessment in per cent.
func shareAt(path string, share float64) Run {
	return Run{Words: words.Percent(share), From: path, Scale: 100}
}

func countAt(path string, n int) Run { return Run{Words: words.Int(n), From: path, Scale: 1} }

const (
	dayLayout  = "2 January 2006"
	timeLayout = "2 January 2006 15:04"
)

func local(t time.Time, zone *time.Location, layout string) string { return t.In(zone).Format(layout) }

// clean keeps words that others wrote from disturbing the page: control signs
// become spaces, and signs that turn the direction of writing, by which a name
// can be made to read as another, are shown by their number.
func clean(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	if !strings.ContainsFunc(s, odd) {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		switch {
		case turns(r):
			fmt.Fprintf(&b, "[U+%04X]", r)
		case odd(r):
			b.WriteByte(' ')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// unit finds a space between a figure and its unit.
var unit = regexp.MustCompile(`(\d) (%|h|K|Pa|°C|g/m²|mm|min)([\s.,;:)]|$)`)

// held keeps a figure and its unit on one line.
func held(s string) string { return unit.ReplaceAllString(s, "$1\u00A0$2$3") }

func odd(r rune) bool { return unicode.IsControl(r) || turns(r) || r == '\u2028' || r == '\u2029' }

func turns(r rune) bool {
	return r >= '\u202A' && r <= '\u202E' || r >= '\u2066' && r <= '\u2069' || r == '\u200E' || r == '\u200F' ||
		r == '\u061C'
}

// cleaned cleans every word of a document.
func (d *Document) cleaned() *Document {
	text := func(t Text) {
		for i := range t {
			t[i].Words = held(clean(t[i].Words))
			if i > 0 && t[i-1].From != "" {
				if rest, ok := strings.CutPrefix(t[i].Words, " %"); ok {
					t[i].Words = "\u00A0%" + rest
				}
			}
		}
	}
	d.Title, d.House = clean(d.Title), clean(d.House)
	d.Foot = Foot{clean(d.Foot.Case), clean(d.Foot.Span), clean(d.Foot.Coverage), clean(d.Foot.Version),
		clean(d.Foot.Made)}
	for i := range d.Facts {
		text(d.Facts[i].Is)
	}
	for _, t := range d.Answer {
		text(t)
	}
	for _, p := range d.Parts {
		for _, b := range p.Blocks {
			text(b.Text)
			for _, t := range b.Items {
				text(t)
			}
			if b.Table != nil {
				for _, r := range b.Table.Rows {
					for _, c := range r.Cells {
						text(c)
					}
				}
			}
			if b.Scene != nil {
				b.Scene.Title, b.Scene.Desc = clean(b.Scene.Title), clean(b.Scene.Desc)
				for i := range b.Scene.Items {
					b.Scene.Items[i].Text = clean(b.Scene.Items[i].Text)
				}
			}
		}
	}
	return d
}
