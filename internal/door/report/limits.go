package report

import (
	"fmt"

	"dewcase/internal/reason/cause"
	"dewcase/internal/words"
)

// limits is the part on what cannot be said.
func (b *builder) limits(p *part) {
	p.list(Bullets, []Text{
		say("The program says what the evidence supports, how strongly, and what would settle it. It decides nothing; the " +
			"consultant does."),
		say("The record speaks for the places where loggers were fitted. Another bay of the same roof can be wetter or " +
			"drier."),
		say("What was not observed is not known: gaps are hatched in every picture, count as neither wet nor dry, and can " +
			"hide water."),
		say("Wet hours say that water formed, not how much damage it did. Mould, timber and fixings are " +
			"estimates from temperature and humidity; nothing here replaces looking."),
		say("Rain and plumbing are not told apart by loggers; a small leak into a well-aired loft can stay within their " +
			"accuracy."),
		say("Rafter insulation, flat roofs, rooms in the roof, missing underlays and summers lie outside what the cause " +
			"finding knows; its support is held down there."),
		say("The survey was taken as the case file has it. It can be wrong: openings can be blocked where nobody looked, " +
			"and an underlay’s label can be another roll’s."),
		say("Rules of the trade are quoted for comparison, many from secondary sources or from memory, as each line says. " +
			"Local codes and the maker’s specification decide."),
	})
	t := &Table{Caption: "How often the cause finding was right, wrong or undecided on simulated winters with planted " +
		"causes, per cent", Head: []string{"Winters", "Number", "Right", "Wrong", "Undecided", "Wrong at support over 0.8",
		"Measured"}, Numeric: []bool{false, true, true, true, true, true}}
	for _, r := range cause.Rates() {
		t.Rows = append(t.Rows, cells(words.Upper(r.Set), fmt.Sprint(r.N), words.Fixed(r.Right, 0), words.Fixed(r.Wrong, 0),
			words.Fixed(r.Undetermined, 0), words.Fixed(r.ConfidentWrong, 1), r.Measured))
	}
	p.table(t)
	p.quiet("These rates come from simulations, half of them with cheap loggers, one survey item in five unknown and " +
		"one in 25 wrong. A real roof may do worse: read “probable” as probable, not as proved.")
}

