// Package caution holds the safety warnings that accompany every suggestion to
// look, climb, cut, seal or fit something: hazards of the work in plain words,
// each with its source and whether that source was read.
//
// The list follows the project's table of hazards
// (testdata/tables/safety.csv). A test checks that every hazard of the table
// is covered here and every activity served. It is written for the United
// Kingdom, where most sources were read; elsewhere local rules decide, and
// each list says so. It does not replace a risk assessment by whoever does the
// work.
package caution

import "slices"

// Activity is what a person may be about to do on the program's advice.
type Activity string

// The activities that carry cautions.
const (
	LookInLoft  Activity = "look_in_loft" // go into the loft and look
	LiftCover   Activity = "lift_cover"   // lift a slate or tile, look under the covering
	CutOpenings Activity = "cut_openings" // add, clear or cut ventilation openings
	SealCeiling Activity = "seal_ceiling" // close gaps in the ceiling
	FitLogger   Activity = "fit_logger"   // fit, move or fetch a logger
	WorkOutside Activity = "work_outside" // ladder, gutter, roof slope
)

// Caution is one hazard and what to do about it.
type Caution struct {
	Hazard string // short name, as in the table of hazards
	Text   string // what to do, in plain words
	Source string
	Read   bool // the source was read; false: from memory, to be confirmed
}

// Everywhere is the sentence that closes every list.
const Everywhere = "Local law and codes decide; these words were written for the United Kingdom."

var all = []struct {
	Caution
	with []Activity
}{
	{Caution{"falls", "Stay off the roof: falls from roofs are among the commonest causes of death in building work, " +
		"and many who fall are not roofers. Work from inside where you can, otherwise from a tower or scaffold.",
		"HSE HSG33, 5th edition", true}, []Activity{LiftCover, CutOpenings, FitLogger, WorkOutside}},
	{Caution{"fragile materials", "Treat old fibre-cement sheets and rooflights as fragile: they do not carry a person.",
		"HSE HSG33, 5th edition", true}, []Activity{LiftCover, CutOpenings, WorkOutside}},
	{Caution{"loft footing", "Step only on joists or boards; plasterboard does not carry you. Do not crush insulation " +
		"or push it into the eaves.",
		"trade practice", false}, []Activity{LookInLoft, CutOpenings, SealCeiling, FitLogger}},
	{Caution{"asbestos", "Anything fitted before 2000 may hold asbestos: cement slates, soffits, flues, tank lagging, " +
		"loose fill, some felts. Do not drill, brush or break it; leave sound material alone and have it sampled.",
		"UK ban of 24 November 1999; Control of Asbestos Regulations 2012, as quoted by public guidance pages", true},
		[]Activity{LookInLoft, LiftCover, CutOpenings, SealCeiling, WorkOutside}},
	{Caution{"asbestos in felt and cement slates", "Bitumen felts and man-made slates from before about 1980 to 1999 " +
		"can hold chrysotile: have them sampled before lifting or cutting.",
		"HSE HSG264 survey guide", false}, []Activity{LiftCover, CutOpenings}},
	{Caution{"mould and droppings", "Do not dry-brush mould or droppings. Wear a mask (FFP2 or FFP3) and gloves and " +
		"let air in; people with asthma or weak immunity should stay out.",
		"public-health guidance", false}, []Activity{LookInLoft, CutOpenings, SealCeiling, FitLogger}},
	{Caution{"mineral-fibre and cellulose dust", "Insulation dust irritates: gloves, long sleeves, mask, eye protection.",
		"makers' safety sheets", false}, []Activity{LookInLoft, CutOpenings, SealCeiling, FitLogger}},
	{Caution{"electrics", "Water may stand on junction boxes, downlights and cables: switch off before touching. Do " +
		"not cover downlights or cables without checking their rating. Loggers run on batteries or extra-low voltage only.",
		"BS 7671 practice", false}, []Activity{LookInLoft, CutOpenings, SealCeiling, FitLogger}},
	{Caution{"batteries", "Lithium cells lose capacity below 0 °C and must not be charged there; a summer loft passes " +
		"50 °C.",
		"cell makers", false}, []Activity{FitLogger}},
	{Caution{"flues and combustion air", "Never close an opening that feeds air to a fire, boiler or stove, or a flue. " +
		"Check that flue pipes in the loft are sound and fit a carbon monoxide alarm: a tighter ceiling and a strong fan " +
		"can pull flue gas back.",
		"Approved Document J practice", false}, []Activity{LookInLoft, CutOpenings, SealCeiling}},
	{Caution{"extract ducts", "A fan that ends in the loft wets it: take the duct outdoors and insulate it.",
		"BS 5250 and Approved Document F practice", false}, []Activity{LookInLoft, CutOpenings, SealCeiling}},
	{Caution{"bats", "Bats and their roosts are protected, also while empty: disturbing them, damaging a roost or " +
		"closing its access is an offence. Ask the national bat helpline before opening, sealing or lifting anything.",
		"Wildlife and Countryside Act 1981, Habitats Regulations 2017, as quoted by public guidance pages", true},
		[]Activity{LookInLoft, LiftCover, CutOpenings, SealCeiling, WorkOutside}},
	{Caution{"nesting birds", "Nests in use are protected (mostly March to August); swifts and sparrows nest behind " +
		"eaves gaps.",
		"Wildlife and Countryside Act 1981, section 1", false}, []Activity{LiftCover, CutOpenings, WorkOutside}},
	{Caution{"fire", "Do not bridge cavity barriers, party-wall fire stopping or compartment lines with vents or loggers.",
		"Approved Document B practice", false}, []Activity{CutOpenings, SealCeiling, FitLogger}},
	{Caution{"structure", "Soft or crumbling timber, sagging rafters or a wet, bulging ceiling: keep out and call a " +
		"surveyor.",
		"trade practice", false}, []Activity{LookInLoft, LiftCover, CutOpenings, SealCeiling, FitLogger, WorkOutside}},
	{Caution{"rain penetration", "A drip can be rain, not condensation: look after dry cold nights before cutting any " +
		"vent. At low pitch, vents can let in driven rain and snow.",
		"trade practice", false}, []Activity{LookInLoft, CutOpenings, WorkOutside}},
	{Caution{"warranty", "New openings may affect the warranty on the house or the certificate of the underlay: ask " +
		"first.",
		"trade practice", false}, []Activity{LiftCover, CutOpenings}},
}

// For lists the cautions of the activities, each once, in the order of the
// table of hazards: the first ones can kill.
func For(activities ...Activity) []Caution {
	var out []Caution
	for _, c := range all {
		if slices.ContainsFunc(c.with, func(a Activity) bool { return slices.Contains(activities, a) }) {
			out = append(out, c.Caution)
		}
	}
	return out
}

// Essential are the few that must fit on an alert or a phone: those that can
// kill or break the law in the activities named.
func Essential(activities ...Activity) []Caution {
	short := []string{"falls", "loft footing", "asbestos", "electrics", "flues and combustion air", "bats", "structure"}
	var out []Caution
	for _, c := range For(activities...) {
		if slices.Contains(short, c.Hazard) {
			out = append(out, c)
		}
	}
	return out
}
