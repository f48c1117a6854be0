// Package vapour computes the vapour-pressure picture of a house: how far each
// body of air lies above outdoors, the humidity class of the rooms, the
// moisture supply, and the share of house air in the loft. It takes hourly
// means and returns figures with their uncertainty.
package vapour

import (
	"errors"
	"fmt"
	"math"
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

// minRatioGap in kg/kg: under it logger errors swamp the share.
const minRatioGap = 0.5e-3
