// Package timber estimates the moisture content of wood. It gives the
// equilibrium moisture content at the surface, the lagging moisture content of
// a batten or rafter of its real thickness, and the weeks above the trade's
// limits. It takes spells and returns courses and weeks.
package timber

import (
	"errors"
	"fmt"
	"math"
)

// ErrRange is wrapped by every error about an argument outside the formula.
var ErrRange = errors.New("outside the range of the wood formula")

// ColdestTableC is the lower end of the published table in C; EMCPct takes
// colder wood as this.
const ColdestTableC = -1.0

// EquationPct is the equilibrium moisture content in % of dry mass by the
// Hailwood-Horrobin equation with two hydrates (Wood Handbook, FPL-GTR-282, ch.
// 4, eq. 4-5; t in C, h = RH/100):
//
//	EMC = (1800/W) [K h/(1 - K h) + (K1 K h + 2 K1 K2 K^2 h^2)/(1 + K1 K h + K1 K2 K^2 h^2)]
//	W  = 349 + 1.29 t + 0.0135 t^2       K  = 0.805 + 0.000736 t - 0.00000273 t^2
//	K1 = 6.27 - 0.00938 t - 0.000303 t^2  K2 = 1.91 + 0.0407 t - 0.000293 t^2
//
// tempC -40..100 C (the published table begins at -1.1 C; colder extrapolates,
// and the curve then falls with cold), rhPct 0..100 %. Within 0.06 % mc of the
// published table -1..54 C. Real softwoods scatter by +-1 % mc; wood that dries
// lies 1 to 3 % mc above wood that wets (from memory).
func EquationPct(tempC, rhPct float64) (float64, error) {
	if !(tempC >= -40 && tempC <= 100 && rhPct >= 0 && rhPct <= 100) {
		return 0, fmt.Errorf("moisture content of wood at %g C and %g %%RH: %w (-40..100 C, 0..100 %%)", tempC, rhPct,
			ErrRange)
	}
	return equation(tempC, rhPct), nil
}

func equation(t, rhPct float64) float64 {
	h := rhPct / 100
	w := 349 + t*(1.29+0.0135*t)
	k := 0.805 + t*(0.000736-0.00000273*t)
	k1 := 6.27 + t*(-0.00938-0.000303*t)
	k2 := 1.91 + t*(0.0407-0.000293*t)
	kh := k * h
	return 1800 / w * (kh/(1-kh) + (k1*kh+2*k1*k2*kh*kh)/(1+k1*kh+k1*k2*kh*kh))
}

// EMCPct is EquationPct with the temperature taken as ColdestTableC where it is
// colder, because there is no table to hold the extrapolation against.
// tempC -90..100 C, rhPct 0..100 %.
func EMCPct(tempC, rhPct float64) (float64, error) {
	if !(tempC >= -90) {
		return 0, fmt.Errorf("moisture content of wood at %g C: %w (-90..100 C)", tempC, ErrRange)
	}
	return EquationPct(math.Max(tempC, ColdestTableC), rhPct)
}

// CeilingPct is the usual trade ceiling of wood moisture content in % of dry mass
// (Eurocode 5, service class 2 for most softwoods).
const CeilingPct = 20.0

const (
	hoursInWeek      = 168.0
	millisecondsHour = 3.6e6
)
