package assessment

import (
	"fmt"
	"time"

	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// unchanged tells which repairs were shown to change nothing at any surface
// they treat, so that the search for the cause may look across them.
func unchanged(results []Repair) func(roof.Event) bool {
	return func(e roof.Event) bool {
		seen := false
		for _, r := range results {
			if !r.At.Equal(e.At) {
				continue
			}
			if r.Verdict != repair.NoChangeShown {
				return false
			}
			seen = true
		}
		return seen
	}
}

// Three are the answers on the hours at risk, on which a verdict rests, and on
// the wet hours.
func Three(r Repair) [2]words.Three {
	of := func(what string, c *repair.Comparison) words.Three {
		if c == nil {
			return words.Three{What: what}
		}
		return words.Three{What: what, Measured: (*words.Fall)(c.Measured), Model: (*words.Fall)(c.Model),
			Like: (*words.Fall)(c.Like), LikeNights: c.LikeNights, Disagree: c.Disagree}
	}
	return [2]words.Three{of("hours at risk", r.AtRisk), of("wet hours", r.Wet)}
}

// Apart are the sentences on answers beside a verdict that differ by more than
// their intervals.
func Apart(c *roof.Case, r Repair) []string {
	var out []string
	for _, t := range Three(r) {
		if s := t.Apart(words.SurfaceOf(c, r.Surface)); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// BeyondModel says what is known of roofs beyond the model, empty where there is
// no fall.
func BeyondModel(r Repair) string {
	if c := r.Correction; c != nil {
		return words.Correction(c.Factor, c.FactorLow, c.FactorHigh, c.WetPct, c.From)
	}
	return ""
}

// unjudged names the repairs that have no verdict for want of a surface.
func unjudged(c *roof.Case) []string {
	var out []string
	for _, e := range repair.Unjudged(c) {
		out = append(out, fmt.Sprintf("the repair of %s (%q) has no verdict: the case has no surface that it treats and "+
			"that is not untouched; list the covering's or the underlay's underside under positions",
			words.Date(e.At, c.Property.Zone), e.What))
	}
	return out
}

func diagnosis(f cause.Finding) Diagnosis {
	d := Diagnosis{Finding: string(f.Finding), Strength: f.Strength, Causes: []Cause{},
		Reasons: append([]string{}, f.Reasons...), Next: f.NextText(), Ledger: f.Ledger,
		Notes: append([]string{}, f.Notes...)}
	if f.Mixed != "" {
		d.Notes = append(d.Notes, f.Mixed)
	}
	if w := f.Window; w.UntilMS > w.FromMS {
		from, until := time.UnixMilli(w.FromMS).UTC(), time.UnixMilli(w.UntilMS).UTC()
		d.From, d.Until = &from, &until
	}
	for _, s := range f.Causes {
		d.Causes = append(d.Causes, Cause{Cause: string(s.Cause), Support: round(s.Support, supportDecimals),
			Alone: round(s.FromReadings, supportDecimals), For: texts(s.For), Against: texts(s.Against)})
	}
	sumToOne(d.Causes)
	return d
}

// cautions are what must be said to whoever acts on the answer: looks, lifts,
// cuts, seals, or climbs to a logger.
func cautions(f cause.Finding, p Physics) []Caution {
	do := append([]caution.Activity{caution.LookInLoft, caution.FitLogger}, f.Activities...)
	for _, x := range p.BuildUp.Findings {
		do = append(do, x.Do...)
	}
	if o := p.Openings; o != nil && len(o.Lines) > 0 {
		do = append(do, caution.CutOpenings, caution.WorkOutside)
	}
	out := []Caution{}
	for _, c := range caution.For(do...) {
		out = append(out, Caution{c.Hazard, c.Text, c.Source, !c.Read})
	}
	return out
}

const supportDecimals = 6

// sumToOne gives what rounding lost to the best supported cause, where it
// weighs least, so that the figures as printed sum to 1.
func sumToOne(causes []Cause) {
	if len(causes) == 0 {
		return
	}
	rest := 1.0
	for _, c := range causes[1:] {
		rest -= c.Support
	}
	causes[0].Support = round(rest, supportDecimals)
}

func texts(lines []cause.Evidence) []string {
	out := []string{}
	for _, e := range lines {
		out = append(out, e.Text)
	}
	return out
}
