package openings

import (
	"fmt"
	"math"
	"strings"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Where an opening is.
type Where string

// The four openings of a roof.
const (
	LoftEaves Where = "loft_eaves"
	LoftRidge Where = "loft_ridge"
	VoidEaves Where = "void_eaves"
	VoidRidge Where = "void_ridge"
)

// slots are the openings in plain words, and where a survey has them.
var slots = map[Where]struct {
	words string
	of    func(roof.Openings) *float64
}{
	LoftEaves: {"the loft at the eaves", func(o roof.Openings) *float64 { return o.LoftEavesMM }},
	LoftRidge: {"the loft at the ridge or high up", func(o roof.Openings) *float64 { return o.LoftRidgeMM }},
	VoidEaves: {"the batten void at the eaves", func(o roof.Openings) *float64 { return o.VoidEavesMM }},
	VoidRidge: {"the batten void at the ridge", func(o roof.Openings) *float64 { return o.VoidRidgeMM }},
}

// Words is the opening in plain words.
func (w Where) Words() string { return slots[w].words }

// have is the survey's slot at an opening; nil unknown.
func have(b roof.Build, w Where) *float64 { return slots[w].of(b.Openings) }

// Rule is one opening that a rule set asks for on this roof.
type Rule struct {
	Where  Where
	MM     float64 // continuous, on each side
	Sides  int     // runs of that length
	Figure Figure
	Why    string
	// OrHigh: the rule is met by this much at high level instead; 0 none.
	OrHigh float64
}

// Rules is what a rule set says of one roof.
type Rules struct {
	Set      string
	Needs    []Rule
	Asks     []string // what must be looked at before the rest can be said
	Depths   []Depth
	Remarks  []string
	VoidPath bool // the void must have a through-path (counter-battens)
	NoLoft   bool // nothing is asked of the loft, because the underlay passes air
}

// Depth is a clear depth that a rule asks for.
type Depth struct {
	What   string
	MM     float64
	Figure Figure
}

// For says what a rule set asks of a roof; "" takes the default, an unknown set
// is an error. What the survey leaves open becomes a question, never an
// assumption.
func For(b roof.Build, set string) (Rules, error) {
	if set == "" {
		set = Default
	}
	r := Rules{Set: set}
	switch set {
	case UK, UKNHBC:
		r.uk(b, set == UKNHBC)
	case Germany:
		r.germany(b)
	case USA:
		r.usa(b)
	case Australia:
		r.australia(b)
	default:
		var ids []string
		for _, s := range RuleSets() {
			ids = append(ids, s.ID)
		}
		return Rules{}, fmt.Errorf("rule set %q is not known: use one of %s", set, strings.Join(ids, ", "))
	}
	return r, nil
}

func (r *Rules) ask(format string, args ...any) {
	r.Asks = append(r.Asks, fmt.Sprintf(format, args...))
}

func (r *Rules) need(w Where, f Figure, sides int, why string) {
	r.Needs = append(r.Needs, Rule{Where: w, MM: f.Value, Sides: sides, Figure: f, Why: why})
}

func eavesSides(b roof.Build) int {
	if b.Shape == "monopitch" {
		return 1
	}
	return 2
}

const askUnderlay = "Find the underlay's class (label on the membrane, maker's sheet, or lift one slate): HR and LR " +
	"ask for different openings."

func (r *Rules) uk(b roof.Build, nhbc bool) {
	if b.Insulation == "rafter" {
		r.ukWarm(b)
		return
	}
	switch b.Underlay.Class {
	case "HR":
		r.ukHR(b)
		return
	case "none":
		r.Remarks = append(r.Remarks, "The rules have no row for a roof without underlay. Common practice: a loft under "+
			"an air-open covering is aired through its joints; under a close-fitting one it is aired as over an HR underlay.")
		if b.Covering.Air == "closed" {
			r.ukHR(b)
		}
		if b.Covering.Air == "" {
			r.ask("Look whether the covering lets air through its joints (maker's specification): without underlay that " +
				"decides what the loft needs.")
		}
		return
	case "":
		r.ask(askUnderlay)
		return
	}
	if b.Covering.Air == "closed" {
		r.void(ukVoidLow, ukVoidHigh, "an LR underlay lets vapour into the void and a close-fitting covering holds it there")
		r.Depths = append(r.Depths, Depth{"counter-battens", ukCounter.Value, ukCounter},
			Depth{"clear void below the covering", ukCavity.Value, ukCavity})
		r.Remarks = append(r.Remarks, "Where counter-battens cannot be had: an HR underlay instead, with the loft "+
			"ventilated low and high below it (maker guidance).")
	}
	if b.Covering.Air == "" {
		r.ask("Find whether the covering is air-open or close-fitting (maker's specification): over an LR underlay a " +
			"close-fitting one needs a vented void.")
	}
	switch b.Underlay.AirPermeable {
	case roof.Yes:
		r.NoLoft = true
		r.Remarks = append(r.Remarks, "The underlay is air-permeable: it may make openings of the loft unnecessary (BS "+
			"5534; its certificate decides).")
		return
	case roof.Unknown:
		r.ask("Find whether the underlay passes air, not vapour alone (certificate): only then may the loft go without " +
			"openings.")
	}
	sealed := b.Ceiling.Sealed == roof.Yes && b.Covering.Air == "open"
	if sealed {
		r.Needs = append(r.Needs, Rule{Where: LoftEaves, MM: ukLRSealed.Value, Sides: eavesSides(b), Figure: ukLRSealed,
			OrHigh: ukLRSealedHigh.Value,
			Why:    "LR underlay over a well-sealed ceiling under an air-open covering"})
	} else {
		r.need(LoftEaves, ukLR, eavesSides(b), "LR underlay over an ordinary ceiling")
		if b.Ceiling.Sealed == roof.Unknown && b.Covering.Air != "closed" {
			r.ask("Look whether the ceiling is sealed (hatch, downlights, pipes): a sealed one under an air-open covering "+
				"needs %s mm in place of %s.", words.Size(ukLRSealed.Value), words.Size(ukLR.Value))
		}
	}
	if nhbc {
		r.need(LoftRidge, nhbcHigh, 1, "asked for over every vapour-permeable underlay")
	}
}

func (r *Rules) ukHR(b roof.Build) {
	if b.PitchDeg == nil {
		r.ask("Enter the pitch: at %s degrees or less the eaves need %s mm, above it %s mm.", words.Size(lowPitch.Value),
			words.Size(ukHRLow.Value), words.Size(ukHR.Value))
		return
	}
	low := *b.PitchDeg <= lowPitch.Value
	if low {
		r.need(LoftEaves, ukHRLow, eavesSides(b),
			fmt.Sprintf("vapour-closed underlay at a pitch of %s degrees", words.Size(*b.PitchDeg)))
	} else {
		r.need(LoftEaves, ukHR, eavesSides(b), "a vapour-closed underlay leaves the openings as the only way out")
	}
	switch {
	case *b.PitchDeg > steepPitch.Value:
		r.need(LoftRidge, ukHigh, 1, fmt.Sprintf("pitch over %s degrees", words.Size(steepPitch.Value)))
	case b.SpanM != nil && *b.SpanM > wideSpan.Value:
		r.need(LoftRidge, ukHigh, 1, fmt.Sprintf("span over %s m", words.Size(wideSpan.Value)))
	case b.Shape == "monopitch":
		r.need(LoftRidge, ukHigh, 1, "a single slope has no second eaves to draw through")
	case b.SpanM == nil:
		r.ask("Enter the span: over %s m an opening at high level is needed as well.", words.Size(wideSpan.Value))
	}
}

func (r *Rules) ukWarm(b roof.Build) {
	if b.Underlay.Class == "" {
		r.ask(askUnderlay)
		return
	}
	if b.Underlay.Class == "LR" {
		if b.Covering.Air == "closed" {
			r.void(ukVoidLow, ukVoidHigh, "an LR underlay lets vapour into the void and a close-fitting covering holds it there")
			r.Depths = append(r.Depths, Depth{"counter-battens", ukCounter.Value, ukCounter})
		} else if b.Covering.Air == "" {
			r.ask("Find whether the covering is air-open or close-fitting (maker's specification).")
		}
		if b.Ceiling.Sealed == roof.Yes && b.Ceiling.VapourControlLayer == roof.Yes {
			r.NoLoft = true
			r.Remarks = append(r.Remarks, "Insulation along the rafters with an LR underlay, a well-sealed ceiling and an "+
				"unbroken vapour control layer: no openings below the underlay are asked for on a simple roof.")
			return
		}
		if b.Ceiling.Sealed == roof.Unknown || b.Ceiling.VapourControlLayer == roof.Unknown {
			r.ask("Look whether the lining is sealed and has an unbroken vapour control layer: then no openings below the " +
				"underlay are asked for.")
		}
	}
	r.need(LoftEaves, ukWarmLow, eavesSides(b), "a void is kept between rafter insulation and underlay")
	r.need(LoftRidge, ukWarmHigh, 1, "the same void needs a way out at the top")
	r.Depths = append(r.Depths, Depth{"clear path between insulation and underlay", ukWarmPath.Value, ukWarmPath})
}

func (r *Rules) void(low, high Figure, why string) {
	r.VoidPath = true
	r.need(VoidEaves, low, 2, why)
	r.need(VoidRidge, high, 2, why)
}

// rafterM is the length of a slope from eaves to ridge.
func rafterM(b roof.Build) (float64, bool) {
	if b.PitchDeg == nil || b.SpanM == nil || *b.PitchDeg >= 85 {
		return 0, false
	}
	run := *b.SpanM / 2
	if b.Shape == "monopitch" {
		run = *b.SpanM
	}
	return run / math.Cos(*b.PitchDeg*math.Pi/180), true
}

func (r *Rules) germany(b roof.Build) {
	if b.PitchDeg != nil && *b.PitchDeg < 5 {
		r.Remarks = append(r.Remarks, "The rules for ventilated roofs begin at a pitch of 5 degrees.")
		return
	}
	long, ok := rafterM(b)
	if !ok {
		r.ask("Enter pitch and span: the openings follow the length of the slope.")
	}
	// 1 cm2/m is 0.1 mm of continuous slot; 1 per mille of a slope of 1 m is 10 cm2/m.
	low, high := deLowLeast, deHighLeast
	low.Value = math.Max(deLowLeast.Value, deLowShare.Value*10*long) / 10
	high.Value = math.Max(deHighLeast.Value, deHighShare.Value*10*long) / 10
	low.Unit, high.Unit = mmContinuous, mmContinuous
	switch b.Underlay.Class {
	case "":
		r.ask(askUnderlay)
		return
	case "HR":
		why := "the ventilated layer lies below a vapour-closed underlay"
		r.need(LoftEaves, low, eavesSides(b), why)
		r.need(LoftRidge, high, eavesSides(b), why)
		r.Depths = append(r.Depths, Depth{"clear height of the ventilated layer", deHeight.Value, deHeight})
	default:
		r.VoidPath = true
		why := "the ventilated layer is the void above a vapour-permeable underlay"
		r.need(VoidEaves, low, eavesSides(b), why)
		r.need(VoidRidge, high, eavesSides(b), why)
		counter := deCounter8
		switch {
		case long > 12-1e-6: // the cosine of a round pitch is not round
			counter = deCounterUp
		case long > 8+1e-6:
			counter = deCounter12
		}
		r.Depths = append(r.Depths, Depth{"counter-battens", counter.Value, counter},
			Depth{"clear height of the ventilated layer", deHeight.Value, deHeight})
	}
	r.Remarks = append(r.Remarks, fmt.Sprintf("The layers below the ventilated one should add up to sd %s m or more.",
		words.Size(deSd.Value)))
}

func (r *Rules) usa(b roof.Build) {
	if b.SpanM == nil || b.LengthM == nil {
		r.ask("Enter span and length: the net free area follows the area of the attic.")
		return
	}
	ratio, why := us150, "the ordinary ratio"
	if b.Ceiling.VapourControlLayer == roof.Yes {
		ratio, why = us300, "vapour retarder at the ceiling and openings balanced low and high"
	} else if b.Ceiling.VapourControlLayer == roof.Unknown {
		r.ask("Look whether the ceiling has a vapour retarder: with one, and openings balanced low and high, half the " +
			"area is enough.")
	}
	total := *b.SpanM * *b.LengthM * 1e6 / ratio.Value
	high := total * usHighPc.Value / 100
	if ratio.ID == us150.ID {
		high = total / 2
	}
	slot := func(mm2 float64, sides int) float64 { return mm2 / (*b.LengthM * 1000) / float64(sides) }
	e := eavesSides(b)
	r.Needs = append(r.Needs,
		Rule{Where: LoftEaves, MM: slot(total-high, e), Sides: e, Figure: ratio, Why: why},
		Rule{Where: LoftRidge, MM: slot(high, 1), Sides: 1, Figure: ratio, Why: why})
	r.Depths = append(r.Depths, Depth{"gap between insulation and deck at the eaves", usGap.Value, usGap})
	r.Remarks = append(r.Remarks, "In climate zones 6 to 8 the smaller ratio asks for a class I or II vapour retarder. "+
		"Nothing is said of a void below the covering.")
}

func (r *Rules) australia(b roof.Build) {
	if b.PitchDeg == nil {
		r.ask("Enter the pitch: the openings follow it.")
		return
	}
	switch p := *b.PitchDeg; {
	case p < 10:
		r.need(LoftEaves, auFlat, 2, "pitch under 10 degrees: two opposite ends")
	case p < 15:
		r.need(LoftEaves, auMid, eavesSides(b), "pitch of 10 to 15 degrees")
		r.need(LoftRidge, auHigh, 1, "pitch of 10 to 15 degrees")
	case p < 75:
		low := auSteep
		if b.Insulation == "rafter" {
			low.Value += auParallel.Value
		}
		r.need(LoftEaves, low, eavesSides(b), "pitch of 15 to 75 degrees")
		r.need(LoftRidge, auHigh, 1, "pitch of 15 to 75 degrees")
	default:
	}
	r.Remarks = append(r.Remarks, "Only climate zones 6 to 8 ask for these openings.")
}
