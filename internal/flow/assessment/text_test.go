package assessment

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/physics/condensate"
	"dewcase/internal/physics/corrosion"
	"dewcase/internal/physics/glaser"
	"dewcase/internal/physics/timber"
	"dewcase/internal/physics/vapour"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/openings"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
)

func f(x float64) *float64 { return &x }

// told text of an answer put together by hand.
func textOf(a Assessment) string {
	var out strings.Builder
	WriteText(&out, a, &roof.Case{ID: "elder-7", Property: roof.Property{Zone: time.UTC, Timezone: "UTC"}})
	return out.String()
}

func TestTheTextSaysAllThatTheAnswerHolds(t *testing.T) {
	at := time.Date(2026, 12, 1, 6, 0, 0, 0, time.UTC)
	p := Physics{
		Surfaces: []SurfacePhysics{{Surface: "slate",
			Condensate: &condensate.Result{PeakGM2: 62, PeakMS: at.UnixMilli(), CondensedGM2: 900, DrippedGM2: 120, WetH: 300,
				NightsWetted: 40, NightsSeen: 58, MorningsDried: 30, MorningsWet: 8,
				Settings: condensate.Settings{WettedGM2: 1},
				Melts:    []condensate.Melt{{AtMS: at.UnixMilli(), MassGM2: 12}, {AtMS: at.UnixMilli(), MassGM2: 48}},
				Notes:    []string{"good to a factor"}},
			Fixings: &corrosion.Result{ObservedH: 2000, PerYearH: 6000, LowPerYearH: 1400, HighPerYearH: 8100,
				Category: corrosion.Tau5, Low: corrosion.Tau3, High: corrosion.Tau5, Remark: "look at a nail",
				Notes: []string{"a record of the damp season reads high"}}}},
		Vapour: &vapour.Picture{Excesses: []vapour.Excess{{ID: "loft", Hours: 2000, MeanPa: 99, UncPa: 20, SupplyGM3: 0.8}},
			Loft: vapour.Share{Known: true, Mean: 0.1, Low: -0.07, High: 0.3}},
		Openings: &openings.Answer{Lines: []openings.Line{{Where: openings.LoftEaves, NeededMM: 10, HaveMM: f(2),
			ShortMM: f(8), ShortMM2: f(80000), Rule: openings.Figure{Source: "a page", Standing: openings.FromMemory}}},
			Licence: openings.Licence, Asks: []string{"Measure."}},
	}
	d := diagnosis(cause.Finding{Finding: cause.Undetermined, Reasons: []string{"no cause has half"},
		Notes: []string{"the two are told apart by the survey alone"}, Next: []string{"Lift one slate."},
		Causes: []cause.Support{{Cause: cause.WaterIngress, Support: 1, FromReadings: 0.4}},
		Window: cause.Window{FromMS: at.UnixMilli(), UntilMS: at.AddDate(0, 0, 30).UnixMilli()}})
	a := Assessment{Case: "elder-7", Diagnosis: d, Physics: physicsAnswer(p),
		Surfaces: []Surface{{Surface: "slate", Air: "void", HoursObserved: 2000, HoursCondensing: f(300),
			HoursCondensingRaw: f(290),
			HoursCondensingLow: f(200), HoursCondensingHigh: f(400), HoursAtRisk: f(500), FrostHours: f(10),
			HowSure: []HowSure{{Logger: "k4", Quantity: "rh_pct", Part: 0.4, CheckedLow: 250, CheckedHigh: 350}}}},
		Repairs: []Repair{{Result: repair.Result{At: at, Surface: "slate", Verdict: "no_change_shown", ReductionPct: f(-12),
			LowPct: f(-40), HighPct: f(9), AtRiskReductionPct: f(0.2), AtRiskLowPct: f(-0.3), AtRiskHighPct: f(5)}}}}
	a.Physics.Cautions = cautions(cause.Finding{Activities: []caution.Activity{caution.LiftCover}}, p)
	text := textOf(a)
	for _, want := range []string{
		"900 g/m² formed in all and at most 62 g/m² lay at once (1 December 2026 06:00). 120 g/m² dripped off",
		"good to a factor of about two", "On 40 of 58 nights 1 g/m² or more formed",
		"gone by noon after 30 of them and still there after 8", "frost thawed twice, the most 48 g/m²",
		"6,000 h of wetness a year if all the year were like this (1,400 to 8,100", "class 5 of 5 (3 to 5)",
		"fixings: a record of the damp season reads high",
		"99 Pa above outdoors (±40 Pa at 95 %)", "10 % house air (95 % interval 0 to 30 %)",
		"10 mm continuous asked for, 2 mm there, 8 mm short (80,000 mm² in all) (a page; from memory)", "no licence to build",
		"look: Measure.",
		"checked to ±1 %RH over a salt the interval would be 250 to 350 h",
		"looked for in the readings of 1 Dec 2026 to 31 Dec 2026", "why:  no cause has half",
		"note: the two are told apart by the survey alone", "100 of 100 (by the readings alone 40)",
		"wet hours rose by 12 % in like weather; with 95 % certainty between a rise of 40 % and a fall of 9 %, which takes " +
			"in no change",
		"hours at risk did not change in like weather; with 95 % certainty between no change and a fall of 5 %",
		"asbestos:", "bats:", "trade practice; from memory", caution.Everywhere,
	} {
		assert.Contains(t, text, want)
	}
	assert.NotContains(t, text, "%!")
}

