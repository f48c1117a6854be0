// Package exports reads the files that loggers' own programs, weather stations
// and home automation write, and turns them into readings as the readings file
// has them. It looks a whole file through first and says what in it is doubtful:
// the order of day and month, the hour that clocks show twice in autumn, the
// time zone, a unit, which logger it is. None of this is guessed; what only a
// person can know is a question, and its answers are kept as a recipe for the
// next file of the kind.
//
// What enters is UTF-8 text with lines; doors unpack spreadsheets and other
// encodings into it. The file is read twice, once to look and once to take, in
// bounded memory.
package exports

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Text is one table, to be opened as often as it is read.
type Text struct {
	Name     string                        // as faults and logs name it
	Sheet    string                        // which sheet of a spreadsheet, "" elsewhere
	Cells    bool                          // it comes of a spreadsheet: tabs part the cells
	Date1904 bool                          // the spreadsheet counts days from 1904
	OfSheets bool                          // several sheets hold a table, so that their names are their loggers'
	Open     func() (io.ReadCloser, error) // UTF-8
}

// Answers are what a person or a recipe says of a file. Zero values are not
// answered.
type Answers struct {
	Zone     string            // IANA name, UTC, or an offset such as +01:00
	Dates    Order             // of dates in numbers
	TempUnit string            // C, F or K, where the file does not say
	RHUnit   string            // percent or fraction
	Fold     Fold              // of an hour that is there twice and that the file's order does not tell
	Pair     time.Duration     // of a file with a row a value: longest time between halves of a reading; under 0 none
	Logger   string            // of a file that names none
	Loggers  map[string]string // from a name in the file, or of the file, to a logger
	Columns  map[string]Column // by the column's name: what it holds, where its name does not say
	// Station says that the file is of a weather station elsewhere; nil that it is of
	// the house, or that nobody said. It bears on the case file, not on the readings.
	Station *roof.Station
}

// Column is what a person says of a column.
type Column struct {
	Holds  string // one of Roles
	Unit   string // "" as its name says
	Logger string // of a wide file; "" as its name says
}

// House is what is known beside the file.
type House struct {
	Zone    string   // of the property
	Loggers []string // ids in the case file
	Recipes []Recipe // answers kept for kinds of file; those of the file's kind count where nothing else was said
}

// HouseOf is what a case file says.
func HouseOf(c *roof.Case) House {
	h := House{Zone: c.Property.Timezone}
	for _, l := range c.Loggers {
		h.Loggers = append(h.Loggers, l.ID)
	}
	return h
}

// Plan is how a file will be read. With questions left it cannot be.
type Plan struct {
	Text      Text
	Questions []words.FileDoubt
	Notes     []string // what is left aside, and what was recognised from where
	Columns   []Recognised
	Sample    []SampleRow   // the first rows as they stand in the file
	Rows      int           // rows with a time
	Names     []Named       // the loggers, as the file names them
	Zone      string        // the zone in force for times without an offset; "" where none is needed
	Dates     Order         // in force; "" where no order matters
	Kind      []string      // by what files of one kind are known: the names of their columns
	Recipe    string        // the recipe whose answers were used, "" none
	Canonical bool          // it is a readings file
	RowAValue bool          // temperature and humidity stand in rows of their own
	Pair      time.Duration // of such a file, in force; 0 and less none

	layout  *layout
	namer   *namer
	clock   *clock
	order   Order
	decimal byte
	units   map[held]unit
	fold    Fold
	settled map[seriesShift]bool
}

// Recognised is a column with what it was taken for.
type Recognised struct{ Name, Holds, Unit, Logger string }

// SampleRow is one row as it stands in the file.
type SampleRow struct {
	Line  int
	Cells []string
}

// Named is a logger as the file names it, with the id its readings get.
type Named struct {
	Name  string
	ID    string
	Known bool // the case file has it
}

// sampleRows is how many rows of a file are shown.
const sampleRows = 6

