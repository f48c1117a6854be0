// Package mould runs the VTT mould growth model on a surface's record and
// tests the result against ANSI/ASHRAE 160-2016. It takes spells of surface
// temperature and humidity and returns the course of the index and the
// verdict. It says how favourable conditions were for mould, not that mould
// grew.
package mould

import (
	"errors"
	"fmt"
	"math"
)

// ErrRange is wrapped by every error about an argument outside the model.
var ErrRange = errors.New("outside the mould model")

// Class is how readily a material grows mould.
type Class string

// The sensitivity classes of Ojanen et al. 2010, as a case file names them.
const (
	VerySensitive   Class = "very_sensitive"   // untreated pine sapwood
	Sensitive       Class = "sensitive"        // planed timber, wood-based and paper-faced boards
	MediumResistant Class = "medium_resistant" // cement and plastic based materials, mineral fibre
	Resistant       Class = "resistant"        // glass, metal, products with efficient protection
)

// Parameters are the constants of one class (Ojanen et al. 2010, as adopted by
// ANSI/ASHRAE 160-2016; written from memory and to be confirmed on paper).
type Parameters struct {
	K1Below, K1From float64 // growth intensity for an index below 1, and from 1 up
	A, B, C         float64 // of the largest index
	MinRHPct        float64
	Decline         float64 // C_mat: the index's decline relative to pine
}

// ParametersOf gives a class its constants. The decline classes of the paper
// (1, 0.5, 0.25, 0.1) are given to the sensitivity classes in the same order,
// which is this program's choice: the paper measured too few materials to say.
func ParametersOf(c Class) (Parameters, error) {
	switch c {
	case VerySensitive:
		return Parameters{1, 2, 1, 7, 2, 80, 1}, nil
	case Sensitive:
		return Parameters{0.578, 0.386, 0.3, 6, 1, 80, 0.5}, nil
	case MediumResistant:
		return Parameters{0.072, 0.097, 0, 5, 1.5, 85, 0.25}, nil
	case Resistant:
		return Parameters{0.033, 0.014, 0, 3, 1, 85, 0.1}, nil
	}
	return Parameters{}, fmt.Errorf("%w: sensitivity class %q, want %s, %s, %s or %s", ErrRange, c, VerySensitive,
		Sensitive, MediumResistant, Resistant)
}

// ashraeDecline is the decline that ANSI/ASHRAE 160-2016 uses for materials
// without a measured one (from memory).
const ashraeDecline = 0.1

// CriticalRHPct is the humidity in % over water from which mould grows at tempC
// (Hukka & Viitanen 1999, eq. 1, with the class's minimum of Ojanen et al. 2010):
//
//	RHcrit = max(RHmin, -0.00267 T^3 + 0.160 T^2 - 3.13 T + 100)   0 < T <= 20
//	RHcrit = RHmin                                                  T > 20
//	RHcrit = 100                                                    T <= 0
//
// The bare cubic dips to 79.91 % between 15.3 and 19.4 C and ends at 80.04 % at
// 20 C, hence the maximum. Total; the model is stated for 0..50 C.
func (p Parameters) CriticalRHPct(tempC float64) float64 {
	switch {
	case tempC <= 0:
		return 100
	case tempC > 20:
		return p.MinRHPct
	default:
		return math.Max(p.MinRHPct, Cubic(tempC))
	}
}

// Cubic is the bare polynomial of CriticalRHPct in %, for 0..20 C.
func Cubic(tempC float64) float64 {
	return ((-0.00267*tempC+0.160)*tempC-3.13)*tempC + 100
}

// weeksToOne is t_m, the weeks in which the index of pine reaches 1 at constant
// tempC (more than 0, up to 50 C) and rhPct (Hukka & Viitanen 1999, eq. 2; pine,
// resawn: W = SQ = 0):
//
//	t_m = exp(-0.68 ln T - 13.9 ln RH + 66.02)
func weeksToOne(tempC, rhPct float64) float64 {
	return math.Exp(-0.68*math.Log(tempC) - 13.9*math.Log(rhPct) + 66.02)
}