// Once a repair is on file, no figure of the time before it is added to one of
// the time since.
func TestTheTextTellsBeforeAndSinceARepairApart(t *testing.T) {
	repair := time.Date(2026, 12, 1, 11, 0, 0, 0, time.UTC)
	film := func(gm2 float64, nights int) *condensate.Result {
		return &condensate.Result{CondensedGM2: gm2, NightsWetted: nights, NightsSeen: 30, MorningsDried: nights,
			Settings: condensate.Settings{WettedGM2: 1}}
	}
	wood := func(weeks float64) *timber.Result { return &timber.Result{ObservedH: 9, WeeksAbove: weeks} }
	p := Physics{Surfaces: []SurfacePhysics{{Surface: "slate", Condensate: film(911, 23), Timber: wood(4.4),
		Parts: []PartPhysics{{UntilMS: repair.UnixMilli(), Condensate: film(900, 20), Timber: wood(4.1)},
			{FromMS: repair.UnixMilli(), Condensate: film(11, 3), Timber: wood(0.3)}}}}}
	span := func(from time.Time, h float64) Span {
		return Span{From: from, HoursObserved: 700, HoursCondensing: f(h), HoursCondensingRaw: f(h + 1),
			HoursAtRisk: f(h + 2),
			FrostHours:  f(0)}
	}
	text := textOf(Assessment{Physics: physicsAnswer(p), Surfaces: []Surface{{Surface: "slate", HoursObserved: 1400,
		HoursCondensing: f(333), HoursCondensingRaw: f(335), HoursAtRisk: f(337), FrostHours: f(0),
		Spans: []Span{span(time.Time{}, 300), span(repair, 33)}}}})
	for _, want := range []string{"before the repair of 1 December 2026", "since the repair of 1 December 2026",
		"900 g/m² formed in all", "11 g/m² formed in all", "On 20 of 30 nights", "On 3 of 30 nights", "300 h (no interval",
		"33.0 h (no interval", "for 4.1 weeks", "for 0.3 weeks"} {
		assert.Contains(t, text, want)
	}
	for _, sum := range []string{"333 h", "335 h", "337 h", "911 g/m²", "On 23 ", "4.4 weeks"} {
		assert.NotContains(t, text, sum)
	}
}

func TestAnAnswerWithNothingInItIsStillWritten(t *testing.T) {
	text := textOf(Assessment{Case: "elder-7", Physics: physicsAnswer(Physics{}),
		Diagnosis: diagnosis(cause.Finding{Finding: cause.Undetermined})})
	assert.Contains(t, text, "Cause: ")
	assert.NotContains(t, text, "%!")
}

// A month of hard frost is not left out of the steady calculation because its
// mean vapour pressure passes saturation at its mean temperature.
func TestAMonthMeanAboveSaturationIsTakenAsSaturated(t *testing.T) {
	pa, cut := atMostSaturated(238.05, -11.0711)
	assert.True(t, cut)
	assert.InDelta(t, 235.8, pa, 0.5)
	_, err := glaser.SteadyState(glaser.BuildUp{Layers: []glaser.Layer{{Name: "felt", ResistanceM2KW: 0.1, SdM: 20}}},
		glaser.Climate{IndoorC: 20, IndoorPa: 900, OutdoorC: -11.0711, OutdoorPa: pa})
	assert.NoError(t, err)
	pa, cut = atMostSaturated(200, -11)
	assert.False(t, cut)
	assert.Equal(t, 200.0, pa)
}
