package report

import (
	"fmt"

	"dewcase/internal/door/drawing"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/physics/condensate"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// surfaces is the part on what happened at each surface.
func (b *builder) surfaces(p *part) {
	if len(b.Answer.Surfaces) == 0 {
		p.para("No surface is among the positions of the case file, so there are no hours to report.")
		return
	}
	of := b.Answer.Surfaces
	for _, i := range drawing.InOrder(b.Case, b.Answer, len(of), func(i int) string { return of[i].Surface }) {
		s := of[i]
		pos, _ := b.Case.Position(s.Surface)
		p.head("%s (%s), in the air of %s", words.Upper(pos.Place.Words()), s.Surface, airOf(s))
		if !b.recorded() {
			for _, n := range s.Notes {
				p.warn("%s", words.Sentence(n))
			}
			continue
		}
		b.surface(p, i, pos)
	}
}

func airOf(s assessment.Surface) string {
	if s.Air == "" {
		return "a place that is not named"
	}
	return s.Air
}

func (b *builder) surface(p *part, i int, pos roof.Position) {
	s := b.Answer.Surfaces[i]
	p.add(Lead, b.surfaceSentence(i))
	for _, n := range s.Notes {
		p.warn("%s", words.Sentence(n))
	}
	if s.HoursObserved == 0 {
		return
	}
	b.hours(p, i)
	for _, m := range b.Answer.ModelHours(b.Case, i) {
		p.para("%s", m.Sentence())
	}
	for k, w := range b.winters {
		sheet := drawing.Sheet(b.Case, w.hourly, pos, w.from, w.until, b.zone)
		sheet.ID = fmt.Sprintf("report-sheet-%d-%d", i, k)
		caption := say("The winter, night by night. One column a night, noon to noon, each hour one field. Above: the " +
			"outdoor minimum of each night and its sky (tall mark: clear; low mark: broken; none: overcast). Below: wet " +
			"hours a night. ")
		if len(b.winters) > 1 {
			caption = append(caption, say("Nights of %s to %s. ", local(w.from, b.zone, dayLayout),
				local(w.until, b.zone, dayLayout))...)
		}
		caption = append(caption, say("%s", sheet.Words())...)
		p.figure("sheet", sheet.Scene(), StatesLegend, caption)
	}
	m := drawing.Chart(b.Case, b.coarse, pos, b.zone)
	m.ID = fmt.Sprintf("report-margin-%d", i)
	caption := "Margin: surface temperature minus the limit of its air (dew point; frost point below 0 °C), K. Line: " +
		"mean of each step; grey: its range; below zero water forms. Row beneath: what formed. " +
		words.Upper(words.Step(m.Step)) +
		". "
	for _, c := range drawing.Changes(b.Answer.Repairs) {
		if u := drawing.Unrepaired(m, c); c.Surface == s.Surface && u != nil {
			m.UnrepairedK = u
			caption += "Dashed: the margin that the unrepaired roof would have had in the same weather, by the model. "
		}
	}
	m.Strips = drawing.Strips(b.Answer.Behind.Surfaces, s.Surface)
	p.figure("margin", m.Scene(), StatesLegend, say("%s", caption+m.Lowest()+" Its hours stand in the tables above."))
	b.howSure(p, i)
}

// hours is the table of one surface, over the whole record or, once there is a
// repair, before it and since: the two are never added up.
func (b *builder) hours(p *part, i int) {
	s := b.Answer.Surfaces[i]
	told, k, ok := b.effects(s.Surface)
	if len(s.Spans) == 0 {
		t := b.hoursOf(surfacePath(i, ""), assessment.Span{HoursObserved: s.HoursObserved, HoursCondensing: s.HoursCondensing,
			HoursCondensingLow: s.HoursCondensingLow, HoursCondensingHigh: s.HoursCondensingHigh,
			HoursCondensingRaw: s.HoursCondensingRaw, HoursAtRisk: s.HoursAtRisk, FrostHours: s.FrostHours})
		t.Caption = "Hours and water at this surface"
		if ok && told.Condensate != nil {
			water(t, fmt.Sprintf("physics.surfaces.%d.condensate.", k), told.Condensate)
		}
		p.table(t)
	}
	for n, x := range s.Spans {
		t := b.hoursOf(surfacePath(i, fmt.Sprintf("spans.%d.", n)), x)
		t.Caption = "Hours and water at this surface, " + []string{"before", "since"}[n] + " the repair of " +
			local(s.Spans[1].From, b.zone, dayLayout)
		if ok && len(told.Spans) > n && told.Spans[n].Condensate != nil {
			water(t, fmt.Sprintf("physics.surfaces.%d.spans.%d.condensate.", k, n), told.Spans[n].Condensate)
		}
		p.table(t)
	}
	if of := b.film(s.Surface); of != nil {
		gaps := ""
		if of.GapsWet > 0 {
			gaps = fmt.Sprintf(" A film lay on the surface when %d of %s began; after a gap the balance starts again from "+
				"dry, so that what is counted is a lower bound.", of.GapsWet, words.Count(of.Gaps, "gap"))
		}
		p.quiet("Every figure in g/m² goes with the coefficient of heat transfer of still air, taken as %s W/m²K, which "+
			"is known to a factor of about two; a smooth slope is taken to hold %s g/m² before it drips.%s",
			fmt.Sprintf("%g", of.Settings.ConvectionWM2K), fmt.Sprintf("%g", of.Settings.RunOffGM2), gaps)
	}
}

// row puts a figure into a table of hours and water.
func row(t *Table, what string, figure Run, between Text, how string) {
	t.Rows = append(t.Rows, Row{Cells: []Text{say("%s", what), {figure}, between, say("%s", how)}})
}

// hoursOf is the table of the hours of one span, whose figures stand at a path.
func (b *builder) hoursOf(at string, s assessment.Span) *Table {
	t := &Table{Head: []string{"What", "Figure", "95 % interval", "How it is counted"}, Numeric: []bool{false, true, true}}
	both := say("–")
	switch {
	case s.HoursCondensingLow != nil && s.HoursCondensingHigh != nil:
		both = say("%s to %s", hoursAt(at+"hours_condensing_low", s.HoursCondensingLow),
			hoursAt(at+"hours_condensing_high", s.HoursCondensingHigh))
	case s.HoursCondensing != nil:
		both = say("none: an accuracy is not stated")
	}
	row(t, "Wet, h", hoursAt(at+"hours_condensing", s.HoursCondensing), both, "expected over the loggers’ accuracy")
	row(t, "Wet, counted, h", hoursAt(at+"hours_condensing_raw", s.HoursCondensingRaw), say("–"),
		"margin at or below 0 K at the calibrated readings")
	row(t, "At risk, h", hoursAt(at+"hours_at_risk", s.HoursAtRisk), say("–"),
		"counted: margin up to 1 K; includes the wet hours")
	row(t, "Frost, h", hoursAt(at+"frost_hours", s.FrostHours), say("–"),
		"the part of the counted wet hours with the surface below 0 °C")
	row(t, "Observed, h", hoursAt(at+"hours_observed", &s.HoursObserved), say("–"), "surface and its air together")
	return t
}

// water adds the water balance to a table of hours.
func water(t *Table, at string, c *assessment.Film) {
	row(t, "Most water at once, g/m²", figureAt(at+"peak_g_m2", &c.PeakGM2, 0), say("–"),
		"by mass balance: good to a factor of about two")
	row(t, fmt.Sprintf("Nights with %g g/m² or more", c.WettedGM2), countAt(at+"nights_wetted", c.NightsWetted), say("–"),
		"a film that can be wiped off; of "+words.Count(c.NightsSeen, "night"))
	row(t, "Of these, dry by noon", countAt(at+"mornings_dried", c.MorningsDried), say("–"), "the film was gone by then")
	row(t, "Of these, still wet at noon", countAt(at+"mornings_still_wet_at_noon", c.MorningsWet), say("–"),
		"of the others noon was not observed")
	row(t, "Formed in all, g/m²", figureAt(at+"condensed_g_m2", &c.CondensedGM2, 0), say("–"), "by mass balance")
	row(t, "Dripped off, g/m²", figureAt(at+"dripped_g_m2", &c.DrippedGM2, 0), say("–"),
		"of it, what the surface could not hold")
	if c.MedianDryingH != nil {
		row(t, "Drying, h", hoursAt(at+"median_drying_h", c.MedianDryingH), say("–"), "median, from the most water to dry")
	}
}

// film is the water balance of a surface; nil where there is none.
func (b *builder) film(surface string) *condensate.Result {
	for _, s := range b.Answer.Behind.Surfaces {
		if s.Surface == surface {
			return s.Condensate
		}
	}
	return nil
}

// howSure is which logger the doubt comes from, and what a check would buy.
func (b *builder) howSure(p *part, i int) {
	s := b.Answer.Surfaces[i]
	shown := false
	table := func(when, at string, list []assessment.HowSure) {
		t := &Table{Caption: "How sure" + when + ": whose error the interval comes from, and the interval that a " +
			"check of it " +
			"would leave",
			Head:    []string{"Logger", "Quantity", "Part of the doubt, %", "If checked to ±0.1 K or ±1 %RH: from, h", "to, h"},
			Numeric: []bool{false, false, true, true, true}}
		for k, x := range list {
			if x.Part <= 0 {
				continue
			}
			path := fmt.Sprintf("%show_sure.%d.", at, k)
			t.Rows = append(t.Rows, Row{Cells: []Text{say("%s", x.Logger), say("%s", words.Quantity(x.Quantity)),
				{shareAt(path+"part", x.Part)}, {hoursAt(path+"hours_condensing_low_if_checked", &x.CheckedLow)},
				{hoursAt(path+"hours_condensing_high_if_checked", &x.CheckedHigh)}}})
		}
		p.table(t)
		shown = shown || len(t.Rows) > 0
	}
	if len(s.Spans) == 0 && s.HoursCondensingLow != nil {
		table("", surfacePath(i, ""), s.HowSure)
	}
	for n, x := range s.Spans {
		if x.HoursCondensingLow != nil {
			table([]string{" before the repair", " since the repair"}[n], surfacePath(i, fmt.Sprintf("spans.%d.", n)), x.HowSure)
		}
	}
	if shown {
		p.quiet("An error within the maker’s accuracy is shared by all readings of a logger and does not average out. A " +
			"check of humidity over a salt solution (sodium chloride holds about 75 %RH), or side by side with a reference, " +
			"entered under offsets in the case file, narrows the interval as the last columns say.")
	}
}

// damp is the part on mould, timber and fixings.
func (b *builder) damp(p *part) {
	if !b.recorded() {
		return
	}
	said := map[string]bool{}
	var pass = map[string]string{"pass": "keeps the limit (3.0)", "fail": "breaks the limit (3.0)"}
	of := b.Answer.Physics.Surfaces
	for _, k := range drawing.InOrder(b.Case, b.Answer, len(of), func(k int) string { return of[k].Surface }) {
		s := of[k]
		if s.Mould == nil && s.Timber == nil && s.Wood == nil && s.Fixings == nil {
			continue
		}
		p.head("%s", words.Upper(b.position(s.Surface)))
		t := &Table{Head: []string{"What", "Figure", "Meaning"}, Numeric: []bool{false, true}}
		path := fmt.Sprintf("physics.surfaces.%d.", k)
		row := func(what string, figure Text, how string) {
			t.Rows = append(t.Rows, Row{Cells: []Text{say("%s", what), figure, say("%s", how)}})
		}
		if m := s.Mould; m != nil {
			row("Mould index, highest (0 to 6)", Text{figureAt(path+"mould.peak_index", &m.Peak, 2)}, m.Words+"; "+m.ClassFrom)
			end := "at the end of the record"
			if w, ok := pass[m.ASHRAE160]; ok {
				end += "; ANSI/ASHRAE 160: " + w
			}
			row("Mould index, last", Text{figureAt(path+"mould.index_at_end", &m.End, 2)}, end)
		}
		if len(s.Spans) == 0 {
			wood(row, "", path, s.Timber, s.Wood, s.Fixings)
		}
		for n, x := range s.Spans {
			wood(row, []string{"before the repair", "since the repair"}[n], fmt.Sprintf("%sspans.%d.", path, n),
				x.Timber, x.Wood,
				x.Fixings)
		}
		p.table(t)
		if f := s.Fixings; f != nil && f.Remark != "" && !said[f.Remark] {
			said[f.Remark] = true
			p.para("%s", words.Sentence(f.Remark))
		}
		for _, n := range append(append([]string{}, s.Assumes...), s.Notes...) {
			p.quiet("%s", words.Sentence(n))
		}
	}
}

// wood adds the rows on timber and fixings of one span.
func wood(row func(what string, figure Text, how string), when, at string, estimated,
	measured *assessment.TimberMoisture,
	fixings *assessment.Corrosion) {
	if when != "" {
		when = ", " + when
	}
	of := func(name, field string, w *assessment.TimberMoisture) {
		if w == nil {
			return
		}
		row(name+when+", highest, % of dry mass", Text{figureAt(at+field+".peak_pct", &w.PeakPct, 1)},
			"20 % is the usual ceiling; decay does not start under about 22 % and is active from 25 to 30 % (common practice)")
		row(name+when+", mean, %", Text{figureAt(at+field+".mean_pct", &w.MeanPct, 1)}, "")
		row(name+when+", weeks over 20 %", say("%s (%s to %s)", figureAt(at+field+".weeks_over_20_pct", &w.WeeksOver20, 1),
			figureAt(at+field+".weeks_over_20_pct_low", &w.WeeksLow, 1),
			figureAt(at+field+".weeks_over_20_pct_high", &w.WeeksHigh, 1)),
			"with the range that the estimate is good to")
	}
	of("Wood moisture, estimated", "timber", estimated)
	of("Wood moisture, measured", "wood_measured", measured)
	if f := fixings; f != nil {
		row("Time of wetness"+when+", h a year", say("%s (%s to %s)",
			figureAt(at+"fixings.wet_hours_per_year", &f.WetHoursPerYear, 0),
			figureAt(at+"fixings.wet_hours_per_year_low", &f.LowPerYear, 0),
			figureAt(at+"fixings.wet_hours_per_year_high", &f.HighPerYear, 0)),
			words.Upper(f.Class())+" of ISO 9223, if the whole year were like this; in brackets: if all that was not "+
				"observed were dry, or wet")
	}
}

// vapour is the part on the vapour pressures of the house.
func (b *builder) vapour(p *part) {
	if !b.recorded() {
		return
	}
	t := b.Answer.Physics
	if h := t.House; h != nil {
		switch {
		case h.HumidityClass == nil:
			p.lead("Too little was seen to put the house into a humidity class.")
		case h.Borderline:
			p.lead("The house lies in humidity class %s of 5 (ISO 13788 Annex A, limits from memory), at the border of its "+
				"neighbour by the loggers’ accuracy.", countAt("physics.house.humidity_class", *h.HumidityClass))
		default:
			p.lead("The house lies in humidity class %s of 5 (ISO 13788 Annex A, limits from memory).",
				countAt("physics.house.humidity_class", *h.HumidityClass))
		}
		if h.ClassUse != "" {
			p.quiet("What the standard’s editions place in that class: %s", words.Sentence(h.ClassUse))
		}
		if h.LoftShare != nil {
			p.para("The loft’s air holds %s % of the house’s vapour excess over outdoors (95 %: %s to %s).",
				percentAt("physics.house.loft_share_of_house_air", h.LoftShare),
				percentAt("physics.house.loft_share_low", h.LoftShareLow),
				percentAt("physics.house.loft_share_high", h.LoftShareHigh))
		}
		e := &Table{Caption: "How far the air of each place lay above outdoors",
			Head:    []string{"Place", "Mean excess, Pa", "±, Pa (95 %)", "Moisture supply, g/m³"},
			Numeric: []bool{false, true, true, true}}
		for i, x := range h.Excesses {
			path := fmt.Sprintf("physics.house.excesses.%d.", i)
			unc := Text{{Words: words.Whole(2 * x.UncPa), From: path + "standard_uncertainty_pa", Scale: 2}}
			if x.UncPa == 0 {
				unc = say("%s", words.Missing)
			}
			e.Rows = append(e.Rows, Row{Cells: []Text{say("%s", x.Place), {figureAt(path+"mean_pa", &x.MeanPa, 0)}, unc,
				{figureAt(path+"moisture_supply_g_m3", &x.SupplyGM3, 2)}}})
		}
		p.table(e)
	}
	for _, a := range []struct {
		of, path string
		air      assessment.AirChange
	}{{"the loft", "loft_air_change", t.LoftAir}, {"the batten void", "void_air_change", t.VoidAir}} {
		if a.air.PerHour == nil {
			p.para("Air changes of %s: %s", a.of, words.Sentence(a.air.Why))
			continue
		}
		path := "physics." + a.path + "."
		p.para("The air of %s changed about %s times an hour (%s to %s). %s", a.of,
			figureAt(path+"per_hour", a.air.PerHour, 2), figureAt(path+"low", a.air.Low, 2),
			figureAt(path+"high", a.air.High, 2), words.Sentence(a.air.Why))
	}
	s := &Table{Caption: "The build-up month by month, steady state (ISO 13788)",
		Head: []string{"Month", "Condensed, g/m²", "Where"}, Numeric: []bool{false, true}}
	for i, m := range t.Steady {
		where := "nowhere"
		if len(m.Planes) > 0 {
			where = words.List(m.Planes)
		}
		s.Rows = append(s.Rows, Row{Cells: []Text{say("%s", words.Month(m.Month)),
			{figureAt(fmt.Sprintf("physics.steady_build_up.%d.condensed_g_m2", i), &m.CondensedGM2, 1)}, say("%s", where)}})
	}
	p.table(s)
	for _, n := range t.Notes {
		p.quiet("%s", words.Sentence(n))
	}
}

// percentAt is a share of the assessment, which may be nil, in per cent.
func percentAt(path string, share *float64) Run {
	if share == nil {
		return Run{Words: words.Missing}
	}
	return shareAt(path, *share)
}
