package psychro

import (
	"fmt"
	"math"
)

// LogSlopeWater is s_w(t) = d ln e_w / dt of SatWaterPa, per K:
//
//	s_w = 17.62 * 243.12 / (243.12 + t)^2
//
// The derivative of the Magnus form (WMO-No. 8, Annex 4.B). Total for
// t > -243.12 C.
func LogSlopeWater(tempC float64) float64 {
	d := magnusWaterB + tempC
	return magnusWaterA * magnusWaterB / (d * d)
}

// LogSlopeIce is s_i(t) = d ln e_i / dt of SatIcePa, per K:
//
//	s_i = 22.46 * 272.62 / (272.62 + t)^2
//
// Total for t > -272.62 C.
func LogSlopeIce(tempC float64) float64 {
	d := magnusIceB + tempC
	return magnusIceA * magnusIceB / (d * d)
}

// Sensitivity says how far a derived temperature moves with what the probe
// reads: both partial derivatives at one state of the air.
type Sensitivity struct {
	PerK   float64 // K per K of air temperature
	PerPct float64 // K per %RH
}

// UncertaintyK is the standard uncertainty in K of the derived temperature for
// standard uncertainties of the probe, first order (JCGM 100:2008, eq. 10,
// independent inputs):
//
//	u^2 = (PerK u_T)^2 + (PerPct u_RH)^2
func (s Sensitivity) UncertaintyK(tempK, rhPct float64) float64 {
	return math.Hypot(s.PerK*tempK, s.PerPct*rhPct)
}

// DewPointSensitivity gives the derivatives of the dew point over water of air
// at tempC (-90..100 C) and rhPct (more than 0, up to 105 %, above 100 counts
// as 100): with s the logarithmic slope over water,
//
//	dTd/dT = s(T) / s(Td),   dTd/dRH = 1 / (RH s(Td))
//
// Against central differences of the reference equations the first agrees
// within 0.004 and the second within 1 % over -5..20 C, 40..99 %RH.
func DewPointSensitivity(tempC, rhPct float64) (Sensitivity, error) {
	e, err := vapourAboveZero(tempC, rhPct)
	if err != nil {
		return Sensitivity{}, err
	}
	td, err := DewPointC(e)
	if err != nil {
		return Sensitivity{}, err
	}
	return sensitivity(tempC, rhPct, LogSlopeWater(td)), nil
}

// FrostPointSensitivity gives the derivatives of the frost point over ice of
// air at tempC and rhPct over water, as DewPointSensitivity with the slope over
// ice at the frost point.
func FrostPointSensitivity(tempC, rhPct float64) (Sensitivity, error) {
	e, err := vapourAboveZero(tempC, rhPct)
	if err != nil {
		return Sensitivity{}, err
	}
	tf, err := FrostPointC(e)
	if err != nil {
		return Sensitivity{}, err
	}
	return sensitivity(tempC, rhPct, LogSlopeIce(tf)), nil
}

// LimitSensitivity gives the derivatives of LimitC, the temperature at which a
// surface in this air wets: those of the frost point below IceBranchPa, those
// of the dew point from there up. LimitC itself is continuous at the joint; its
// slope steps by LogSlopeWater(0)/LogSlopeIce(0) = 0.88 there.
func LimitSensitivity(tempC, rhPct float64) (Sensitivity, error) {
	e, err := vapourAboveZero(tempC, rhPct)
	if err != nil {
		return Sensitivity{}, err
	}
	if e < IceBranchPa {
		return FrostPointSensitivity(tempC, rhPct)
	}
	return DewPointSensitivity(tempC, rhPct)
}

// LimitSlope is dLimitC/d ln e in K at a vapour pressure in Pa: 1/s of the
// branch in force. Total: under FloorPa, where LimitC stands still, it is 0.
func LimitSlope(vapourPa float64) float64 {
	switch {
	case !(vapourPa > FloorPa):
		return 0
	case vapourPa < IceBranchPa:
		return 1 / LogSlopeIce(LimitC(vapourPa))
	default:
		return 1 / LogSlopeWater(LimitC(vapourPa))
	}
}

func sensitivity(tempC, rhPct, slope float64) Sensitivity {
	return Sensitivity{PerK: LogSlopeWater(tempC) / slope, PerPct: 1 / (math.Min(rhPct, 100) * slope)}
}

func vapourAboveZero(tempC, rhPct float64) (float64, error) {
	e, err := VapourPressurePa(tempC, rhPct)
	if err != nil {
		return 0, err
	}
	if !(e > 0) {
		return 0, fmt.Errorf("sensitivity at %g %%RH: humidity %w (more than 0)", rhPct, ErrRange)
	}
	return e, nil
}
