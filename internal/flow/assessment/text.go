package assessment

import (
	"fmt"
	"io"
	"strings"
	"time"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// WriteText writes an assessment for a person. Write errors are the writer's to
// keep (a bufio.Writer does).
func WriteText(w io.Writer, a Assessment, c *roof.Case) {
	var p printer = func(format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) }
	zone := c.Property.Zone
	p.head(a, c)
	for i := range a.Surfaces {
		p.surface(a, c, i)
	}
	d := a.Diagnosis
	if len(a.Doubts) > 0 {
		d.Reasons, d.Next = []string{"see the first lines"}, ""
	}
	p.cause(d, zone)
	for i := range a.Repairs {
		p.repair(a, c, i)
	}
	p.help(a, c)
	p.settle(a.Settle)
	p.house(a.Physics)
	p.survey(a.Physics)
	p.warn(a.Physics.Cautions)
	for _, n := range a.Notes {
		p("note: %s", n)
	}
}

// head writes of what house and time an assessment is, what cannot be right in it,
// and how much of the time was observed.
func (p printer) head(a Assessment, c *roof.Case) {
	when := func(t *time.Time) string {
		if t == nil {
			return "no reading"
		}
		return t.In(c.Property.Zone).Format("2 Jan 2006 15:04 MST")
	}
	if c.Property.Label == "" {
		p("Case %s", a.Case)
	} else {
		p("Case %s, %s", a.Case, c.Property.Label)
	}
	p("Readings from %s to %s (times in %s)", when(a.From), when(a.Until), c.Property.Timezone)
	p("")
	for i, d := range a.Doubts {
		if i == 0 {
			p("First of all: figures that cannot be right")
		}
		p("  %s", d.Text)
		if i == len(a.Doubts)-1 {
			p("")
		}
	}
	p("Coverage")
	for _, v := range a.Coverage {
		gap := "no reading"
		if v.LongestGapH != nil {
			gap = "longest gap " + words.Hours(*v.LongestGapH) + " h"
		}
		p("  %-16s %5s %%  %s", v.Position, words.Percent(v.Share), gap)
	}
	p("")
}

// surface writes what happened at a surface.
func (p printer) surface(a Assessment, c *roof.Case, i int) {
	s, zone := a.Surfaces[i], c.Property.Zone
	p("Surface %s in the air of %s: %s h observed", s.Surface, orNone(s.Air), words.Hours(s.HoursObserved))
	if len(s.Spans) == 0 {
		p.hours(Span{HoursCondensing: s.HoursCondensing, HoursCondensingLow: s.HoursCondensingLow,
			HoursCondensingHigh: s.HoursCondensingHigh, HoursCondensingRaw: s.HoursCondensingRaw, HoursAtRisk: s.HoursAtRisk,
			FrostHours: s.FrostHours, HowSure: s.HowSure})
	}
	for k, x := range s.Spans { // never added up
		p("  %s the repair of %s: %s h observed", []string{"before", "since"}[k], words.Date(s.Spans[1].From, zone),
			words.Hours(x.HoursObserved))
		p.hours(x)
	}
	for _, m := range a.ModelHours(c, i) {
		p("  %s", m.Sentence())
	}
	if a.DoubtAt(s) != "" {
		p("  nothing is concluded here: see the first lines")
	}
	for _, n := range s.Notes {
		if !a.doubted(n) {
			p("  note: %s", n)
		}
	}
	if i < len(a.Physics.Surfaces) && s.HoursObserved > 0 {
		e := a.Physics.Surfaces[i]
		p.film(a.Films(c, i), zone, e.melts())
		p.damp(e, zone)
	}
	p("")
}

