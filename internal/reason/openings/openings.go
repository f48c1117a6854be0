// Package openings computes which openings a set of ventilation rules requires
// on one roof, what is there now, what is missing, and how many vents that is.
//
// It takes the survey of a case, the finding (a plain word of the contract), a
// rule set, and the net free area of the chosen vent. It returns one line per
// opening, in mm of continuous slot and mm2 in all, with the
// rule's source and how far that is confirmed; what must be looked at first;
// and cautions.
//
// # Conventions
//
// A slot of 1 mm is 1000 mm2 per metre. Sizes are net free area: the maker
// deducts mesh and louvres. Slots in a survey are per eaves, or per side of a
// ridge. Length is the eaves length of one slope.
//
// # Limits
//
// No standard was seen in full. Each figure says whether it was read on a page
// that quotes the standard, on one secondary page only, or comes from memory.
//
// Rules are targets that have mostly served. None proves that a given loft
// stays dry, and none is a licence to build: local code and the maker's
// specification decide. Complex plans, valleys, hips and rooms in the roof
// need a designer.
package openings

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// Licence is the sentence that closes every answer.
const Licence = "A rule of thumb for comparison, no licence to build: the local code, the maker's specification and " +
	"whoever signs for the work decide."

// Line is one opening: asked for, there, short.
type Line struct {
	Where     Where
	NeededMM  float64 // continuous, each side
	Sides     int
	NeededMM2 *float64 // in all; nil while the length is unknown
	HaveMM    *float64 // on the survey; nil unknown
	ShortMM   *float64 // each side; nil while unknown
	ShortMM2  *float64 // in all
	Vents     *int     // vents of the given net free area that close the shortfall
	Rule      Figure
	Why       string
	Instead   string // another way to meet the rule
}

// Answer is what to open.
type Answer struct {
	Set      RuleSet
	Advice   []string // what the finding means for opening anything at all
	Lines    []Line
	Depths   []Depth
	Asks     []string
	Remarks  []string
	Cautions []caution.Caution
	Licence  string
}

// Advise compares the roof with a rule set ("" takes the case's own, then the
// default) for a finding; ventMM2 is the net free area of one vent, 0 leaves
// counts of vents out. A rule set that is not known is an error that names the
// known ones; negative or non-finite ventMM2 is an error.
func Advise(b roof.Build, finding, set string, ventMM2 float64) (Answer, error) {
	if math.IsNaN(ventMM2) || math.IsInf(ventMM2, 0) || ventMM2 < 0 {
		return Answer{}, fmt.Errorf("net free area of a vent: %g mm2 cannot be; give the maker's figure, or 0 to leave "+
			"vents out", ventMM2)
	}
	if set == "" {
		set = b.RuleSet
	}
	r, err := For(b, set)
	if err != nil {
		return Answer{}, err
	}
	a := Answer{Depths: r.Depths, Asks: r.Asks, Remarks: r.Remarks, Licence: Licence,
		Cautions: caution.For(caution.CutOpenings, caution.WorkOutside)}
	for _, s := range RuleSets() {
		if s.ID == r.Set {
			a.Set = s
		}
	}
	a.Advice = advice(finding, r)
	for _, n := range r.Needs {
		a.Lines = append(a.Lines, line(b, n, ventMM2))
	}
	for _, l := range a.Lines {
		if l.HaveMM == nil {
			a.Asks = append(a.Asks, fmt.Sprintf("Measure what is open to %s, in mm, and write it into the case file (key "+
				"openings_mm.%s).", l.Where.Words(), l.Where))
		}
	}
	if len(a.Lines) > 0 && b.LengthM == nil {
		a.Asks = append(a.Asks, "Measure the length of one eaves and write it into the case file (key length_m): areas and "+
			"numbers of vents follow from it.")
	}
	if b.EavesClear == roof.No {
		a.Remarks = append(a.Remarks, "Insulation lies against the eaves: whatever is open on paper is shut in fact until "+
			"it is drawn back and held back.")
	}
	if b.EavesClear == roof.Unknown && (b.Openings.LoftEavesMM == nil || *b.Openings.LoftEavesMM > 0) {
		a.Asks = append(a.Asks, "Look whether insulation is kept clear of the eaves openings and write it into the "+
			"case file (key eaves_clear).")
	}
	return a, nil
}

