package assessment

import (
	"fmt"
	"strings"
	"time"

	"dewcase/internal/roof/caution"
)

// printer writes one line.
type printer func(format string, args ...any)

// film writes the water balance of a surface.
func (p printer) film(f *Film, zone *time.Location) {
	if f == nil {
		return
	}
	at := ""
	if f.PeakAt != nil {
		at = " on " + f.PeakAt.In(zone).Format("2 Jan 2006 15:04")
	}
	p("  most water at once   %7.0f g/m²%s; %.0f g/m² formed in all, %.0f dripped, a film lay for %.1f h (masses are "+
		"good to a factor of about two)", f.PeakGM2, at, f.CondensedGM2, f.DrippedGM2, f.WetHours)
	p("  nights wetted        %7d; dry by noon after %d, still wet after %d, not observed at noon after the rest",
		f.NightsWetted, f.MorningsDried, f.MorningsWet)
	if n := len(f.Melts); n > 0 {
		most := f.Melts[0]
		for _, m := range f.Melts {
			if m.MassGM2 > most.MassGM2 {
				most = m
			}
		}
		p("  thaws of frost       %7d, the largest of %.0f g/m² on %s", n, most.MassGM2,
			most.At.In(zone).Format("2 Jan 2006 15:04"))
	}
}

// damp writes what the dampness of a surface does.
func (p printer) damp(s SurfaceEffects) {
	if m := s.Mould; m != nil {
		p("  mould index, 0 to 6  %7.1f at most (%s), %.1f at the end; %s; ASHRAE 160: %s", m.Peak, m.Words, m.End,
			m.ClassFrom, strings.ReplaceAll(m.ASHRAE160, "_", " "))
	}
	if t := s.Timber; t != nil {
		p("  timber, estimated    %7.1f %% at most, %.1f %% on average, over 20 %% for %.1f weeks (%.1f to %.1f)", t.PeakPct,
			t.MeanPct, t.WeeksOver20, t.WeeksLow, t.WeeksHigh)
	}
	if t := s.Wood; t != nil {
		p("  timber, measured     %7.1f %% at most, %.1f %% on average, over 20 %% for %.1f weeks", t.PeakPct, t.MeanPct,
			t.WeeksOver20)
	}
	if f := s.Fixings; f != nil {
		p("  fixings              %7.0f h of wetness a year if all the year were like the record (%.0f to %.0f with what "+
			"was not observed): category %s", f.WetHoursPerYear, f.LowPerYear, f.HighPerYear, f.Categories())
		p("                       %s", f.Remark)
	}
	for _, n := range s.Assumes {
		p("  note: %s", n)
	}
	for _, n := range s.Notes {
		p("  note: %s", n)
	}
}

// Categories are the category with those that it can as well be.
func (f Corrosion) Categories() string {
	if f.CategoryLow == f.CategoryHigh {
		return f.Category
	}
	return fmt.Sprintf("%s (%s to %s)", f.Category, f.CategoryLow, f.CategoryHigh)
}

// house writes the vapour picture, the air changes and the steady calculation.
func (p printer) house(t PhysicsAnswer) {
	p("")
	p("Vapour and air")
	if h := t.House; h != nil {
		for _, e := range h.Excesses {
			unc := fmt.Sprintf("±%.0f Pa at 95 %%", 1.96*e.UncPa)
			if e.UncPa == 0 {
				unc = "accuracy not known"
			}
			p("  %-16s %5.0f Pa above outdoors (%s), %.1f g/m³", e.Place, e.MeanPa, unc, e.SupplyGM3)
		}
		if h.HumidityClass != nil {
			border := ""
			if h.Borderline {
				border = ", at its border within the loggers' accuracy"
			}
			p("  humidity class %d of 5 (ISO 13788 Annex A, limits from memory)%s", *h.HumidityClass, border)
		}
		if h.LoftShare != nil && h.LoftShareLow != nil && h.LoftShareHigh != nil {
			p("  the loft's moisture stands for %.0f %% house air (95 %% interval %.0f to %.0f %%)", 100**h.LoftShare,
				100**h.LoftShareLow, 100**h.LoftShareHigh)
		}
	}
	air := func(what string, a AirChange) {
		switch {
		case a.PerHour != nil && a.Low != nil && a.High != nil:
			p("  air change of the %s: %.2g an hour (%.2g to %.2g); %s", what, *a.PerHour, *a.Low, *a.High, a.Why)
		case a.Why != "":
			p("  air change of the %s: not identifiable here: %s", what, strings.TrimPrefix(a.Why, "not identifiable here: "))
		}
	}
	air("loft", t.LoftAir)
	air("void", t.VoidAir)
	for _, m := range t.Steady {
		where := "nowhere"
		if len(m.Planes) > 0 {
			where = strings.Join(m.Planes, ", ")
		}
		p("  build-up by ISO 13788, %s: %.0f g/m² condense (%s)", m.Month, m.CondensedGM2, where)
	}
	for _, n := range t.Notes {
		p("  note: %s", n)
	}
}

// survey writes what was found on sight and what the rules would have open.
func (p printer) survey(t PhysicsAnswer) {
	p("")
	p("Build-up, by the survey alone: %s", t.BuildUp.Sentence)
	for _, f := range t.BuildUp.Findings {
		if f.Verdict == "sound" {
			continue
		}
		p("  %-6s %s %s %s (%s)", f.Verdict, f.What, f.Why, f.Cure, f.Source)
	}
	p("  %s", t.BuildUp.Decides)
	p("")
	p("What to open, by the rules of %s", t.Rules)
	for _, o := range t.Openings {
		line := fmt.Sprintf("  %-12s %.3g mm continuous asked for", strings.ReplaceAll(o.Where, "_", " "), o.NeededMM)
		if o.HaveMM != nil && o.ShortMM != nil {
			line += fmt.Sprintf(", %.3g mm there, %.3g mm short", *o.HaveMM, *o.ShortMM)
			if o.ShortMM2 != nil {
				line += fmt.Sprintf(" (%.0f mm² in all)", *o.ShortMM2)
			}
		} else {
			line += ", what is there is not known"
		}
		p("%s (%s; %s)", line, o.Source, o.Standing)
	}
	if len(t.Openings) == 0 {
		p("  they ask for none of this roof, as far as it is known")
	}
	for _, a := range t.Asks {
		p("  look: %s", a)
	}
	if t.Licence != "" {
		p("  %s", t.Licence)
	}
}

// warn writes the cautions for whoever acts on the answer.
func (p printer) warn(list []Caution) {
	p("")
	p("Before anyone looks, climbs, lifts, cuts or seals")
	for _, c := range list {
		memory := ""
		if c.FromMemory {
			memory = "; from memory"
		}
		p("  %s: %s (%s%s)", c.Hazard, c.Text, c.Source, memory)
	}
	p("  %s", caution.Everywhere)
}