// repair writes whether a repair worked at a surface.
func (p printer) repair(a Assessment, c *roof.Case, i int) {
	r := a.Repairs[i]
	p("")
	v := a.Verdict(c, i)
	p("Repair of %s at %s: %s (%d nights before, %d after)", words.Moment(r.At, c.Property.Zone), r.Surface, v.Kind,
		r.NightsBefore, r.NightsAfter)
	for _, x := range a.Exchanges(i) {
		p("  what the work changed, %s: %s. %s", x.Figure(), x.Kind, x.Sentence())
	}
	if r.OnlySeen != nil {
		for _, s := range r.OnlySeen.Text {
			p("  %s", s)
		}
	}
	for _, f := range v.Falls() {
		if f.Known() {
			p("  %s", f.Clause())
		}
	}
	for _, three := range Three(r) {
		if s := three.String(); s != "" {
			p("  %s", s)
		}
	}
	for _, s := range Apart(c, r) {
		p("  %s", s)
	}
	if s := BeyondModel(r); s != "" {
		p("  %s", s)
	}
	for _, s := range Leak(r) {
		p("  leak:  %s", s)
	}
	if r.Reason != "" && !a.doubted(r.Reason) {
		p("  why:   %s", r.Reason)
	}
	if house := a.House(i); house != "" {
		p("  house: %s", house)
	}
	if r.Needs != "" && !a.doubted(r.Needs) {
		p("  needs: %s", r.Needs)
	}
	for _, n := range r.Notes {
		p("  note: %s", n)
	}
}

// hours writes the hours of a surface over a span.
func (p printer) hours(s Span) {
	if s.HoursCondensing == nil {
		return
	}
	interval := "no interval: an accuracy is unknown"
	if s.HoursCondensingLow != nil {
		interval = "95 % interval " + words.HoursInterval(*s.HoursCondensingLow, *s.HoursCondensingHigh) + " h"
	}
	p("  wet                  %7s h (%s; counted %s h)", words.Hours(*s.HoursCondensing), interval,
		words.Hours(*s.HoursCondensingRaw))
	p("  at risk              %7s h, of which %s h wet; frost %s h", words.Hours(*s.HoursAtRisk),
		words.Hours(*s.HoursCondensingRaw), words.Hours(*s.FrostHours))
	if len(s.HowSure) > 0 && s.HoursCondensingLow != nil {
		h := s.HowSure[0]
		p("  %s %% of the doubt comes from the %s of logger %s; checked to %s the interval would be %s to %s h",
			words.Percent(h.Part), words.Quantity(h.Quantity), h.Logger, checkWords[h.Quantity], words.Hours(h.CheckedLow),
			words.Hours(h.CheckedHigh))
	}
}

// cause writes the finding, how sure it is, and its evidence.
func (p printer) cause(d Diagnosis, zone *time.Location) {
	p("Cause: %s", d.Sentence)
	if d.From != nil && d.Until != nil {
		p("  looked for in the readings of %s to %s", d.From.In(zone).Format("2 Jan 2006"),
			d.Until.In(zone).Format("2 Jan 2006"))
	}
	for _, r := range d.Reasons {
		p("  why:  %s", r)
	}
	for _, n := range d.Notes {
		p("  note: %s", n)
	}
	if d.Next != "" {
		p("  next: %s", d.Next)
	}
	p.ledger(d)
	for _, k := range d.Causes {
		p("  %-24s %s (by the readings alone %s)", spaced(k.Cause), words.Share(k.Support), words.Of100(k.Alone))
		for _, e := range k.For {
			p("    for:     %s", e)
		}
		for _, e := range k.Against {
			p("    against: %s", e)
		}
	}
}

// ledger writes how the leading cause came by its share against the runner-up.
func (p printer) ledger(d Diagnosis) {
	l := d.Ledger
	if l == nil || len(l.Against) == 0 {
		return
	}
	p("  %s against %s, in powers of e (0.7 doubles the odds; below zero speaks for the other):", spaced(string(l.Cause)),
		spaced(string(l.Against[0])))
	for _, line := range l.Lines {
		if w := line.Weights[0]; w != 0 {
			p("    %6s  %s", words.Weight(w), line.Text)
		}
	}
	p("    %6s  sum: %s", words.Weight(l.Sums[0]), words.Odds(l.Sums[0]))
}

func spaced(s string) string { return strings.ReplaceAll(s, "_", " ") }

// checkWords are what a logger is taken to be good to after a check.
var checkWords = map[string]string{"temp_c": "±0.1 K in an ice bath", "rh_pct": "±1 %RH over a salt"}

func orNone(s string) string {
	if s == "" {
		return "(not named)"
	}
	return s
}
