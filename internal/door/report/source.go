package report

import (
	"errors"
	"fmt"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
)

// Source is what a report is made of. The same source makes the same report,
// byte by byte.
type Source struct {
	Case   *roof.Case
	Answer assessment.Answer
	// Laid lays the record that the answer stands on out in steps over
	// [from, until).
	Laid func(from, until time.Time, step time.Duration) (timeline.View, error)
	// Curves are the columns of a chart, for the views that the case file keeps; nil
	// shows none.
	Curves func(keys []curves.Key, from, until time.Time, stepMS int64,
		changes ...curves.Change) (curves.View, error)
	CaseFile Digest
	Readings Digest
	Intake   Intake
	// Originals are the files that readings were taken from, the oldest first.
	Originals []roof.Original
	Version   string
	MadeAt    time.Time
	MadeBy    string // "" is not said
	Demo      bool   // the data is invented, which every page says
}

// Digest is by what a file can be told from another: its SHA-256.
type Digest struct {
	SHA256 string // hexadecimal; "" where there is none
	Of     string // what it is the digest of
	Get    string // the request that gives the same bytes; "" none
}

// Intake is what became of what came in.
type Intake struct {
	Known      bool
	Rejected   []Rejected
	AtLeast    bool // there are more rejects than were counted
	Duplicates *int // nil where they are not kept
	Conflicts  *int
	Notes      []string
}

// Rejected is how often something was refused for a reason.
type Rejected struct {
	Reason string
	Count  int
}

// New makes the report. An error says that the record could not be laid out.
func New(s Source) (*Document, error) {
	if s.Case == nil || s.Laid == nil || s.MadeAt.IsZero() {
		return nil, errors.New("making a report: it needs the case, its record and the time at which it is made")
	}
	b, err := load(s)
	if err != nil {
		return nil, fmt.Errorf("making the report of case %s: %w", s.Case.ID, err)
	}
	d := &Document{Demo: s.Demo, Foot: b.foot(), made: s.MadeAt.UTC()}
	d.House = s.Case.ID
	if l := s.Case.Property.Label; l != "" {
		d.House = l + " (" + s.Case.ID + ")"
	}
	d.Title = "Moisture in the roof of " + b.label()
	d.Facts = b.facts()
	d.Answer = b.answer()
	add := func(id, title string, fill func(p *part)) {
		p := &part{Part{ID: id, Title: title}}
		fill(p)
		if len(p.Blocks) > 0 {
			p.Number = fmt.Sprint(len(d.Parts) + 1)
			d.Parts = append(d.Parts, p.Part)
		}
	}
	add("measured", "How it was measured", b.measured)
	add("surfaces", "What happened at each surface", b.surfaces)
	add("damp", "What the dampness does: mould, timber, fixings", b.damp)
	add("vapour", "Where the vapour is", b.vapour)
	add("seen", "What was seen, and what the rules would open", b.seen)
	add("cause", "The cause: evidence for and against", b.cause)
	add("help", "What would help", b.help)
	add("repairs", "Did the repair work", b.repairs)
	add("views", "Charts that were kept", b.views)
	add("limits", "What this report cannot say", b.limits)
	add("cautions", "Before anyone climbs, cuts or seals", b.cautions)
	add("figures", "Annex: how each figure is made", b.figures)
	add("files", "Annex: the files as they came", b.originals)
	return d.cleaned(), nil
}

// builder has everything that the parts of a report ask for.
type builder struct {
	Source
	zone    *time.Location
	winters []laidWinter
	coarse  timeline.View // the whole record, for the charts
	from    time.Time     // of the record; zero without one
	until   time.Time
}

// laidWinter is a stretch of nights that fits on one sheet, hour by hour.
type laidWinter struct {
	from, until time.Time // noons
	hourly      timeline.View
}

// longestSheet is how many nights one sheet shows before the record is cut into
// winters, as on the pages.
const longestSheet = 220

func load(s Source) (*builder, error) {
	b := &builder{Source: s, zone: s.Case.Property.Zone}
	if !b.recorded() {
		return b, nil
	}
	b.from, b.until = *s.Answer.From, *s.Answer.Until
	first := evidence.Noon(b.from, b.zone)
	end := evidence.NoonAfter(evidence.Noon(b.until, b.zone), 1, b.zone)
	for from := first; from.Before(end); {
		until := end
		if end.Sub(first) > longestSheet*24*time.Hour {
			l := from.In(b.zone)
			until = time.Date(l.Year(), time.July, 1, 12, 0, 0, 0, b.zone)
			if !until.After(from) {
				until = time.Date(l.Year()+1, time.July, 1, 12, 0, 0, 0, b.zone)
			}
			if until.After(end) {
				until = end
			}
		}
		view, err := s.Laid(from, until, evidence.SheetStep(b.zone, from, until))
		if err != nil {
			return nil, fmt.Errorf("laying out the winter from %s: %w", local(from, b.zone, dayLayout), err)
		}
		b.winters = append(b.winters, laidWinter{from, until, view})
		from = until
	}
	step := max(drawing.StepFor(b.until.Sub(b.from)), time.Minute)
	var err error
	if b.coarse, err = s.Laid(b.from.Truncate(step), b.until, step); err != nil {
		return nil, fmt.Errorf("laying out the record: %w", err)
	}
	return b, nil
}

// recorded reports whether there is any record.
func (b *builder) recorded() bool {
	a := b.Answer
	return a.From != nil && a.Until != nil && a.Until.After(*a.From)
}

func (b *builder) label() string {
	if l := b.Case.Property.Label; l != "" {
		return l
	}
	return b.Case.ID
}
