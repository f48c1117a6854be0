// Package corrosion computes the time of wetness of metal fixings by ISO 9223.
// It takes spells and returns hours, the wetness category, the share of the
// year that was observed, and the trade's remark.
package corrosion

import (
	"fmt"
	"math"

	"dewcase/internal/physics/spell"
)

// The rule of ISO 9223:1992: wet while both are exceeded, strictly.
const (
	wetAboveRHPct = 80.0
	wetAboveC     = 0.0
)

// HoursPerYear is a year of 365.25 days.
const HoursPerYear = 8766.0

// Category is a time-of-wetness category of ISO 9223:1992, Table 1 (kept as
// informative in the edition of 2012); the zero value is unknown.
type Category int

// The categories.
const (
	Unknown Category = iota
	Tau1             // up to 10 h a year
	Tau2             // 10 to 250
	Tau3             // 250 to 2500
	Tau4             // 2500 to 5500
	Tau5             // over 5500
)

// String is the category's name in the standard.
func (c Category) String() string {
	if c < Tau1 || c > Tau5 {
		return "unknown"
	}
	return fmt.Sprintf("tau%d", int(c))
}

// upper are the categories' upper bounds in hours a year (ISO 9223:1992, Table 1;
// tau5 from memory).
var upper = [...]float64{Tau1: 10, Tau2: 250, Tau3: 2500, Tau4: 5500, Tau5: math.Inf(1)}

// CategoryOf puts hours a year (0..8784) in its category; a bound belongs to the
// drier one.
func CategoryOf(hoursPerYear float64) (Category, error) {
	if !(hoursPerYear >= 0 && hoursPerYear <= 8784) {
		return Unknown, fmt.Errorf("category of %g wet hours a year: want 0..8784", hoursPerYear)
	}
	for c := Tau1; c < Tau5; c++ {
		if hoursPerYear <= upper[c] {
			return c, nil
		}
	}
	return Tau5, nil
}

// PerYear scales wet hours to a year by the observed hours (both in h, 0 <= wet
// <= observed, observed more than 0):
//
//	TOW = wet 8766 / observed
//
// It says what a year like the record would bring; a winter's record scaled so
// overstates the year.
func PerYear(wetH, observedH float64) (float64, error) {
	if !(observedH > 0 && wetH >= 0 && wetH <= observedH*(1+1e-9)) {
		return 0, fmt.Errorf("scaling %g wet of %g observed hours to a year: want wet hours within observed ones", wetH,
			observedH)
	}
	return wetH * HoursPerYear / observedH, nil
}

// WetHours counts the hours of a record in which metal is wet by the rule of ISO
// 9223: humidity over 80 % and temperature over 0 C, both strictly.
func WetHours(spells []spell.Spell) (float64, error) {
	if err := spell.Check(spells); err != nil {
		return 0, fmt.Errorf("counting the time of wetness: %w", err)
	}
	var h float64
	for _, s := range spells {
		if s.RHPct > wetAboveRHPct && s.TempC > wetAboveC {
			h += s.Hours()
		}
	}
	return h, nil
}

// Result is the wetness of fixings at one place.
type Result struct {
	ObservedH    float64  // h; 0: nothing is known
	PerYearH     float64  // if the whole year were like the record
	Category     Category // of PerYearH
	LowPerYearH  float64  // if every unobserved hour of a year were dry
	HighPerYearH float64  // if every one were wet
	Low, High    Category // of these
	Remark       string   // for the fixings, in the trade's words
	Notes        []string
}

// Assess counts the time of wetness of fixings from a record of spells, of the
// surface (atSurface) or, failing that, of the air. fixings is what the case
// file says of them: "galvanised", "stainless", "copper", "aluminium" or ""
// (unknown).
func Assess(spells []spell.Spell, atSurface bool, fixings string) (*Result, error) {
	wet, err := WetHours(spells)
	if err != nil {
		return nil, err
	}
	r := &Result{ObservedH: spell.ObservedH(spells)}
	if r.ObservedH == 0 {
		r.Notes = append(r.Notes, "nothing was observed")
		return r, nil
	}
	if r.PerYearH, err = PerYear(wet, r.ObservedH); err != nil {
		return nil, err
	}
	r.LowPerYearH, r.HighPerYearH = r.PerYearH, r.PerYearH
	if r.ObservedH < HoursPerYear {
		r.LowPerYearH = wet
		r.HighPerYearH = wet + HoursPerYear - r.ObservedH
	}
	for _, pair := range []struct {
		hours float64
		to    *Category
	}{{r.PerYearH, &r.Category}, {r.LowPerYearH, &r.Low}, {r.HighPerYearH, &r.High}} {
		if *pair.to, err = CategoryOf(pair.hours); err != nil {
			return nil, err
		}
	}
	if r.ObservedH < 0.9*HoursPerYear {
		r.Notes = append(r.Notes, fmt.Sprintf("%.0f %% of a year was observed; the year as a whole lies between "+
			"class %d and class %d of 5, and a record of the damp season reads high", 100*r.ObservedH/HoursPerYear,
			r.Low, r.High))
	}
	if !atSurface {
		r.Notes = append(r.Notes, "counted with the air's humidity: a surface that cools below the air is wetter than this")
	} else {
		r.Notes = append(r.Notes, "counted with the humidity at the surface; the rule leaves out frost and the hours near "+
			"freezing")
	}
	r.Remark = remark(r.Category, fixings)
	return r, nil
}

// remark is common practice, not a standard.
func remark(c Category, fixings string) string {
	wet := c >= Tau4
	switch fixings {
	case "galvanised":
		if wet {
			return "galvanised nails, clips and straps were wet here for much of the record: look for white or red rust on a " +
				"few heads; zinc goes faster still in contact with preservative-treated battens, copper or cement slates, and " +
				"stainless steel is the usual choice when they are renewed (common practice)"
		}
		return "galvanised fixings stand this wetness for many years, unless they touch preservative-treated timber, " +
			"copper or wet cement (common practice)"
	case "stainless":
		return "stainless fixings stand this wetness (common practice)"
	case "copper":
		return "copper fixings stand this wetness; they must not touch zinc, galvanised or aluminium parts (common practice)"
	case "aluminium":
		if wet {
			return "aluminium nails suffer here where they touch wet cement, lime or copper-treated battens: look at a few " +
				"(common practice)"
		}
		return "aluminium fixings stand this wetness where they touch no wet cement or copper (common practice)"
	}
	if wet {
		return "what the fixings are made of is not known: look, because galvanised ones rust at this wetness (common " +
			"practice)"
	}
	return "what the fixings are made of is not known; at this wetness it matters little (common practice)"
}
