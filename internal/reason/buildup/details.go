package buildup

import (
	"fmt"
	"math"
	"time"

	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// Sizes of common practice.
const (
	drapeWantedMM = 15.0 // BS 5534 in the trade's reading, from memory
	drapeFairMM   = 10.0 // under it "about 15 mm" is not kept (this program's choice)
	minDrapeMM    = 5.0
	maxDrapeMM    = 25.0
	dryingMonths  = 18
	downlightsFew = 4
)

// details are faults seen on sight that do not by themselves decide how vapour
// leaves.
func (k *check) details() {
	b := k.b
	switch b.EavesClear {
	case roof.No:
		k.fault("eaves_insulation", "eaves", "Insulation lies against the openings at the eaves.",
			"What is open on paper is shut in fact, and the cold corner below the underlay wets first.",
			"Draw the insulation back and hold it with trays: 50 mm clear over it (25 mm by older practice).",
			"BRE, Thermal insulation: avoiding risks, as quoted by a maker; BS 5250 from memory", caution.LookInLoft,
			caution.CutOpenings)
	case roof.Yes:
		k.sound("eaves_insulation", "eaves", "Insulation is kept clear of the eaves.", Practice)
	default:
		if b.Insulation != "rafter" && b.Insulation != "none" {
			k.ask("eaves_insulation", "eaves", "It is not known whether insulation is kept clear of the eaves.",
				"Blocked eaves are among the commonest faults, and they do not show from outside.",
				"Look along the eaves from inside on a bright day: is light visible?")
		}
	}
	k.ridge()
	k.drape()
	switch b.Underlay.Laps {
	case "taped":
		k.add(Finding{ID: "laps", Element: "underlay", Verdict: Remark, Source: Practice,
			What: "The underlay's laps are taped.", Why: "Nothing leaks through them: the openings alone carry what comes."})
	case "lapped":
		k.sound("laps", "underlay", "The underlay is lapped (100 mm at the sides and unsupported heads, 75 mm at "+
			"supported heads).", "BS 5534 as quoted by a tile maker")
	}
	k.fixings()
	switch b.Insulation {
	case "rafter":
		k.add(Finding{ID: "insulation", Element: "insulation", Verdict: Remark, Source: "BS 5250 as quoted by makers",
			What: "The insulation lies along the rafters.", Why: "There is no cold loft: air tightness and vapour control of " +
				"the lining decide, and the causes in this program were worked out on lofts."})
		if b.Ceiling.VapourControlLayer == roof.No {
			k.fault("rafter_vcl", "ceiling", "Insulation along the rafters without a vapour control layer.",
				"House air reaches the cold side at every joint.", "A continuous, sealed vapour control layer on the warm side.",
				"BS 5250 as quoted by makers", caution.SealCeiling)
		}
	case "":
		k.ask("insulation", "insulation", "It is not known where the insulation lies.",
			"Rules and causes differ between a cold loft and rafter insulation.",
			"Look: on the ceiling, along the rafters, none?")
	case "none":
		k.add(Finding{ID: "insulation", Element: "insulation", Verdict: Remark, Source: Practice,
			What: "There is no insulation.", Why: "The loft is warm and takes much house air; sealing the ceiling comes " +
				"before insulating it."})
	}
	if s := b.Underlay.SdM; finite(s) && b.Underlay.Class == "LR" && *s > 0.05+1e-9 {
		k.add(Finding{ID: "sd", Element: "underlay", Verdict: Remark, Source: "BS 5250: LR is 0.25 MN s/g or less, sd 0.05 m",
			What: fmt.Sprintf("The underlay is entered as LR with sd %s m; LR ends at 0.05 m.", words.Size(*s)),
			Why:  "Class and figure do not agree: check the maker's sheet."})
	}
	if s := b.Underlay.SdM; finite(s) && b.Underlay.Class == "HR" && *s <= 0.05 {
		k.add(Finding{ID: "sd", Element: "underlay", Verdict: Remark, Source: "BS 5250: LR is 0.25 MN s/g or less, sd 0.05 m",
			What: fmt.Sprintf("The underlay is entered as HR with sd %s m; up to 0.05 m is LR.", words.Size(*s)),
			Why:  "Class and figure do not agree: check the maker's sheet."})
	}
}

func (k *check) ridge() {
	const element = "ridge"
	needs := k.b.Openings.LoftRidgeMM != nil && *k.b.Openings.LoftRidgeMM > 0 || k.b.Openings.VoidRidgeMM != nil &&
		*k.b.Openings.VoidRidgeMM > 0
	for _, n := range k.rules.Needs {
		needs = needs || n.Where == "loft_ridge"
	}
	switch k.b.Underlay.OverRidge {
	case roof.Yes:
		if k.b.Openings.LoftRidgeMM != nil && *k.b.Openings.LoftRidgeMM > 0 {
			k.fault("over_ridge", element, "The underlay is carried over the ridge although an opening is entered there.",
				"A ridge vent over an uncut underlay airs nothing below it.",
				"Cut the underlay back 5 mm each side below the vent.", "builder standard quoting NHBC 7.2.10; "+Practice,
				caution.LiftCover, caution.WorkOutside)
			return
		}
		if needs {
			k.fault("over_ridge", element, "The underlay is carried over the ridge, where the loft should have a way out.",
				"Whatever vent sits on top airs the void at most.", "Cut the underlay back below the ridge when an opening is "+
					"made there.", Practice, caution.LiftCover, caution.WorkOutside)
			return
		}
		k.add(Finding{ID: "over_ridge", Element: element, Verdict: Remark, Source: Practice,
			What: "The underlay is carried over the ridge.",
			Why:  "Right where nothing is to leave there; a fault once a ridge vent is fitted."})
	case roof.No:
		k.sound("over_ridge", element, "The underlay is not carried over the ridge.", Practice)
	default:
		if needs {
			k.ask("over_ridge", element, "It is not known whether the underlay is carried over the ridge.",
				"A vent over an uncut underlay airs nothing below it.",
				"Look up at the ridge from the loft: is light or the ridge board's gap visible?")
		}
	}
}

func (k *check) drape() {
	d := k.b.Underlay.DrapeMM
	const source = "BS 5534 in the trade's reading (about 15 mm), from memory; " + Practice
	if k.b.Underlay.Class == "none" {
		return
	}
	switch {
	case !finite(d):
		k.ask("drape", "underlay", "The drape of the underlay is not known.", "Pulled tight, it holds a leak against the "+
			"battens; about 15 mm lets it run to the middle and out.", "Look between two rafters from inside.")
	case *d < minDrapeMM:
		k.fault("drape", "underlay", fmt.Sprintf("The underlay is pulled tight (drape %s mm).", words.Size(*d)),
			"Water that gets in lies against the battens and their nails and rots them.",
			fmt.Sprintf("A drape of about %s mm between rafters when the covering is next lifted, or counter-battens over "+
				"a tight one.", words.Size(drapeWantedMM)), source, caution.LiftCover)
	case *d > maxDrapeMM:
		k.fault("drape", "underlay", fmt.Sprintf("The underlay sags (drape %s mm).", words.Size(*d)),
			"It can touch the insulation or close the path below, and water ponds on it; more than about 15 mm is not wanted.",
			"Tension it when the covering is next lifted.", source, caution.LiftCover)
	case *d < drapeFairMM:
		k.add(Finding{ID: "drape", Element: "underlay", Verdict: Remark, Source: source,
			What: fmt.Sprintf("The underlay drapes %s mm; about %s mm is wanted.", words.Size(*d), words.Size(drapeWantedMM)),
			Why:  "Water that gets in may stand against the battens rather than run to the middle and out.",
			Cure: "More drape between the rafters when the covering is next lifted; no reason to lift it."})
	default:
		k.sound("drape", "underlay", fmt.Sprintf("The underlay drapes %s mm (about %s mm is wanted).", words.Size(*d),
			words.Size(drapeWantedMM)), source)
	}
}

func (k *check) fixings() {
	switch k.b.Fixings {
	case "galvanised":
		k.add(Finding{ID: "fixings", Element: "fixings", Verdict: Remark, Source: Practice, What: "Galvanised nails.",
			Why: "They last where the roof stays dry; in a void that condenses the zinc goes in years and slates slip. Watch " +
				"the time of wetness."})
	case "stainless", "copper", "aluminium":
		k.sound("fixings", "fixings", "Fixings of "+k.b.Fixings+".", Practice)
	default:
		k.ask("fixings", "fixings", "The fixings are not known.", "Galvanised nails do not stand a void that stays wet.",
			"Lift one slate and look at a nail.", caution.LiftCover)
	}
}

// household are the rules about the ceiling.
func (k *check) household() {
	c := k.b.Ceiling
	const element = "ceiling"
	switch c.Sealed {
	case roof.No:
		k.fault("ceiling_sealed", element, "The ceiling is not sealed.",
			"Most of the vapour in a loft comes with house air through hatch, downlights and pipes, not through plaster.",
			"Gasket and bolt the hatch, seal pipes and cables, cover or replace downlights with closed ones.",
			"BS 9250, contents as listed; "+Practice, caution.SealCeiling)
	case roof.Yes:
		k.sound("ceiling_sealed", element, "The ceiling is sealed.", Practice)
	default:
		k.ask("ceiling_sealed", element, "It is not known whether the ceiling is sealed.",
			"Most of the vapour in a loft comes with house air through gaps.",
			"Look at hatch, downlights and pipes from above; on a windy day feel for draughts.")
	}
	switch n := c.Downlights; {
	case n == nil:
		k.ask("downlights", element, "The number of downlights is not known.", "Each open one is a hole into the loft.",
			"Count them.")
	case *n >= downlightsFew && c.Sealed != roof.Yes:
		k.fault("downlights", element, fmt.Sprintf("%d downlights in a ceiling that is %s.", *n,
			map[bool]string{true: "not sealed", false: "not known to be sealed"}[c.Sealed == roof.No]),
			"Each open downlight is a hole into the loft, warm and often above a bathroom.",
			"Closed, rated fittings or covers; mind the heat and the cables.", Practice, caution.SealCeiling)
	case *n > 0 && c.Sealed != roof.Yes:
		k.add(Finding{ID: "downlights", Element: element, Verdict: Remark, Source: Practice,
			What: fmt.Sprintf("%d downlights.", *n), Why: "Each open one is a hole into the loft."})
	default:
		k.sound("downlights", element, fmt.Sprintf("%d downlights, ceiling %s.", *n,
			map[bool]string{true: "sealed", false: "without holes for them"}[c.Sealed == roof.Yes]), Practice)
	}
	switch c.VapourControlLayer {
	case roof.No:
		v := Remark
		if k.b.Insulation == "rafter" {
			return // said with the insulation
		}
		if c.Sealed == roof.No {
			v = Fault
		}
		k.add(Finding{ID: "vapour_control_layer", Element: element, Verdict: v, Source: "BS 5250 and BS 9250 as quoted; " +
			Practice, What: "There is no vapour control layer at the ceiling.",
			Why:  "It matters less than gaps, and more the wetter the house and the tighter the roof above.",
			Cure: "A sealed layer on the warm side when the ceiling is next opened; paint and sealed gaps do much of it.",
			Do:   []caution.Activity{caution.SealCeiling}})
	case roof.Yes:
		k.sound("vapour_control_layer", element, "There is a vapour control layer at the ceiling.", Practice)
	default:
		k.ask("vapour_control_layer", element, "It is not known whether there is a vapour control layer.",
			"It belongs on the warm side of the insulation.", "Lift the insulation at the hatch: polythene or foil beneath it?")
	}
}

// age is the rule about new houses.
func (k *check) age(done *time.Time, at time.Time) {
	switch {
	case done == nil:
		k.ask("handover", "age", "The handover date is not known.", "A new building gives off tonnes of water in its "+
			"first winters: that ends by itself and is no fault of the roof.", "Ask, and enter completed.")
	case at.IsZero():
	case done.After(at):
		k.add(Finding{ID: "handover", Element: "age", Verdict: Remark, Source: Practice,
			What: "The handover date lies after the record begins.",
			Why:  "The roof was closed but the building still wet: expect drying out."})
	case done.AddDate(0, dryingMonths, 0).After(at):
		k.add(Finding{ID: "handover", Element: "age", Verdict: Remark, Source: Practice,
			What: fmt.Sprintf("Handed over %s, less than %d months before.", done.Format("2 January 2006"), dryingMonths),
			Why:  "The building may still be drying out: judge nothing by its first winter alone."})
	default:
		k.sound("handover", "age", "Handed over "+done.Format("2 January 2006")+": long dry.", Practice)
	}
}

func finite(x *float64) bool { return x != nil && !math.IsNaN(*x) && !math.IsInf(*x, 0) }
