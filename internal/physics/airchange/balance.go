// Package airchange estimates how often the air of a loft, a batten void or a
// house changes, from moisture that decays, balances or follows outdoors; every
// estimate comes with an interval or with the reason why the data cannot carry
// one.
package airchange

import (
	"errors"
	"fmt"
	"math"

	"dewcase/internal/physics/psychro"
)

// ErrInput is wrapped by every error about input that cannot be used.
var ErrInput = errors.New("cannot estimate the air change")

// gravity in m/s2.
const gravity = 9.81

func positive(what string, xs ...float64) error {
	for _, x := range xs {
		if !(x > 0) || math.IsInf(x, 0) {
			return fmt.Errorf("%w: %s needs values above 0, got %g", ErrInput, what, x)
		}
	}
	return nil
}

// Decay is the air change per hour from a tracer that falls from c0 to ct over
// hours, in any unit, above a background (ASTM E741; ISO 12569):
//
//	n = ln((c0 - b)/(ct - b)) / t
func Decay(c0, ct, background, hours float64) (float64, error) {
	if err := positive("a decay", c0-background, ct-background, hours); err != nil {
		return 0, err
	}
	if ct > c0 {
		return 0, fmt.Errorf("%w: the tracer rises from %g to %g", ErrInput, c0, ct)
	}
	return math.Log((c0-background)/(ct-background)) / hours, nil
}

// SteadyExcessGM3 is the moisture excess in g/m3 that generation in kg/day makes
// in a volume in m3 at n changes an hour: dv = G/(n V).
func SteadyExcessGM3(kgDay, volumeM3, perHour float64) (float64, error) {
	if err := positive("a steady excess", kgDay, volumeM3, perHour); err != nil {
		return 0, err
	}
	return kgDay * 1000 / 24 / (volumeM3 * perHour), nil
}

// FromExcess is the air change per hour of a volume in m3 in which generation in
// kg/day holds an excess in g/m3: n = G/(V dv).
func FromExcess(kgDay, volumeM3, excessGM3 float64) (float64, error) {
	if err := positive("an air change from an excess", kgDay, volumeM3, excessGM3); err != nil {
		return 0, err
	}
	return kgDay * 1000 / 24 / (volumeM3 * excessGM3), nil
}

// CeilingLoad is what house air carries into the loft: the flow in m3/h through
// the ceiling and its moisture in g/h, for a house of a volume in m3 at n changes
// an hour of which a share leaves through the loft (0.2 in British houses, BRE IP
// 4/06), with house air holding excessGKg more vapour than outdoors, in g per kg
// of dry air; density of air in kg/m3 (1.2).
func CeilingLoad(volumeM3, perHour, share, excessGKg, densityKgM3 float64) (flowM3H, gramsH float64, err error) {
	if err := positive("a ceiling load", volumeM3, perHour, share, excessGKg, densityKgM3); err != nil {
		return 0, 0, err
	}
	if share > 1 {
		return 0, 0, fmt.Errorf("%w: a share of %g of the house's air", ErrInput, share)
	}
	flowM3H = volumeM3 * perHour * share
	return flowM3H, flowM3H * densityKgM3 * excessGKg, nil
}

// StepResponse is the share (0..1) of a step outdoors that well mixed air has
// followed after hours at n changes an hour: 1 - exp(-n t). Timber stretches it
// to days.
func StepResponse(perHour, hours float64) float64 {
	return -math.Expm1(-math.Max(perHour, 0) * math.Max(hours, 0))
}

// SlotFlowM3H is the flow in m3/h through an opening of an area in mm2 at a
// pressure in Pa (BS 5925, eq. for openings), with a discharge coefficient (0.6)
// and the air's density in kg/m3 (1.25):
//
//	Q = Cd A sqrt(2 dp / rho)
func SlotFlowM3H(areaMM2, pressurePa, discharge, densityKgM3 float64) (float64, error) {
	if err := positive("a slot flow", areaMM2, pressurePa, discharge, densityKgM3); err != nil {
		return 0, err
	}
	return 3600 * discharge * areaMM2 * 1e-6 * math.Sqrt(2*pressurePa/densityKgM3), nil
}

