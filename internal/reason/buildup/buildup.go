// Package buildup applies the trade's rules to the survey of a roof. From the
// survey alone, without readings, it says what is wrong, why it matters, what
// usually cures it, and what was not looked at.
//
// It takes the survey of a case and the day on which the record begins. It
// returns findings: each is a fault, sound, a question or a remark, with its
// source or "common practice".
//
// # Rules
//
// Vapour leaves a roof in one of three ways: through an air-permeable underlay
// and an air-open covering; through a vapour-permeable (LR) underlay into a
// ventilated void; or, under a vapour-closed (HR) underlay, with the air of
// the loft. A roof is sound on paper if one of these ways is open for all the
// vapour that comes, and faulty if all are shut.
//
//   - HR underlay: the openings of the loft decide, whatever is above.
//   - LR underlay under a close-fitting covering: the void needs a through-path
//     (counter-battens) and openings at eaves and ridge, and the loft needs its
//     own unless the underlay passes air. Single battens leave no path: a fault,
//     whatever the ends show.
//   - LR underlay under an air-open covering: the covering's joints ventilate the
//     void; the loft's openings decide unless the underlay passes air.
//   - No underlay: under an air-open covering the joints ventilate the loft
//     itself; under a close-fitting one the loft's openings decide as over HR.
//
// Package openings gives the sizes for the case's rule set. What is unknown is
// asked for and never assumed: a question stays open unless every answer to it
// would lead to the same finding.
//
// # Limits
//
// A survey is paper: openings can be blocked behind the fascia, and an
// underlay's label can be that of another roll. Nothing here is evidence of
// wetting, and package cause keeps survey and measurement apart. Rafter
// insulation, flat roofs, valleys and rooms in the roof are distinguished only
// as far as the rule sets do. Local codes and the maker's specification
// decide; every report says so.
//
// # Objections, and answers
//
// "The roof was built to the rules and is wet." Then the rules were not enough
// here, or what is on paper is not there; loggers show which.
//
// "The roof breaks a rule and is dry." That is possible with little moisture
// or much wind. A finding here is a reason to look, not to rebuild.
package buildup