// Worked reports that a work by a time may have changed the roof in a way.
func Worked(c *roof.Case, by time.Time, change roof.Change) bool {
	return slices.ContainsFunc(c.Works(by), func(e roof.Event) bool { return slices.Contains(c.Alters(e), change) })
}

// repaired stands for a finding that is of the roof as it was before a work on
// what it names.
const repaired = "repaired"

// changeOf is the work that answers a finding.
var changeOf = map[string]roof.Change{"ceiling_leakage": roof.CeilingChange,
	"blocked_ventilation": roof.LoftVentilation, "unvented_batten_void": roof.VoidVentilation,
	"water_ingress": roof.WaterEntry}

// Since is the finding as it bears on the roof at a time.
func Since(c *roof.Case, finding string, at time.Time) string {
	if change, ok := changeOf[finding]; ok && Worked(c, at, change) {
		return repaired
	}
	return finding
}

func line(b roof.Build, n Rule, ventMM2 float64) Line {
	l := Line{Where: n.Where, NeededMM: n.MM, Sides: n.Sides, HaveMM: have(b, n.Where),
		Rule: n.Figure, Why: n.Why}
	if n.OrHigh > 0 {
		l.Instead = fmt.Sprintf("or %s mm continuous at the ridge or high up", words.Size(n.OrHigh))
	}
	if l.HaveMM != nil {
		short := math.Max(0, n.MM-*l.HaveMM)
		if n.OrHigh > 0 && b.Openings.LoftRidgeMM != nil && *b.Openings.LoftRidgeMM >= n.OrHigh {
			short = 0
		}
		l.ShortMM = &short
	}
	if b.LengthM == nil {
		return l
	}
	area := func(mm float64) *float64 { a := mm * 1000 * *b.LengthM * float64(n.Sides); return &a }
	l.NeededMM2 = area(n.MM)
	if l.ShortMM != nil {
		l.ShortMM2 = area(*l.ShortMM)
		if ventMM2 > 0 {
			k := int(math.Ceil(*l.ShortMM2/ventMM2 - 1e-9))
			l.Vents = &k
		}
	}
	return l
}

// advice says what the finding means for opening anything.
func advice(finding string, r Rules) []string {
	switch finding {
	case "ceiling_leakage":
		return []string{"Close the ceiling first (hatch, downlights, pipes): more openings alone draw more house air " +
			"through it.", "Then give the loft the openings below."}
	case "blocked_ventilation":
		return []string{"The openings are there on paper: make them work before adding any. Draw insulation back from the " +
			"eaves, clear and cut the slots through."}
	case "unvented_batten_void":
		if r.VoidPath {
			return []string{"The void needs a clear path and openings at both ends. On single battens that means re-laying " +
				"the covering on counter-battens, or an HR underlay with the loft ventilated below it: openings at the ends " +
				"alone do nothing."}
		}
		return []string{"The measurements point to the void; the rules as surveyed ask nothing of it. Check the survey of " +
			"underlay and covering first."}
	case "night_sky_cooling":
		return []string{"No opening cures the night sky: the covering wets from outdoor air and dries by day. The lines " +
			"below are for comparison alone."}
	case "water_ingress":
		return []string{"Find and stop the water first. Openings help the roof dry afterwards; they cure no leak."}
	case "construction_moisture":
		return []string{"Let the building dry: heat, air the rooms, keep the loft's openings free. Drying out ends by " +
			"itself."}
	case repaired:
		return []string{"The cause was found in the roof as it was before the work, and the work was on that. Whether " +
			"anything is left to open the record since then says (Did it work); the lines below are what the rules ask " +
			"for."}
	case "none_found":
		return []string{"No condensation problem was seen: nothing needs opening. The lines below are for comparison alone."}
	}
	return []string{"The cause is not settled: open nothing on the strength of this. The lines below say what the " +
		"rules ask for."}
}