// Look looks a whole file through. An error says that it cannot be read as a
// table at all, or that reading broke off; what is doubtful is in the plan.
func Look(text Text, a Answers, h House) (*Plan, error) {
	return look(text, func([]string) Answers { return a }, h)
}

// look is Look with the answers for the file's kind.
func look(text Text, answers func(kind []string) Answers, h House) (*Plan, error) {
	top, err := readHead(text)
	if err != nil {
		return nil, err
	}
	if len(top.lines) > 0 && csvreadings.IsHeader(top.lines[0]) {
		return &Plan{Text: text, Canonical: true, layout: &layout{}}, nil
	}
	l, err := findLayout(top, text, answers(nil), h)
	if err != nil {
		return nil, err
	}
	p := &Plan{Text: text, Kind: l.kind()}
	a := answers(p.Kind)
	for _, r := range h.Recipes {
		if slices.Equal(r.Kind, p.Kind) && !l.headless { // numbers of columns tell no kind
			p.Recipe, a = r.Name, a.Over(r.Answers.in(h))
			break
		}
	}
	if l, err = findLayout(top, text, a, h); err != nil {
		return nil, err
	}
	p.layout, p.namer, p.fold, p.Pair = l, newNamer(text, a, h, l), a.Fold, a.Pair
	p.RowAValue = l.long
	p.recognised()
	if l.missing() != "" {
		p.Questions = append(p.Questions, words.FileDoubt{Kind: words.DoubtColumns, Line: l.header, Cell: l.missing()})
	}
	s := newScan(p, a, h)
	if err := s.run(); err != nil {
		return nil, err
	}
	if again, ok := p.renamed(a); ok && !s.nameless {
		return look(text, func([]string) Answers { return again }, h)
	}
	s.decide()
	p.Notes = append(p.Notes, l.notes...)
	if p.Zone != "" && l.zone != "" {
		p.Notes = append(p.Notes, words.ZoneOfFile(l.zone, l.zoneFrom))
	}
	for _, n := range p.Names {
		if !n.Known {
			p.Notes = append(p.Notes, words.UnknownLogger(n.Name, n.ID))
		}
	}
	return p, nil
}

// renamed are the answers by which the only name in the file, which the house does not
// have, stands for the logger that a person said; ok is false where there is no need.
func (p *Plan) renamed(a Answers) (again Answers, ok bool) {
	names := slices.DeleteFunc(p.namer.names(), func(n Named) bool { return n.Name == a.Logger })
	if a.Logger == "" || p.Text.OfSheets || len(names) != 1 || names[0].Known || names[0].ID == a.Logger {
		return a, false
	}
	a.Loggers = merged(a.Loggers, map[string]string{names[0].Name: a.Logger})
	return a, true
}

// KindKey is a short name for a kind of file, for forms.
func KindKey(kind []string) string {
	sum := sha256.Sum256([]byte(strings.Join(kind, "\n")))
	return hex.EncodeToString(sum[:4])
}

// LookAll looks at the tables of one file, each by the answers for its kind; of
// a nil kind is what was said of any file. Where one of them can be read, a sheet
// without a table is left out.
func LookAll(texts []Text, answers func(kind []string) Answers, h House) ([]*Plan, error) {
	var plans []*Plan
	var first error
	for _, t := range texts {
		p, err := look(t, answers, h)
		var faults roof.Faults
		switch {
		case err == nil && (len(texts) == 1 || p.Rows > 0):
			plans = append(plans, p)
		case err == nil:
		case !errors.As(err, &faults):
			return nil, err
		case first == nil:
			first = err
		}
	}
	if len(plans) > 1 { // what names no logger is of that which its sheet names
		for i, p := range plans {
			if p.Canonical || p.Text.OfSheets || !p.namer.bySheet {
				continue
			}
			text := p.Text
			text.OfSheets = true
			again, err := look(text, answers, h)
			if err != nil {
				return nil, err
			}
			plans[i] = again
		}
	}
	if len(plans) > 0 {
		return plans, nil
	}
	if first == nil {
		first = roof.Faults{{File: texts[0].Name, Line: 1, Key: "header", Problem: words.NoTable,
			Remedy: words.NoTableRemedy}}
	}
	return nil, first
}

