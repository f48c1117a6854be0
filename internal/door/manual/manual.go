// Package manual publishes how the answers are made: the package documentation
// of the methods, as text for a terminal and as HTML for a page.
package manual

import (
	"fmt"
	"go/ast"
	"go/doc/comment"
	"go/parser"
	"go/token"
	"html/template"
	"path"

	"dewcase/internal"
)

// Topic is one method.
type Topic struct {
	Name  string // as it is asked for
	Title string
	file  string
}

// Topics are all there are.
func Topics() []Topic {
	return []Topic{
		{"cause", "How a cause is found, and how often rightly", "reason/cause/doc.go"},
		{"repair", "How it is shown whether the work worked, and how often rightly", "reason/repair/doc.go"},
		{"leak", "How it is judged whether a leak was stopped, and how often rightly", "reason/leak/doc.go"},
		{"mechanism", "How it is shown what the work changed, and how often rightly", "reason/mechanism/doc.go"},
		{"predict", "What each work would do to a roof, and how often that held", "reason/predict/doc.go"},
		{"alerts", "When a household and its consultant are told", "flow/watch/watch.go"},
		{"build-up", "What the rules of the trade say of a build-up", "reason/buildup/buildup.go"},
		{"openings", "Which openings a rule asks for", "reason/openings/openings.go"},
		{"air", "Moist air: dew point, frost point, vapour pressure", "physics/psychro/psychro.go"},
		{"trials", "The simulated roofs on which the rates were measured", "physics/roofsim/doc.go"},
	}
}

// Find is the topic of a name.
func Find(name string) (Topic, bool) {
	for _, t := range Topics() {
		if t.Name == name {
			return t, true
		}
	}
	return Topic{}, false
}

// Text is the topic for a terminal.
func (t Topic) Text() (string, error) {
	d, err := t.read()
	if err != nil {
		return "", err
	}
	p := comment.Printer{TextWidth: 80}
	return t.Title + "\n\n" + string(p.Text(d)), nil
}

// HTML is the topic's body for a page whose heading is its title.
func (t Topic) HTML() (template.HTML, error) {
	d, err := t.read()
	if err != nil {
		return "", err
	}
	p := comment.Printer{HeadingLevel: 2, DocLinkURL: func(*comment.DocLink) string { return "" }}
	return template.HTML(p.HTML(d)), nil //nolint:gosec // our own text, and the printer escapes it
}

func (t Topic) read() (*comment.Doc, error) {
	source, err := internal.Methods.ReadFile(t.file)
	var file *ast.File
	if err == nil {
		file, err = parser.ParseFile(token.NewFileSet(), path.Base(t.file), source, parser.PackageClauseOnly|
			parser.ParseComments)
	}
	if err != nil {
		return nil, fmt.Errorf("reading what is written about %s: %w", t.Name, err)
	}
	return new(comment.Parser).Parse(file.Doc.Text()), nil
}