// StackPressurePa is the pressure in Pa that a height in m makes between inside
// and outside air in C: g h (rho_out - rho_in), dry air at sea level.
func StackPressurePa(heightM, insideC, outsideC float64) (float64, error) {
	if err := positive("a stack", heightM); err != nil {
		return 0, err
	}
	in, err := psychro.DensityKgM3(insideC, 0, psychro.StandardPressurePa)
	if err != nil {
		return 0, fmt.Errorf("%w: %w", ErrInput, err)
	}
	out, err := psychro.DensityKgM3(outsideC, 0, psychro.StandardPressurePa)
	if err != nil {
		return 0, fmt.Errorf("%w: %w", ErrInput, err)
	}
	return gravity * heightM * (out - in), nil
}

// Balance is the air change of a house from what its people make and what its
// air holds, both as ranges: the interval is that of the quotient.
func Balance(kgDayLow, kgDayHigh, volumeM3, excessLowGM3, excessHighGM3 float64) (Estimate, error) {
	if err := positive("a balance", kgDayLow, kgDayHigh, volumeM3); err != nil {
		return Estimate{}, err
	}
	if kgDayHigh < kgDayLow || !(excessHighGM3 >= excessLowGM3) {
		return Estimate{}, fmt.Errorf("%w: ranges %g..%g kg/day and %g..%g g/m3 run backwards", ErrInput, kgDayLow, kgDayHigh,
			excessLowGM3, excessHighGM3)
	}
	e := Estimate{Method: "moisture balance G = n V dv"}
	if excessLowGM3 <= 0 {
		e.Why = fmt.Sprintf("the excess over outdoors could be nothing (%.1f to %.1f g/m³), so that any air change fits",
			excessLowGM3, excessHighGM3)
		return e, nil
	}
	per := 1000.0 / 24 / volumeM3
	e.Known = true
	e.Low, e.High = kgDayLow*per/excessHighGM3, kgDayHigh*per/excessLowGM3
	e.PerHour = math.Sqrt(e.Low * e.High)
	return e, nil
}

// Source is something that puts vapour into a house.
type Source struct {
	What      string
	Low, High float64 // equal where one figure is given
	Unit      string
	Note      string // "about", from memory, or what else to know
}

// Sources lists published moisture generation: a table of solar-house practice
// (10.1.1), the New Zealand metal roof and wall cladding code of practice
// (10.8.1), and BS 5250 / CIBSE Guide A by occupancy (from memory).
func Sources() []Source {
	const gh = "g/h"
	return []Source{
		{"person, sedentary", 40, 60, gh, ""},
		{"person, average activity", 60, 120, gh, ""},
		{"person, strenuous", 120, 200, gh, ""},
		{"bath", 700, 700, gh, "about"},
		{"shower", 2500, 2500, gh, "about"},
		{"cooking", 600, 1500, gh, ""},
		{"potted plant", 7, 15, gh, ""},
		{"laundry drying, spun, 4.5 kg", 50, 200, gh, ""},
		{"laundry drying, dripping, 4.5 kg", 100, 500, gh, ""},
		{"aquarium per m2", 30, 50, gh, ""},
		{"household of 4, total", 12, 12, "kg/day", "about"},
		{"cooking, unventilated", 3, 3, "kg/day per 2.5 persons", ""},
		{"baths/showers", 1.5, 1.5, "kg/day per 2.5 persons", ""},
		{"clothes washing", 0.5, 0.5, "kg/day per 2.5 persons", ""},
		{"clothes drying, unvented", 5, 5, "kg/load", ""},
		{"dishwashing", 1, 1, "kg/day", ""},
		{"portable gas heater", 1.6, 1.6, "kg water per kg LPG", "stoichiometry of propane: 1.63"},
		{"breathing, average", 3, 3, "kg/day per 2.5 persons", ""},
		{"breathing asleep", 0.05, 0.05, "kg/h", ""},
	}
}

// Occupancy is the moisture made in a dwelling in kg/day, by persons 1..6 from
// Low to High (BS 5250 / CIBSE Guide A, from memory).
type Occupancy struct {
	Name      string
	Low, High float64
}

// Occupancies lists the three kinds.
func Occupancies() []Occupancy {
	return []Occupancy{{"dry", 3.5, 8}, {"moist", 6, 11}, {"wet", 9, 15}}
}

// PropaneWater is the water made per mass of propane burnt: C3H8 + 5 O2 -> 3 CO2
// + 4 H2O, 72.06/44.10.
const PropaneWater = 72.06 / 44.10