// Over is what was said here, and of what was not, what was said before.
func (a Answers) Over(before Answers) Answers {
	a.Zone, a.Dates = cmp.Or(a.Zone, before.Zone), cmp.Or(a.Dates, before.Dates)
	a.TempUnit, a.RHUnit = cmp.Or(a.TempUnit, before.TempUnit), cmp.Or(a.RHUnit, before.RHUnit)
	a.Fold, a.Logger = cmp.Or(a.Fold, before.Fold), cmp.Or(a.Logger, before.Logger)
	a.Pair, a.Station = cmp.Or(a.Pair, before.Pair), cmp.Or(a.Station, before.Station)
	a.Loggers = merged(before.Loggers, a.Loggers)
	a.Columns = merged(before.Columns, a.Columns)
	return a
}

// in leaves out loggers that the house does not have: a recipe is kept for all
// houses, and a file's name says little in another one.
func (a Answers) in(h House) Answers {
	if !slices.Contains(h.Loggers, a.Logger) {
		a.Logger = ""
	}
	a.Loggers = maps.Clone(a.Loggers)
	maps.DeleteFunc(a.Loggers, func(_, id string) bool { return !slices.Contains(h.Loggers, id) })
	return a
}

func merged[V any](low, high map[string]V) map[string]V {
	out := maps.Clone(low)
	if out == nil {
		out = map[string]V{}
	}
	maps.Copy(out, high)
	return out
}

func (p *Plan) recognised() {
	for _, c := range p.layout.columns {
		r := Recognised{Name: c.name, Holds: string(c.role), Unit: string(c.unit)}
		if _, ok := c.role.quantity(); ok && !p.layout.long {
			r.Logger, _ = p.namer.id(c.label)
		}
		p.Columns = append(p.Columns, r)
	}
}

// Weather reports whether a column holds what weather stations measure beside
// temperature and humidity.
func (p *Plan) Weather() bool {
	return slices.ContainsFunc(p.layout.columns, func(c column) bool {
		return c.role == rainRole || c.role == windRole || c.role == sunRole
	})
}

// OneLogger is the only logger of the file; ok is false where it has several, or
// none that is known.
func (p *Plan) OneLogger() (id string, ok bool) {
	for _, n := range p.Names {
		if ok && n.ID != id {
			return "", false
		}
		id, ok = n.ID, true
	}
	return id, ok
}

// Open reports whether a question of the kind is open.
func (p *Plan) Open(k words.FileDoubtKind) bool {
	return slices.ContainsFunc(p.Questions, func(d words.FileDoubt) bool { return d.Kind == k })
}

// Faults are the open questions as faults of the file, each with the flag that
// settles it.
func (p *Plan) Faults() roof.Faults {
	var out roof.Faults
	for _, d := range p.Questions {
		problem, remedy := words.FileDoubtFault(d)
		out = append(out, roof.Fault{File: p.Text.Name, Line: max(d.Line, 1), Key: string(d.Kind), Problem: problem,
			Remedy: remedy})
	}
	return out
}

// Read hands on each good reading with its line, in the file's order; bad rows
// are in the summary. now is the time of arrival.
func (p *Plan) Read(now time.Time, each func(r roof.Reading, line int) error) (csvreadings.Summary, error) {
	if len(p.Questions) > 0 {
		return csvreadings.Summary{}, p.Faults()
	}
	if p.Canonical {
		in, err := p.Text.Open()
		if err != nil {
			return csvreadings.Summary{}, fmt.Errorf("opening %s: %w", p.Text.Name, err)
		}
		defer func() { _ = in.Close() }()
		return csvreadings.Read(p.Text.Name, in, now, each)
	}
	r := &reader{Plan: p, now: now.UTC().Truncate(time.Millisecond), each: each, courses: map[string]*course{}}
	return r.run()
}