// figures is the annex: how each figure is made, by which formula, from which
// source.
func (b *builder) figures(p *part) {
	p.quiet("Any figure here can be worked out again from the case file and the readings whose digests stand on the " +
		"first page, with the program version named there: dewcase assess -format json prints them.")
	for _, d := range []struct {
		name string
		Digest
	}{{"case file", b.CaseFile}, {"readings", b.Readings}} {
		if d.Get != "" {
			p.para("The same bytes of the %s, also after later changes: %s of the daemon’s programming interface.", d.name,
				mono(d.Get))
		}
	}
	p.head("Words")
	p.list(Bullets, []Text{
		say("%s: from noon to noon in the zone of the property.", bold("Night")),
		say("%s: two successive readings of a logger bound an observed interval if they are no further apart than min(2.5 "+
			"i, max(45 min, 1.5 i)), with i the logger’s usual interval. Anything longer is no data, all of it. Inside, "+
			"temperature and vapour pressure run in straight lines.", bold("Observed")),
		say("%s: observed time over elapsed time. A night counts before or after a repair only where its coverage is at "+
			"least 80 % and no hole between dusk and dawn is over 90 minutes (two intervals, for hourly loggers).",
			bold("Coverage")),
		say("%s: temperature of the surface minus the limit of the air that meets it. The limit is the dew point, or the "+
			"frost point where the air’s vapour pressure is below 611.2 Pa, so that it has no step. Surface and air meet "+
			"where both are observed; between their times the margin runs straight, and a crossing divides the interval in "+
			"proportion.", bold("Margin")),
		say("%s: margin at or below 0 K. %s: margin above 0 K and up to 1 K. %s: wet and near together. %s: wet with the "+
			"surface below 0 °C.", bold("Wet"), bold("Near"), bold("At risk"), bold("Frost")),
		say("%s: wet for 1 h or more in all. %s: wet for less.", bold("Wet night"), bold("Briefly wet")),
		say("%s: the mean of the hours over the loggers’ stated accuracy, an error being shared by all readings of a "+
			"logger; the 95 % interval holds 95 % of what such errors would give. A maker’s ± limits are taken as a "+
			"rectangular distribution unless the case file gives a coverage factor. The plain count uses the calibrated "+
			"readings as they are.", bold("Expected hours")),
		say("%s, on the sheet: an hour of the clock is wet (or frost, where half of it was frozen) from 10 wet "+
			"minutes, near from 10 minutes at risk, not observed where under 30 minutes were, and dry only where none of "+
			"this holds.", bold("A field")),
		say("%s: an offset from a check is added to what the logger reports from the day of the check on. Raw readings "+
			"are kept as received and never changed.", bold("Calibrated")),
	})
	p.head("Formulae and sources")
	t := &Table{Head: []string{"Figure", "Formula", "Source"}}
	for _, r := range [][3]string{
		{"Saturation pressure over water, Pa", "e = 611.2 exp(17.62 t / (243.12 + t)), t in °C; at every temperature",
			"WMO-No. 8, Annex 4.B (Magnus form)"},
		{"Saturation pressure over ice, Pa", "e = 611.2 exp(22.46 t / (272.62 + t)), t in °C", "WMO-No. 8, Annex 4.B"},
		{"Vapour pressure of the air, Pa", "e = RH/100 · saturation over water, as loggers report humidity",
			"WMO-No. 8, Annex 4.B"},
		{"Dew point and frost point, °C", "the two forms above solved for t", "WMO-No. 8, Annex 4.B"},
		{"Station pressure", "standard atmosphere at the property’s altitude; sea level where it is unknown", "ISO 2533"},
		{"Water on a surface, g/m²", "dm/dt = β (e − e at saturation at the surface), over ice below 0 °C, while there is " +
			"a film or one forms; β = h Le^(−2/3) / (ρ c R T) with h as said beside the figures, Le 0.87, c 1006 J/kgK, R " +
			"461.5 J/kgK", "Lewis relation: ASHRAE Handbook Fundamentals, ch. 6 (Le from memory); h: middle of EN ISO " +
			"6946:2017, Annex C"},
		{"Mould index, 0 to 6", "growth and decline by temperature and humidity at the surface, by class of material",
			"Hukka & Viitanen 1999, eq. 1 to 7; classes of Ojanen et al. 2010, from memory; limit of ANSI/ASHRAE 160"},
		{"Wood moisture, %", "equilibrium with the air at the surface, followed with the lag of its thickness",
			"Wood Handbook, ch. 4, eq. 4-5; Crank, eq. 4.18"},
		{"Time of wetness, h a year", "hours with the surface above 0 °C and over 80 %RH, scaled to a year",
			"ISO 9223:1992, Table 1 (kept as informative in the edition of 2012)"},
		{"Humidity class", "mean vapour excess over outdoors referred to 0 °C, in steps of 270 Pa",
			"EN ISO 13788, Annex A, from memory"},
		{"Steady build-up", "condensation between the layers month by month", "EN ISO 13788 (the Glaser method)"},
		{"Air changes", "how much of a quick change outdoors the air follows, with the moisture of the wood",
			"moisture balance fitted to this record"},
		{"Cause", "seventeen figures of the record, scored against eight states of a roof and weighed with the survey",
			"method of this program, rates above"},
		{"Effect of a repair", "the plain ratio of two runs of a fitted model in the same weather; how much more simulated " +
			"roofs were found to react than such models is told apart and widens the interval",
			"method of this program; intervals carry that doubt"},
	} {
		t.Rows = append(t.Rows, cells(r[0], r[1], r[2]))
	}
	p.table(t)
}
