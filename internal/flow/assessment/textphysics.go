package assessment

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// printer writes one line.
type printer func(format string, args ...any)

// film writes the water balance of a surface, before the latest repair and since
// where there is one.
func (p printer) film(films []words.Film, zone *time.Location, melts [][]Melt) {
	for k, f := range films {
		when := f.When()
		if when != "" {
			p("  %s", when)
		}
		p("  water on it: %s", f.Amounts())
		p("    %s", f.Mornings())
		if n := len(melts[k]); n > 0 {
			most := slices.MaxFunc(melts[k], func(x, y Melt) int { return cmp.Compare(x.MassGM2, y.MassGM2) })
			p("    frost thawed %s, the most %s g/m² on %s", times(n), words.Whole(most.MassGM2), words.Moment(most.At, zone))
		}
	}
	if len(films) > 0 {
		p("  masses are good to a factor of about two")
	}
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return words.Int(n) + " times"
}

// damp writes what the dampness of a surface does.
func (p printer) damp(s SurfaceEffects, zone *time.Location) {
	if m := s.Mould; m != nil {
		p("  mould index, 0 to 6  %7s at most (%s), %s at the end; %s; ASHRAE 160: %s", words.Signed(m.Peak), m.Words,
			words.Signed(m.End), m.ClassFrom, words.Key(m.ASHRAE160))
	}
	if len(s.Spans) == 0 {
		p.wood(s.Timber, s.Wood, s.Fixings)
	}
	for k, x := range s.Spans {
		p("  %s the repair of %s", []string{"before", "since"}[k], words.Date(s.Spans[1].From, zone))
		p.wood(x.Timber, x.Wood, x.Fixings)
	}
	for _, n := range s.Assumes {
		p("  note: %s", n)
	}
	for _, n := range s.Notes {
		p("  note: %s", n)
	}
}

// wood writes what the dampness of a surface does to timber and fixings.
func (p printer) wood(timber, measured *TimberMoisture, fixings *Corrosion) {
	if t := timber; t != nil {
		p("  timber, estimated    %7s %% at most, %s %% on average, over 20 %% for %s weeks (%s to %s)",
			words.Signed(t.PeakPct), words.Signed(t.MeanPct), words.Fixed(t.WeeksOver20, 1), words.Fixed(t.WeeksLow, 1),
			words.Fixed(t.WeeksHigh, 1))
	}
	if t := measured; t != nil {
		p("  timber, measured     %7s %% at most, %s %% on average, over 20 %% for %s weeks", words.Signed(t.PeakPct),
			words.Signed(t.MeanPct), words.Fixed(t.WeeksOver20, 1))
	}
	if f := fixings; f != nil {
		p("  fixings              %7s h of wetness a year if all the year were like this (%s to %s with what was not "+
			"observed): %s", words.Whole(f.WetHoursPerYear), words.Whole(f.LowPerYear), words.Whole(f.HighPerYear),
			f.Class())
		p("                       %s", f.Remark)
	}
}

// Class is the category of ISO 9223 with those that it can as well be.
func (f Corrosion) Class() string { return words.TowClass(f.Category, f.CategoryLow, f.CategoryHigh) }

// house writes the vapour picture, the air changes and the steady calculation.
func (p printer) house(t PhysicsAnswer) {
	p("")
	p("Vapour and air")
	if h := t.House; h != nil {
		for _, e := range h.Excesses {
			unc := "±" + words.Whole(2*e.UncPa) + " Pa at 95 %"
			if e.UncPa == 0 {
				unc = "accuracy not known"
			}
			p("  %-16s %5s Pa above outdoors (%s), %s g/m³", e.Place, words.Whole(e.MeanPa), unc, words.Signed(e.SupplyGM3))
		}
		if h.HumidityClass != nil {
			border := ""
			if h.Borderline {
				border = ", at its border within the loggers' accuracy"
			}
			p("  humidity class %d of 5 (ISO 13788 Annex A, limits from memory)%s", *h.HumidityClass, border)
		}
		if h.LoftShare != nil && h.LoftShareLow != nil && h.LoftShareHigh != nil {
			p("  the loft's moisture stands for %s %% house air (95 %% interval %s to %s %%)", words.Percent(*h.LoftShare),
				words.Percent(*h.LoftShareLow), words.Percent(*h.LoftShareHigh))
		}
	}
	air := func(what string, a AirChange) {
		switch {
		case a.PerHour != nil && a.Low != nil && a.High != nil:
			p("  air change of the %s: %s an hour (%s to %s); %s", what, words.Figure(*a.PerHour), words.Figure(*a.Low),
				words.Figure(*a.High), a.Why)
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
		p("  build-up by ISO 13788, %s: %s g/m² condense (%s)", words.Month(m.Month), words.Whole(m.CondensedGM2), where)
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
		line := fmt.Sprintf("  %-12s %s mm continuous asked for", words.Key(o.Where), words.Whole(o.NeededMM))
		if o.HaveMM != nil && o.ShortMM != nil {
			line += fmt.Sprintf(", %s mm there, %s mm short", words.Whole(*o.HaveMM), words.Whole(*o.ShortMM))
			if o.ShortMM2 != nil {
				line += " (" + words.Whole(*o.ShortMM2) + " mm² in all)"
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
