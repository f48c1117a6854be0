package assessment

import (
	"fmt"
	"io"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// WriteText writes an assessment for a person. Write errors are the writer's to
// keep (a bufio.Writer does).
func WriteText(w io.Writer, a Assessment, c *roof.Case) {
	p := func(format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) }
	zone := c.Property.Zone
	when := func(t *time.Time) string {
		if t == nil {
			return "no reading"
		}
		return t.In(zone).Format("2 Jan 2006 15:04 MST")
	}
	if c.Property.Label == "" {
		p("Case %s", a.Case)
	} else {
		p("Case %s, %s", a.Case, c.Property.Label)
	}
	p("Readings from %s to %s (times in %s)", when(a.From), when(a.Until), c.Property.Timezone)
	p("")
	p("Coverage")
	for _, v := range a.Coverage {
		gap := "no reading"
		if v.LongestGapH != nil {
			gap = fmt.Sprintf("longest gap %.1f h", *v.LongestGapH)
		}
		p("  %-16s %5.1f %%  %s", v.Position, 100*v.Share, gap)
	}
	p("")
	for _, s := range a.Surfaces {
		p("Surface %s in the air of %s: %.1f h observed", s.Surface, orNone(s.Air), s.HoursObserved)
		if s.HoursCondensing != nil {
			interval := "no interval: an accuracy is unknown"
			if s.HoursCondensingLow != nil {
				interval = fmt.Sprintf("95 %% interval %.1f to %.1f h", *s.HoursCondensingLow, *s.HoursCondensingHigh)
			}
			p("  water formed for     %7.1f h (%s; plain count %.1f h)", *s.HoursCondensing, interval, *s.HoursCondensingRaw)
			p("  within 1 K of it     %7.1f h, of which %.1f h wet or frosted; frost %.1f h", *s.HoursAtRisk, *s.HoursCondensingRaw, *s.FrostHours)
		}
		if s.PeakCondensateGM2 != nil {
			p("  most water at once   %7.0f g/m2", *s.PeakCondensateGM2)
		}
		if len(s.HowSure) > 0 && s.HoursCondensingLow != nil {
			h := s.HowSure[0]
			p("  %.0f %% of the doubt comes from the %s of logger %s; checked against a reference the interval would be %.1f to %.1f h",
				100*h.Part, quantityWords[h.Quantity], h.Logger, h.CheckedLow, h.CheckedHigh)
		}
		for _, n := range s.Notes {
			p("  note: %s", n)
		}
		p("")
	}
	d := a.Diagnosis
	p("Cause: %s", strings.ReplaceAll(d.Finding, "_", " "))
	for _, k := range d.Causes {
		p("  %-24s support %.2f", strings.ReplaceAll(k.Cause, "_", " "), k.Support)
		for _, e := range k.For {
			p("    for:     %s", e)
		}
		for _, e := range k.Against {
			p("    against: %s", e)
		}
	}
	if d.Next != "" {
		p("  next: %s", d.Next)
	}
	for _, r := range a.Repairs {
		p("")
		p("Repair of %s at %s: %s (%d nights before, %d after)", r.At.In(zone).Format("2 Jan 2006 15:04"), r.Surface, strings.ReplaceAll(r.Verdict, "_", " "), r.NightsBefore, r.NightsAfter)
		fall := func(what string, x, lo, hi *float64) {
			if x != nil && lo != nil && hi != nil {
				p("  %s fell by %.0f %% (95 %% interval %.0f to %.0f %%), weather being equal", what, *x, *lo, *hi)
			}
		}
		fall("hours of surface condensation", r.ReductionPct, r.LowPct, r.HighPct)
		fall("hours at risk", r.AtRiskReductionPct, r.AtRiskLowPct, r.AtRiskHighPct)
		fall("condensed water", r.CondensateReductionPct, r.CondensateLowPct, r.CondensateHighPct)
		if r.Reason != "" {
			p("  why:   %s", r.Reason)
		}
		if r.Needs != "" {
			p("  needs: %s", r.Needs)
		}
		for _, n := range r.Notes {
			p("  note: %s", n)
		}
	}
	for _, n := range a.Notes {
		p("note: %s", n)
	}
}

var quantityWords = map[string]string{"temp_c": "temperature", "rh_pct": "humidity"}

func orNone(s string) string {
	if s == "" {
		return "(not named)"
	}
	return s
}