// LargestIndex is Mmax, where growth stops at constant conditions (Hukka &
// Viitanen 1999, eq. 5; constants of the class):
//
//	Mmax = A + B x - C x^2,  x = (RHcrit - RH)/(RHcrit - 100)
//
// 0 below RHcrit and at 0 C or colder. Total for 0..100 %RH.
func (p Parameters) LargestIndex(tempC, rhPct float64) float64 {
	critical := p.CriticalRHPct(tempC)
	if tempC <= 0 || rhPct < critical || critical > 99.999 {
		return 0 // the last: within 1e-5 K of 0 C, where x is 0/0
	}
	x := (critical - rhPct) / (critical - 100)
	return math.Max(0, p.A+p.B*x-p.C*x*x)
}

// Grow is the index after some days at constant tempC and rhPct, from the index
// before. It solves, exactly (Hukka & Viitanen 1999, eqs 4-6; k1 of the class),
//
//	dM/dt = k1 k2 / (7 t_m) per day,  k2 = max(1 - exp(2.3 (M - Mmax)), 0)
//	exp(-2.3 (M - Mmax)) - 1 = [exp(-2.3 (M0 - Mmax)) - 1] exp(-2.3 k1 t/(7 t_m))
//
// in two stretches where M passes 1 and k1 changes. Below RHcrit, at 0 C or
// colder, and above Mmax the index does not grow and index is returned as it is.
// Temperatures above 50 C count as 50 C. index 0..6, days 0 or more.
func (p Parameters) Grow(index, days, tempC, rhPct float64) float64 {
	if tempC <= 0 || rhPct < p.CriticalRHPct(tempC) {
		return index
	}
	most := p.LargestIndex(tempC, rhPct)
	if index >= most {
		return index
	}
	perDay := 2.3 / (7 * weeksToOne(math.Min(tempC, 50), rhPct))
	if index < 1 {
		if most <= 1 {
			return approach(index, most, perDay*p.K1Below*days)
		}
		toOne := reach(index, 1, most) / (perDay * p.K1Below)
		if days <= toOne {
			return approach(index, most, perDay*p.K1Below*days)
		}
		index, days = 1, days-toOne
	}
	return approach(index, most, perDay*p.K1From*days)
}

// approach is the closed form, x = 2.3 k1 t/(7 t_m).
func approach(index, most, x float64) float64 {
	u := math.Expm1(2.3*(most-index)) * math.Exp(-x)
	return most - math.Log1p(u)/2.3
}

// reach is the x at which the closed form passes an index below the largest.
func reach(from, to, most float64) float64 {
	return math.Log(math.Expm1(2.3*(most-from)) / math.Expm1(2.3*(most-to)))
}

// Rates of the decline of pine in a dry spell, index per hour (Hukka & Viitanen
// 1999, eq. 7): in the first 6 hours and after 24; nothing in between.
const (
	declineFirst = 0.032 / 24
	declineLater = 0.016 / 24
)

// Declined is how much the index of pine falls over the dry hours from h0 to h1
// of one dry spell, times the material's coefficient (0..1). 0 <= h0 <= h1.
func Declined(h0, h1, coefficient float64) float64 {
	fallen := func(h float64) float64 {
		return declineFirst*math.Min(h, 6) + declineLater*math.Max(h-24, 0)
	}
	return coefficient * (fallen(h1) - fallen(h0))
}

// Words says what an index means (Viitanen & Ritschkoff 1991).
func Words(index float64) string {
	switch i := int(math.Floor(index)); {
	case i < 1:
		return "no growth"
	case i == 1:
		return "small amounts, seen with a microscope only"
	case i == 2:
		return "several local colonies, seen with a microscope only"
	case i == 3:
		return "visible on less than 10 % of the surface"
	case i == 4:
		return "visible on 10 to 50 % of the surface"
	case i == 5:
		return "visible on more than half of the surface"
	default:
		return "heavy, on the whole surface"
	}
}
