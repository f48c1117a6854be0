package assessment

import (
	"fmt"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// help writes what each work would have done, and how the predictions of works
// that were done have fared.
func (p printer) help(a Assessment, c *roof.Case) {
	if a.Help == nil {
		return
	}
	p("")
	p("What would help: over the nights of %s to %s, before any repair", words.ShortDate(a.Help.From, c.Property.Zone),
		words.ShortDate(a.Help.Until, c.Property.Zone))
	if s := Planned(c); s != "" {
		p("  %s", s)
	}
	p.candidates(*a.Help, a.Predictions, c)
	if n := a.Now; n != nil {
		p("")
		p("What would help now: over the nights of %s to %s, since the work of %s", words.ShortDate(n.From,
			c.Property.Zone),
			words.ShortDate(n.Until, c.Property.Zone), words.ShortDate(*n.After, c.Property.Zone))
		p.candidates(n.Help, n.Predictions, c)
	}
	for _, s := range a.Scores {
		p("  work of %s: %s", words.ShortDate(s.At, c.Property.Zone), s.Sentence)
	}
}

func (p printer) candidates(h Help, predictions []Prediction, c *roof.Case) {
	p("  %s", h.Sentence)
	for _, t := range h.Said.Harms() {
		p("  %s", t)
	}
	if len(h.Ranking) == 0 {
		return
	}
	for i, r := range h.Ranking {
		note := ""
		if r.Alike {
			note = ", alike with the first"
		}
		p("  %s (%s): %s %% of %s h at risk over all surfaces%s", words.Upper(words.Work(r.Work)), r.Assumes,
			words.Whole(r.ChangePct), words.Round(r.RiskH), note)
		for _, x := range predictions {
			switch where := words.SurfaceOf(c, x.Surface); {
			case x.Work != r.Work || r.Work == "leave":
			case x.Refused != "":
				p("    %s: not predicted: %s", where, x.Refused)
			default:
				p("    %-20s at risk %s %%, wet %s %%, water %s %%", where, changeOf(x.RiskPct, x.RiskLow, x.RiskHi),
					changeOf(x.WetPct, x.Low, x.High), changeOf(x.WaterPct, x.WaterLow, x.WaterHigh))
				if i == 0 || x.MakesWorse {
					p("      %s", x.Sentence)
				}
				if x.Widest != "" {
					p("      %s", x.Widest)
				}
			}
		}
	}
	for _, n := range h.NotPredicted {
		p("  %s: %s", words.Upper(words.Work(n.Work)), n.Refused)
	}
	for _, d := range h.Differs {
		p("  note: %s: %s", words.SurfaceOf(c, d.Surface), d.Text)
	}
	for _, n := range h.Notes {
		p("  note: %s", n)
	}
}

// changeOf is a change in per cent with its interval, for a table.
func changeOf(x, low, high *float64) string {
	if x == nil {
		return "–"
	}
	return fmt.Sprintf("%s (%s to %s)", words.Whole(*x), words.Whole(*low), words.Whole(*high))
}
