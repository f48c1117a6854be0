// Package report writes the consultant's report of one case, for use in a
// dispute: one winter on paper, what was measured, what it means, and how
// certain it is. It takes a case, its assessment and its record and returns a
// Document, which is written as a page for a browser and as a PDF with the
// same words and pictures.
//
// The report computes nothing that the assessment does not state. Each figure
// that a program can request carries its path in the assessment's JSON.
package report

import (
	"strings"
	"time"

	"dewcase/internal/door/picture"
	"dewcase/internal/words"
)

// Document is one report, in the order in which it is read.
type Document struct {
	Title  string
	House  string // label and id, for heads and feet
	Facts  []Fact // under the title
	Answer []Text // the answer, in a paragraph
	Parts  []Part
	Foot   Foot
	Demo   bool
	made   time.Time
}

// Next is the part after the one at a place; nil after the last.
func (d *Document) Next(at int) *Part {
	if at+1 < len(d.Parts) {
		return &d.Parts[at+1]
	}
	return nil
}

// Foot stands at the foot of every page.
type Foot struct{ Case, Span, Coverage, Version, Made string }

// Line is the foot in one line, without the page's number.
func (f Foot) Line() string {
	var out []string
	for _, s := range []string{f.Case, f.Span, f.Coverage, f.Version, f.Made} {
		if s != "" {
			out = append(out, s)
		}
	}
	return strings.Join(out, " · ")
}

// Fact is a name with what it is.
type Fact struct {
	Name string
	Is   Text
}

// Part is a numbered part of the report.
type Part struct {
	ID, Number, Title string
	Blocks            []Block
}

// Kind is how a block is set.
type Kind string

// The kinds of block.
const (
	Para    Kind = "para"
	Lead    Kind = "lead"  // the sentence that answers the part's question
	Quiet   Kind = "quiet" // an explanation
	Warn    Kind = "warn"  // must not be overlooked
	Heading Kind = "heading"
	Bullets Kind = "bullets"
	Steps   Kind = "steps" // numbered
	Grid    Kind = "grid"  // a table
	Figure  Kind = "figure"
)

// Block is one thing set below the other. Only the fields of its kind are used.
type Block struct {
	Kind   Kind
	Text   Text
	Items  []Text
	Table  *Table
	Scene  *picture.Scene
	Legend Legend
	Frame  string // class of a figure in the style sheet
}

// Legend says which explanation stands under a picture.
type Legend string

// The legends.
const (
	NoLegend     Legend = ""
	StatesLegend Legend = "states" // dry, near, wet, frost, not observed
	GapLegend    Legend = "gap"    // not observed
)

// Table is rows under a head. The first column names its row.
type Table struct {
	Caption string
	Head    []string
	Numeric []bool // by column; short is false
	Rows    []Row
}

// Row is one row; a group's only cell is a heading over the whole width.
type Row struct {
	Cells []Text
	Group bool
}

// IsNumeric reports whether a column holds figures.
func (t *Table) IsNumeric(i int) bool { return i < len(t.Numeric) && t.Numeric[i] }

// part collects blocks.
type part struct{ Part }

func (p *part) add(kind Kind, t Text) {
	if len(t) > 0 {
		p.Blocks = append(p.Blocks, Block{Kind: kind, Text: t})
	}
}

func (p *part) para(pattern string, parts ...any)  { p.add(Para, say(pattern, parts...)) }
func (p *part) lead(pattern string, parts ...any)  { p.add(Lead, say(pattern, parts...)) }
func (p *part) quiet(pattern string, parts ...any) { p.add(Quiet, say(pattern, parts...)) }
func (p *part) warn(pattern string, parts ...any)  { p.add(Warn, say(pattern, parts...)) }
func (p *part) head(pattern string, parts ...any)  { p.add(Heading, say(pattern, parts...)) }

func (p *part) list(kind Kind, items []Text) {
	if len(items) > 0 {
		p.Blocks = append(p.Blocks, Block{Kind: kind, Items: items})
	}
}

func (p *part) table(t *Table) {
	if len(t.Rows) > 0 {
		p.Blocks = append(p.Blocks, Block{Kind: Grid, Table: t})
	}
}

func (p *part) figure(frame string, s *picture.Scene, l Legend, caption Text) {
	p.Blocks = append(p.Blocks, Block{Kind: Figure, Scene: s, Legend: l, Text: caption, Frame: frame})
}

// texts are sentences as items.
func texts(lines ...string) []Text {
	out := make([]Text, 0, len(lines))
	for _, l := range lines {
		out = append(out, say("%s", words.Sentence(l)))
	}
	return out
}

// cells are strings as the cells of a row.
func cells(parts ...any) Row {
	r := Row{}
	for _, p := range parts {
		r.Cells = append(r.Cells, say("%s", p))
	}
	return r
}

// Text is words with the figures between them, Run a stretch of one look.
type (
	Text = words.Text
	Run  = words.Run
)

// A text is built by these.
var say, bold, mono = words.Say, words.Bold, words.Mono
