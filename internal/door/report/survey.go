package report

import (
	"fmt"
	"math"
	"slices"

	"dewcase/internal/door/drawing"
	"dewcase/internal/reason/buildup"
	"dewcase/internal/reason/openings"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// seen is the part on the survey: the build-up on sight, and what the rules of
// the trade would have open.
func (b *builder) seen(p *part) {
	r := b.Answer.Behind.BuildUp
	if r.Sentence != "" {
		p.lead("%s", words.Sentence(r.Sentence))
	}
	before, when := b.Answer.Behind.Surveyed, "as surveyed"
	if before == nil {
		p.quiet("Read from the survey in the case file alone; nothing in this part was measured.")
	} else {
		when = "as it is since the work"
		p.quiet("Read from the survey in the case file, which is from before the work, and from what the work says that " +
			"it changed; nothing in this part was measured. What the work did is measured, in the part on repairs.")
	}
	section := drawing.Section(b.Case.RoofAt(b.until))
	p.figure("section", section.Scene(), NoLegend, say("The roof cut open, "+when+". Squares: openings; empty is "+
		"open, full is none, dashed is not known. Underlay: whole line HR, dashed LR, dotted not known. Dark blocks: "+
		"battens as cut."))
	p.table(found(r.Findings))
	if before != nil {
		p.head("Before the work, as surveyed")
		p.lead("%s", words.Sentence(before.Sentence))
		section = drawing.Section(b.Case.Roof)
		section.ID += "-before"
		p.figure("section-before", section.Scene(), NoLegend, say("The same roof before the work."))
		p.table(found(slices.DeleteFunc(slices.Clone(before.Findings), func(f buildup.Finding) bool {
			return slices.ContainsFunc(r.Findings, func(now buildup.Finding) bool { return now.What == f.What })
		})))
		p.quiet("Only what was different then; the rest is as above.")
	}
	if r.Decides != "" {
		p.quiet("%s", r.Decides)
	}
	b.open(p)
}

// found is what the rules say, by what they say of it.
func found(list []buildup.Finding) *Table {
	t := &Table{Head: []string{"Part of the roof", "What was found", "Why it matters",
		"What usually cures it, or where to look", "Source"}}
	for _, g := range []struct {
		title   string
		verdict buildup.Verdict
	}{{"Wrong by the rules", buildup.Fault}, {"Not known: look first", buildup.Ask}, {"Worth knowing", buildup.Remark},
		{"Sound by the rules", buildup.Sound}} {
		var rows []Row
		for _, f := range list {
			if f.Verdict == g.verdict {
				rows = append(rows, cells(words.Upper(f.Element), words.Sentence(f.What), words.Sentence(f.Why),
					words.Sentence(f.Cure), f.Source))
			}
		}
		if len(rows) > 0 {
			t.Rows = append(append(t.Rows, Row{Cells: []Text{say("%s", g.title)}, Group: true}), rows...)
		}
	}
	return t
}

// open is what the rule set asks to be open, and what is short.
func (b *builder) open(p *part) {
	a := b.Answer.Behind.Openings
	if a == nil {
		return
	}
	p.head("What to open")
	for _, s := range a.Advice {
		p.para("%s", words.Sentence(s))
	}
	p.para("Rules compared with: %s, %s. %s", a.Set.Region, a.Set.Title, a.Set.Remark)
	t := &Table{Caption: "Openings asked for, there and short (continuous slot, each side)",
		Head:    []string{"Opening", "Asked, mm", "There, mm", "Short, mm", "Short in all, mm²", "Source"},
		Numeric: []bool{false, true, true, true, true}}
	for i, l := range a.Lines {
		if i >= len(b.Answer.Physics.Openings) {
			break
		}
		o, path := b.Answer.Physics.Openings[i], fmt.Sprintf("physics.openings.%d.", i)
		source := l.Rule.Source + " (" + string(l.Rule.Standing) + ")"
		if l.Instead != "" {
			source += "; " + l.Instead
		}
		t.Rows = append(t.Rows, Row{Cells: []Text{say("%s", words.Upper(l.Where.Words())),
			{millimetres(path+"needed_mm", &o.NeededMM)}, {millimetres(path+"have_mm", o.HaveMM)},
			{millimetres(path+"short_mm", o.ShortMM)}, {figureAt(path+"short_mm2", o.ShortMM2, 0)}, say("%s", source)}})
	}
	p.table(t)
	if len(a.Lines) == 0 {
		p.para("The rule set asks for no opening of this roof.")
	}
	p.list(Bullets, texts(append(append([]string{}, a.Asks...), a.Remarks...)...))
	p.warn("%s", licence(a))
}

func licence(a *openings.Answer) string {
	if a.Licence != "" {
		return a.Licence
	}
	return openings.Licence
}

// millimetres has a decimal only where there is one.
func millimetres(path string, x *float64) Run {
	decimals := 0
	if x != nil && math.Abs(*x-math.Round(*x)) > 0.05 {
		decimals = 1
	}
	return figureAt(path, x, decimals)
}

// cautions is what must be said wherever somebody may act on the report.
func (b *builder) cautions(p *part) {
	var items []Text
	for _, c := range b.Answer.Physics.Cautions {
		source := c.Source
		if c.FromMemory {
			source += "; from memory"
		}
		items = append(items, say("%s %s (%s)", bold(words.Upper(c.Hazard)+"."), c.Text, source))
	}
	p.list(Bullets, items)
	p.quiet("%s", caution.Everywhere)
}
