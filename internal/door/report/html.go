package report

import (
	"embed"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"

	"dewcase/internal/door/picture"
)

//go:embed templates/report.html templates/report.css
var files embed.FS

// longWord is how long a word may be before a place to break it is offered.
const longWord = 24

// soft escapes words and offers places to break very long ones.
func soft(s string) template.HTML {
	var b strings.Builder
	for _, w := range strings.SplitAfter(s, " ") {
		for {
			cut, n := -1, 0
			for at := range w {
				if n == longWord {
					cut = at
					break
				}
				n++
			}
			if cut < 0 {
				b.WriteString(template.HTMLEscapeString(w))
				break
			}
			b.WriteString(template.HTMLEscapeString(w[:cut]) + "<wbr>")
			w = w[cut:]
		}
	}
	return template.HTML(b.String()) //nolint:gosec // every word is escaped
}

// Frame is what the page of a report stands in.
type Frame struct {
	Case   string // id, for the links back; "" where there is nothing to go back to
	Styles []string
	Inline string        // a style sheet for a page that stands alone in a file
	Top    template.HTML // the head that all pages of the house have; "" none
}

var page = template.Must(template.New("report.html").Funcs(template.FuncMap{
	"svg": func(s *picture.Scene) (template.HTML, error) {
		var b strings.Builder
		if err := s.WriteSVG(&b); err != nil {
			return "", err
		}
		return template.HTML(b.String()), nil //nolint:gosec // the scene escapes every word it is given
	},
	"soft":    soft,
	"numeric": func(t *Table, i int) bool { return t.IsNumeric(i) },
	"times":   func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) },
}).ParseFS(files, "templates/report.html"))

// WriteHTML writes the report as a page that reads and prints without script.
// Every figure of the assessment carries its place there (data-figure) and what
// it was multiplied by (data-times).
func (d *Document) WriteHTML(w io.Writer, f Frame) error {
	var inline template.CSS
	if f.Inline != "" {
		own, err := files.ReadFile("templates/report.css")
		if err != nil {
			return fmt.Errorf("reading the report's style sheet: %w", err)
		}
		inline = template.CSS(f.Inline + "\n" + string(own)) //nolint:gosec // the program's own style sheets
	}
	if err := page.Execute(w, struct {
		*Document
		Frame
		Sheet template.CSS
	}{d, f, inline}); err != nil {
		return fmt.Errorf("writing the report of %s as a page: %w", d.House, err)
	}
	return nil
}
