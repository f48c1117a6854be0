package report

import (
	"fmt"
	"strings"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/reason/cause"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// cause is the part on the evidence for and against each cause.
func (b *builder) cause(p *part) {
	f := b.Answer.Finding
	if !b.recorded() || len(f.Causes) == 0 {
		p.lead("The cause cannot be told: nothing was measured.")
		return
	}
	p.add(Lead, b.Answer.Cause(b.Case).Sentence())
	for _, r := range f.Reasons {
		p.para("%s", words.Sentence(r))
	}
	if len(f.Next) > 0 {
		p.para("%s", bold("What would settle it:"))
		p.list(Steps, texts(f.Next...))
	}
	b.window(p)
	var shares []drawing.Share
	t := &Table{Caption: "What the evidence gives to each cause, of 100, and what the readings alone give, with " +
		"everything " +
		"seen on the survey left out",
		Head:    []string{"Cause", "Share", "Readings alone", "Chance that it is among the causes, %"},
		Numeric: []bool{false, true, true, true}}
	for i, c := range f.Causes {
		shares = append(shares, drawing.Share{Words: words.Upper(c.Cause.Words()), Support: c.Support})
		t.Rows = append(t.Rows, Row{Cells: []Text{say("%s", words.Upper(c.Cause.Words())), {b.support(i)},
			say("%s", words.Of100(c.FromReadings)), say("%s", words.Percent(c.Membership))}})
	}
	p.figure("support", drawing.Shares("report-support", shares), NoLegend, nil)
	p.table(t)
	p.warn("To the loggers, a ceiling that leaks house air (ceiling_leakage) and openings that do not work " +
		"(blocked_ventilation) are one and the same state of the loft: nothing that was measured tells them apart. Only " +
		"what is known of the openings on paper divides the support between them. If the survey is wrong about what is " +
		"open, so is that choice.")
	for _, n := range f.Notes {
		p.para("%s", words.Sentence(n))
	}
	p.quiet("Below, how the shares came about: the leading cause against the second, every other against the leading " +
		"one. Weights are powers of e: 0.7 doubles the odds, 2.3 makes them tenfold; below zero a line speaks for the " +
		"other cause. The lines of a table add up to its last, which is what the two shares give. Accuracy is ± twice the " +
		"standard uncertainty where that is known.")
	for i, c := range f.Causes {
		p.head("%s: %s of 100", words.Upper(c.Cause.Words()), b.support(i))
		b.ledger(p, i, c.Cause)
	}
}

func (b *builder) support(i int) Run {
	if i >= len(b.Answer.Diagnosis.Causes) {
		return Run{Words: words.Missing}
	}
	return Run{Words: words.Of100(b.Answer.Diagnosis.Causes[i].Support),
		From:  fmt.Sprintf("diagnosis.causes.%d.support", i),
		Scale: 100}
}

// window says which stretch of the record the cause was looked for in, and what
// was missing.
func (b *builder) window(p *part) {
	w := b.Answer.Finding.Window
	if w.UntilMS <= w.FromMS {
		return
	}
	line := fmt.Sprintf("Looked for in the record of %s to %s: %s days with %s (outdoor air below 5 °C) and %s "+
		"(covering 2.5 K below outdoor air for three hours).",
		day(time.UnixMilli(w.FromMS), b.zone), day(time.UnixMilli(w.UntilMS), b.zone), words.Whole(w.Days),
		words.Count(w.ColdNights, "cold night"), words.Count(w.ClearNights, "clear night"))
	if w.SpansRepair {
		line += " It spans a repair that was shown to have changed nothing."
	}
	p.para("%s", line)
	if len(w.Missing) > 0 {
		p.para("Not logged, or with too little data: %s. Evidence that needs these places is left out, and support is "+
			"held down for it.", placesWords(w.Missing))
	}
}

func placesWords(places []roof.Place) string {
	var out []string
	for _, m := range places {
		out = append(out, m.Words())
	}
	return words.List(out)
}

// unitWords writes a unit of the method for a reader.
func unitWords(u string) string {
	switch u {
	case "h/30 d":
		return "h in 30 days"
	case "1/30 d":
		return "in 30 days"
	}
	return u
}

// ledger is how one cause stands against another, line by line to the sum.
func (b *builder) ledger(p *part, i int, c cause.Cause) {
	l := b.Answer.Finding.Ledger
	column, ok := l.Column(c)
	if !ok {
		p.para("No evidence speaks for or against it.")
		return
	}
	sign, against := 1.0, l.Against[column]
	if i > 0 {
		sign, against = -1, l.Cause
	}
	t := &Table{Caption: "Against: " + against.Words(), Head: []string{"Line", "Figure, ± accuracy", "Nights", "Weight"},
		Numeric: []bool{false, true, true, true}}
	for _, e := range l.Lines {
		if e.Weights[column] == 0 {
			continue
		}
		accuracy, nights := "–", "–"
		if e.Figure != nil {
			accuracy = words.Figure(*e.Figure)
			if e.Accuracy != nil {
				accuracy += " ±" + words.Figure(*e.Accuracy)
			}
			accuracy += " " + unitWords(e.Unit)
		}
		if e.Nights > 0 {
			nights = fmt.Sprint(e.Nights)
		}
		t.Rows = append(t.Rows, cells(words.Sentence(e.Text), strings.TrimSpace(accuracy), nights,
			words.Weight(sign*e.Weights[column])))
	}
	sum := sign * l.Sums[column]
	t.Rows = append(t.Rows, Row{Cells: []Text{say("%s", bold("Sum: "+words.Odds(sum))), say(""), say(""),
		say("%s", bold(words.Weight(sum)))}})
	p.table(t)
}