import (
	"fmt"
	"time"

	"dewcase/internal/reason/openings"
	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// Verdict is what a rule says.
type Verdict string

// The verdicts.
const (
	Fault  Verdict = "fault"  // breaks the rule
	Sound  Verdict = "sound"  // keeps it
	Ask    Verdict = "ask"    // cannot be said before someone looks
	Remark Verdict = "remark" // neither: worth knowing
)

// Practice is the source of trade facts that no page was read for.
const Practice = "common practice"

// Decides closes every report.
const Decides = "Local codes and the maker's specification decide; these are the rules of the trade, read from the " +
	"survey alone."

// Finding is what one rule says of the roof.
type Finding struct {
	ID      string // stable name of the rule
	Element string // which part of the roof
	Verdict Verdict
	What    string // what was found, or what is not known
	Why     string // why it matters
	Cure    string // what usually cures it; for a question, where to look
	Source  string
	Vapour  bool // one of the rules that decide the Overall verdict
	Do      []caution.Activity
}

// Report is what the survey says.
type Report struct {
	Overall  Verdict // Sound, Fault or Ask: of the ways that vapour can leave
	Sentence string
	Findings []Finding
	Cautions []caution.Caution
	Decides  string
}

// Check reads the survey, with what works by the time at have changed of it; the
// zero time is before all of them. begins is the day the record begins (or
// today), for the age of the building; the zero time leaves age out. An unknown
// rule set falls back to the default and says so.
func Check(c *roof.Case, begins, at time.Time) Report {
	k := &check{b: c.RoofAt(at), airedVoid: openings.Worked(c, at, roof.VoidVentilation)}
	k.load()
	k.vapourWays()
	r := Report{Decides: Decides}
	r.Overall, r.Sentence = k.overall()
	k.details()
	k.household()
	k.age(c.Property.Completed, begins)
	k.works(c, at)
	r.Findings = k.out
	if n := k.others(); r.Overall == Sound && n > 0 {
		r.Sentence = fmt.Sprintf("On paper vapour has a way out of this roof; %s.",
			map[bool]string{true: "one other thing is wrong by the rules",
				false: fmt.Sprintf("%d other things are wrong by the rules", n)}[n == 1])
	}
	var do []caution.Activity
	for _, f := range r.Findings {
		do = append(do, f.Do...)
	}
	r.Cautions = caution.For(do...)
	return r
}

type check struct {
	b     roof.Build
	rules openings.Rules
	out   []Finding
	// airedVoid says that a work was done on the ventilation of the batten void:
	// what the rules call useless may then be what helps, and the record says.
	airedVoid bool
}

// load takes the case's rule set.
func (k *check) load() {
	var err error
	if k.rules, err = openings.For(k.b, k.b.RuleSet); err != nil {
		k.rules, _ = openings.For(k.b, openings.Default)
		k.add(Finding{ID: "rule_set", Element: "rules", Verdict: Remark, What: err.Error() + ".",
			Why: "The default set is used.", Source: Practice})
	}
}

func (k *check) add(f Finding) { k.out = append(k.out, f) }

func (k *check) fault(id, element, what, why, cure, source string, do ...caution.Activity) {
	k.add(Finding{ID: id, Element: element, Verdict: Fault, What: what, Why: why, Cure: cure, Source: source, Do: do})
}

func (k *check) sound(id, element, what, source string) {
	k.add(Finding{ID: id, Element: element, Verdict: Sound, What: what, Source: source})
}

func (k *check) ask(id, element, what, why, look string, do ...caution.Activity) {
	if len(do) == 0 {
		do = []caution.Activity{caution.LookInLoft}
	}
	k.add(Finding{ID: id, Element: element, Verdict: Ask, What: what, Why: why, Cure: look, Source: Practice, Do: do})
}

// vapourWays applies the rules that decide how vapour leaves.
func (k *check) vapourWays() {
	b := k.b
	switch b.Underlay.Class {
	case "":
		k.ask("underlay", "underlay", "The underlay's class is not known.",
			"An HR underlay leaves the loft's openings as the only way out; an LR one lets vapour into the void.",
			"Read the label on the membrane or lift one slate: HR, LR or none.", caution.LookInLoft, caution.LiftCover)
		k.pattern()
		k.loftOfUnknown()
	case "HR":
		k.sound("underlay", "underlay", "HR underlay: what reaches the loft must leave with its air, whatever lies above.",
			"design of the trade; BS 5250")
		k.loft()
	case "none":
		switch b.Covering.Air {
		case "open":
			k.sound("underlay", "underlay", "No underlay under an air-open covering: the loft is aired through the joints "+
				"(and not protected from driven rain).", Practice)
		case "closed":
			k.add(Finding{ID: "underlay", Element: "underlay", Verdict: Remark, Source: Practice,
				What: "No underlay under a close-fitting covering: the covering is the cold surface over the loft, and drips " +
					"into it."})
			k.loft()
		default:
			k.askCovering("Without underlay an air-open covering airs the loft; a close-fitting one leaves that to the " +
				"openings.")
			k.loftOfUnknown()
		}
	case "LR":
		k.pattern()
		if k.b.Covering.Air != "open" {
			k.voidEnds()
		}
		k.lrLoft()
	}
	for i := range k.out {
		k.out[i].Vapour = true
	}
}

// pattern is the named wrong combination and what is needed to tell it.
func (k *check) pattern() {
	b := k.b
	if b.Covering.Air == "" && b.Underlay.Class == "LR" {
		k.askCovering("Over an LR underlay an air-open covering airs the void through its joints; a close-fitting one " +
			"needs a vented void.")
	}
	if b.Underlay.Class != "LR" {
		return
	}
	switch {
	case b.Covering.Air == "open":
		k.sound("combination", "covering", "LR underlay under an air-open covering: vapour that passes leaves through the "+
			"joints.", Practice)
	case b.Battens == "single" && b.Covering.Air == "closed" && k.airedVoid:
		k.ask("combination", "battens", "LR underlay, single battens and a close-fitting covering, and the void's ends were "+
			"opened since.", "By the rule air finds no clear path past single battens; how much passes all the same was not "+
			"seen but measured.", "See what the record says of the work (Did it work).", caution.LookInLoft)
	case b.Battens == "single" && b.Covering.Air == "closed":
		k.fault("combination", "battens", "LR underlay, single battens and a close-fitting covering: vapour passes into a "+
			"void with no way out.",
			"It condenses on the underside of the covering on every cold night, wets battens and fixings, and runs back onto "+
				"the underlay.",
			"Re-lay on counter-battens with the void open at eaves and ridge, or put in an HR underlay with the loft "+
				"ventilated below it. Openings at the ends of a void on single battens do nothing.",
			"named wrong combination; BS 5250 as quoted by makers", caution.LiftCover, caution.WorkOutside)
	case b.Battens == "counter" && b.Covering.Air == "closed":
		k.sound("combination", "battens", "LR underlay and a close-fitting covering on counter-battens: the void has a "+
			"clear path.", "BS 5250 as quoted by makers")
		k.depth()
	case b.Battens == "":
		k.ask("battens", "battens", "It is not known whether the battens are single or counter-battened.",
			"Under a close-fitting covering single battens leave an LR underlay no way to give off vapour.",
			"Lift one slate, or look at the eaves or verge: is there a second, upright batten below the first?",
			caution.LiftCover)
	}
}

func (k *check) askCovering(why string) {
	k.ask("covering", "covering", "It is not known whether the covering lets air through its joints.", why,
		"Read the maker's specification, or lift one slate and see how close it fits.", caution.LiftCover)
}

// depth compares the counter-battens with what the rules ask.
func (k *check) depth() {
	for _, d := range k.rules.Depths {
		if d.What != "counter-battens" {
			continue
		}
		switch have := k.b.CounterBattenMM; {
		case have == nil:
			k.ask("counter_batten_depth", "battens", "The depth of the counter-battens is not known.",
				fmt.Sprintf("They should be %s mm or more.", words.Size(d.MM)),
				"Measure at the eaves or verge and enter counter_batten_mm.",
				caution.LiftCover)
		case *have < d.MM-0.5:
			k.fault("counter_batten_depth", "battens",
				fmt.Sprintf("Counter-battens of %s mm where %s mm are asked for.", words.Size(*have), words.Size(d.MM)),
				"A shallow path closes where the underlay bellies up.", "Deeper counter-battens when the covering is next lifted.",
				d.Figure.Source, caution.LiftCover)
		default:
			k.sound("counter_batten_depth", "battens",
				fmt.Sprintf("Counter-battens of %s mm (%s mm asked for).", words.Size(*have), words.Size(d.MM)), d.Figure.Source)
		}
	}
}

// voidEnds compares the void's openings, where the void needs them.
func (k *check) voidEnds() {
	if k.b.Covering.Air == "closed" && k.b.Battens == "single" && !k.airedVoid {
		return // no path: the ends do not matter
	}
	eaves, ridge, source := voidFigures(k.rules)
	k.opening("void_eaves", "batten void at the eaves", k.b.Openings.VoidEavesMM, eaves, source,
		"The void draws in air here.", "Cut the slot through and keep it clear of underlay and gutter boards.")
	k.opening("void_ridge", "batten void at the ridge", k.b.Openings.VoidRidgeMM, ridge, source,
		"Without a way out at the top nothing moves in the void.",
		"A dry ridge or vents that are really cut through, on each side.")
	if k.b.Covering.Air == "" {
		k.soften("void_eaves", "void_ridge")
	}
}

// voidFigures are the void's slots by the rule set, BS 5250 where it has none.
func voidFigures(r openings.Rules) (eaves, ridge float64, source string) {
	for _, n := range r.Needs {
		switch n.Where {
		case openings.VoidEaves:
			eaves, source = n.MM, n.Figure.Source
		case openings.VoidRidge:
			ridge = n.MM
		}
	}
	if eaves == 0 {
		d, _ := openings.For(roof.Build{Underlay: roof.Underlay{Class: "LR"}, Covering: roof.Covering{Air: "closed"}},
			openings.Default)
		for _, n := range d.Needs {
			switch n.Where {
			case openings.VoidEaves:
				eaves, source = n.MM, n.Figure.Source
			case openings.VoidRidge:
				ridge = n.MM
			}
		}
	}
	return eaves, ridge, source
}

// soften turns the faults among the last findings into remarks: they would be
// faults only if a question were answered one way.
func (k *check) soften(ids ...string) {
	for i := range k.out {
		for _, id := range ids {
			if k.out[i].ID == id && k.out[i].Verdict != Sound {
				k.out[i].Verdict = Ask
			}
		}
	}
}

func (k *check) opening(id, where string, have *float64, need float64, source, why, cure string) bool {
	const rounding = 0.05
	asked, open := words.Size(need), ""
	if have != nil {
		open = words.Size(*have)
	}
	switch {
	case have == nil:
		k.ask(id, "openings", fmt.Sprintf("What is open to the %s is not known; %s mm are asked for.", where, asked), why,
			"Look and measure: net free slot, mesh deducted.")
	case *have == 0:
		k.fault(id, "openings", fmt.Sprintf("Nothing is open to the %s; %s mm are asked for.", where, asked), why, cure,
			source, caution.CutOpenings, caution.WorkOutside)
	case *have < need-rounding:
		k.fault(id, "openings", fmt.Sprintf("%s mm are open to the %s, of %s mm asked for.", open, where, asked), why,
			cure, source, caution.CutOpenings, caution.WorkOutside)
	default:
		k.sound(id, "openings", fmt.Sprintf("%s mm are open to the %s (%s mm asked for).", open, where, asked), source)
		return true
	}
	return false
}

const (
	whyLoft  = "Under this underlay the loft's air carries the vapour out; without openings it stays."
	cureLoft = "Cut the slots through on both sides and hold the insulation back (50 mm clear)."
	whyHigh  = "A steep, wide or single-sided roof does not draw by its eaves alone."
	cureHigh = "An opening at the ridge or high on the slope; cut the underlay there."
)

// loft compares the loft's openings with the rules.
func (k *check) loft() {
	seen := false
	for _, n := range k.rules.Needs {
		switch n.Where {
		case openings.LoftEaves:
			seen = true
			k.opening("loft_eaves", "loft at the eaves", k.b.Openings.LoftEavesMM, n.MM, n.Figure.Source, whyLoft, cureLoft)
		case openings.LoftRidge:
			seen = true
			k.opening("loft_ridge", "loft at the ridge", k.b.Openings.LoftRidgeMM, n.MM, n.Figure.Source, whyHigh, cureHigh)
		}
	}
	k.openQuestions(seen)
}

// openQuestions turns what the rule set could not size into questions.
func (k *check) openQuestions(sized bool) {
	b := k.b
	if !sized && b.PitchDeg == nil {
		k.ask("pitch", "geometry", "The pitch is not known.", "The size of the loft's openings follows it.",
			"Measure and enter pitch_deg.")
		return
	}
	if sized && b.SpanM == nil && b.Underlay.Class != "LR" && b.PitchDeg != nil && *b.PitchDeg <= 35 &&
		b.Shape != "monopitch" && len(k.rules.Asks) > 0 {
		if h := b.Openings.LoftRidgeMM; h == nil || *h < 5 {
			k.ask("span", "geometry", "The span is not known.", "A wide roof needs an opening at high level as well.",
				"Measure and enter span_m.")
		}
	}
	if !sized && b.SpanM == nil && b.PitchDeg != nil {
		k.ask("span", "geometry", "The span is not known.", "The size of the openings follows it.",
			"Measure and enter span_m.")
	}
}

// loftOfUnknown asks for the loft's openings where the underlay or covering is
// not known, so that their size cannot be said.
func (k *check) loftOfUnknown() {
	if k.b.Openings.LoftEavesMM == nil {
		k.ask("loft_eaves", "openings", "What is open to the loft at the eaves is not known.",
			"Under most roofs the loft needs it.", "Look from inside on a bright day, measure the slot.")
	}
}

// lrLoft is the loft under an LR underlay.
func (k *check) lrLoft() {
	b := k.b
	if k.rules.NoLoft {
		k.sound("loft_air", "openings", "The underlay passes air: openings of the loft may not be needed (its certificate "+
			"decides).", "BS 5534")
		return
	}
	lenient := -1.0 // what would do if what is not known turned out well
	strict, strictHigh, source, sized := 0.0, 0.0, "", false
	for _, n := range k.rules.Needs {
		switch n.Where {
		case openings.LoftEaves:
			strict, source, sized = n.MM, n.Figure.Source, true
		case openings.LoftRidge:
			strictHigh = n.MM
		}
	}
	if !sized {
		return
	}
	orHigh := 0.0
	if b.Ceiling.Sealed == roof.Unknown && b.Covering.Air != "closed" {
		sealed := b
		sealed.Ceiling.Sealed, sealed.Covering.Air = roof.Yes, "open"
		if r, err := openings.For(sealed, k.rules.Set); err == nil {
			for _, n := range r.Needs {
				if n.Where == openings.LoftEaves {
					lenient, orHigh = n.MM, n.OrHigh
				}
			}
		}
	} else {
		for _, n := range k.rules.Needs {
			if n.Where == openings.LoftEaves {
				orHigh = n.OrHigh
			}
		}
	}
	if b.Ceiling.Sealed == roof.Yes && b.Covering.Air == "" {
		sealed := b
		sealed.Covering.Air = "open"
		if r, err := openings.For(sealed, k.rules.Set); err == nil {
			for _, n := range r.Needs {
				if n.Where == openings.LoftEaves {
					lenient, orHigh = n.MM, n.OrHigh
				}
			}
		}
	}
	high := b.Openings.LoftRidgeMM
	from := len(k.out)
	if lenient < 0 && orHigh > 0 && high != nil && *high >= orHigh {
		k.sound("loft_eaves", "openings", fmt.Sprintf("%s mm at high level do in place of the eaves.", words.Size(*high)),
			source)
	} else {
		k.opening("loft_eaves", "loft at the eaves", b.Openings.LoftEavesMM, strict, source, whyLoft, cureLoft)
		if e := b.Openings.LoftEavesMM; lenient < 0 && orHigh > 0 && high == nil && (e == nil || *e < strict) {
			k.soften("loft_eaves")
			k.ask("loft_ridge", "openings", "What is open to the loft high up is not known.",
				fmt.Sprintf("Here %s mm at the ridge would do in place of the eaves.", words.Size(orHigh)),
				"Look up at the ridge from the loft, measure the slot.")
		}
	}
	if strictHigh > 0 {
		k.opening("loft_ridge", "loft at the ridge", high, strictHigh, source, whyHigh, cureHigh)
	}
	if lenient >= 0 {
		e := b.Openings.LoftEavesMM
		if e != nil && *e < strict && (*e >= lenient || orHigh > 0 && (high == nil || *high >= orHigh)) {
			k.soften("loft_eaves")
			if b.Ceiling.Sealed == roof.Unknown {
				k.ask("ceiling_for_loft", "ceiling", "It is not known whether the ceiling is sealed.",
					"Over a sealed ceiling smaller openings of the loft are enough.", "Look at hatch, downlights and pipes.")
			}
		}
	}
	if b.Underlay.AirPermeable == roof.Unknown && anyNot(k.out[from:], Sound) {
		k.soften("loft_eaves", "loft_ridge")
		k.ask("air_permeable", "underlay", "It is not known whether the underlay passes air, not vapour alone.",
			"Only then may the loft go without openings.", "Read the certificate of the membrane.")
	}
}
