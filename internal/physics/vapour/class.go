// Package vapour draws the vapour-pressure picture of a house: how far each body
// of air lies above outdoors, the humidity class of the rooms, the moisture they
// supply, and how much house air the loft holds; hourly means in, figures with
// their doubt out.
package vapour

import (
	"errors"
	"fmt"
	"math"

	"dewcase/internal/physics/psychro"
)

// ErrInput is wrapped by every error about input that cannot be used.
var ErrInput = errors.New("vapour not compared")

// Classes of EN ISO 13788, Annex A: at and under 0 C outdoors each class spans
// 270 Pa (2 g/m3), falling in a straight line to nothing at 20 C. From memory and
// to be confirmed on paper; 2 g/m3 at 20 C is 270.6 Pa, which agrees.
const (
	classStepPa  = 270.0
	classStepGM3 = 2.0
	classEndC    = 20.0
	// Highest is the class without an upper limit.
	Highest = 5
)

// relief is the share of the limits left at an outdoor temperature.
func relief(outdoorC float64) float64 {
	return math.Min(1, math.Max(0, 1-outdoorC/classEndC))
}

// ClassLimits are the bounds of a humidity class (1..5) at an outdoor temperature
// in C (-60..60), in Pa of excess over outdoors and in g/m3 of moisture supply;
// open is true for class 5, whose upper bounds are then 0 and mean nothing.
func ClassLimits(class int, outdoorC float64) (lowPa, highPa, lowGM3, highGM3 float64, open bool, err error) {
	if class < 1 || class > Highest || !(outdoorC >= -60 && outdoorC <= 60) {
		return 0, 0, 0, 0, false, fmt.Errorf("%w: class %d at %g C outdoors, want 1..5 and -60..60 C", ErrInput, class,
			outdoorC)
	}
	f, k := relief(outdoorC), float64(class)
	lowPa, lowGM3 = classStepPa*(k-1)*f, classStepGM3*(k-1)*f
	if class == Highest {
		return lowPa, 0, lowGM3, 0, true, nil
	}
	return lowPa, classStepPa * k * f, lowGM3, classStepGM3 * k * f, false, nil
}

// ClassOf is the humidity class (1..5) of an excess in Pa at an outdoor
// temperature in C. An excess at a bound belongs to the drier class, one below 0
// to class 1. From 20 C outdoors up the classes have closed up and there is no
// answer: an error.
func ClassOf(excessPa, outdoorC float64) (int, error) {
	if !(outdoorC >= -60 && outdoorC < classEndC) || math.IsNaN(excessPa) || math.IsInf(excessPa, 0) {
		return 0, fmt.Errorf("%w: class of %g Pa at %g C outdoors, want -60 C to under 20 C", ErrInput, excessPa, outdoorC)
	}
	c := int(math.Ceil(excessPa/(classStepPa*relief(outdoorC)) - 1e-9))
	return min(max(c, 1), Highest), nil
}

// ClassUse is what the two editions of the standard place in a class.
func ClassUse(class int) string {
	switch class {
	case 1:
		return "2001: storage; 2012: unoccupied buildings, storage of dry goods"
	case 2:
		return "2001: offices, shops; 2012: offices, dwellings with normal occupancy and ventilation"
	case 3:
		return "2001: dwellings with low occupancy; 2012: buildings with unknown occupancy"
	case 4:
		return "2001: dwellings with high occupancy, sports halls, kitchens, canteens; 2012: sports halls, kitchens, canteens"
	case 5:
		return "laundries, breweries, swimming pools"
	}
	return ""
}

// SupplyGM3 is the moisture supply in g/m3 that an excess in Pa means in air of
// tempC (-60..60 C): 1000 dp/(R_v T). A negative excess gives a negative supply.
func SupplyGM3(excessPa, tempC float64) (float64, error) {
	if !(tempC >= -60 && tempC <= 60) || !(math.Abs(excessPa) <= 2e5) {
		return 0, fmt.Errorf("%w: moisture supply of %g Pa at %g C, want -60..60 C", ErrInput, excessPa, tempC)
	}
	return 1000 * excessPa / (psychro.GasVapour * (tempC + psychro.KelvinC)), nil
}

// LoftShare is the share f of house air in the loft's moisture, by mixing ratios
// in kg/kg (two-source mixing at steady state):
//
//	f = (W_loft - W_out)/(W_house - W_out)
//
// Never with g/m3 of airs at different temperatures, which reads a tenth too
// high. Needs the house at least minRatioGap above outdoors.
func LoftShare(outdoor, house, loft float64) (float64, error) {
	for _, w := range []float64{outdoor, house, loft} {
		if !(w >= 0 && w < 1) {
			return 0, fmt.Errorf("%w: mixing ratio of %g kg/kg", ErrInput, w)
		}
	}
	if house-outdoor < minRatioGap {
		return 0, fmt.Errorf("%w: the house holds only %.2f g/kg more than outdoors, which cannot carry a share: want "+
			"%.1f or more", ErrInput, 1000*(house-outdoor), 1000*minRatioGap)
	}
	return (loft - outdoor) / (house - outdoor), nil
}

// minRatioGap in kg/kg: under it logger errors swamp the share.
const minRatioGap = 0.5e-3
