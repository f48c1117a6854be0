package evidence

import (
	"math"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// Error is what is believed about a logger's standing error of one quantity, in
// K or %RH, the same at all its readings: a side-by-side check decides where
// there is one, the maker's accuracy otherwise. The error that a probe gathers
// over the months is within what the maker states.
type Error struct {
	Limit  float64 // half-width of a rectangular distribution, or the standard uncertainty of a normal one
	Normal bool
}

// Standard returns the standard uncertainty, in the unit of the quantity.
func (e Error) Standard() float64 {
	if e.Normal {
		return e.Limit
	}
	return e.Limit / math.Sqrt(3) // a rectangular distribution's standard deviation
}

// HalfWidth returns the half-width of the rectangular distribution that is as
// wide.
func (e Error) HalfWidth() float64 {
	if e.Normal {
		return e.Limit * math.Sqrt(3)
	}
	return e.Limit
}

// ErrorOf returns the error of a quantity (TempC or RHPct) in the time that a
// logger spent at a position; ok is false where nothing is known of it.
func ErrorOf(s series.Stint, q roof.Quantity) (e Error, ok bool) {
	if e, ok := CheckError(s, q); ok {
		return e, true
	}
	return errorFrom(s, pick(q, s.Accuracy.TempC, s.Accuracy.RHPct))
}

// CheckError returns the error that a side-by-side check left; ok is false where
// there was none.
func CheckError(s series.Stint, q roof.Quantity) (e Error, ok bool) {
	return errorFrom(s, pick(q, s.Offset.TempUncC, s.Offset.RHUncPct))
}

func pick(q roof.Quantity, tempC, rhPct *float64) *float64 {
	if q == roof.RHPct {
		return rhPct
	}
	return tempC
}

func errorFrom(s series.Stint, limit *float64) (Error, bool) {
	if limit == nil {
		return Error{}, false
	}
	if s.Accuracy.K > 0 {
		return Error{*limit / s.Accuracy.K, true}, true
	}
	return Error{Limit: *limit}, true
}

// StintAt finds the time at a position that a moment belongs to, as an index: the
// latest that had begun, or the first.
func StintAt(stints []series.Stint, ms int64) int {
	for i := len(stints) - 1; i > 0; i-- {
		if ms >= stints[i].FromMS {
			return i
		}
	}
	return 0
}

// Standard returns the standard uncertainty of a position's readings of a
// quantity, that of its least certain logger; ok is false where it has none or
// one of them says nothing.
func Standard(stints []series.Stint, q roof.Quantity) (u float64, ok bool) {
	for _, s := range stints {
		e, known := ErrorOf(s, q)
		if !known {
			return 0, false
		}
		u = math.Max(u, e.Standard())
	}
	return u, len(stints) > 0
}

// VapourUncPa returns the standard uncertainty of a mean vapour pressure in Pa, of
// air at tempC, from those of temperature (K) and humidity (%RH):
//
//	u(p)^2 = (p dln psat/dT u(T))^2 + (psat u(RH)/100)^2
func VapourUncPa(vapourPa, tempC, uTempC, uRHPct float64) float64 {
	return math.Hypot(vapourPa*psychro.LogSlopeWater(tempC)*uTempC, psychro.SatWaterPa(tempC)*uRHPct/100)
}

// LimitSlopes returns how far the limit of air (psychro.LimitC) moves with a
// standing error of its temperature, in K per K, and of its humidity, in K per
// %RH, at airC, airPa and the humidity rhPct that they give: from p = RH/100
// psat(T) and the slope of the limit over p.
func LimitSlopes(airC, airPa, rhPct float64) (perK, perPct float64) {
	const step, leastPct = 1e-4, 0.1
	p := math.Max(airPa, psychro.FloorPa)
	perLn := (psychro.LimitC(p*(1+step)) - psychro.LimitC(p*(1-step))) / (2 * step)
	return perLn * psychro.LogSlopeWater(airC), perLn / math.Max(rhPct, leastPct)
}
