// Package psychro is the physics of moist air: saturation pressures, dew and
// frost points and the quantities derived from them, each with its source,
// range and stated accuracy. It knows nothing of roofs, loggers or time.
//
// Conventions: temperatures are in degrees Celsius, pressures in pascal,
// relative humidity in per cent over liquid water at every temperature
// (WMO-No. 8, Annex 4.B; what capacitive probes report). Functions whose
// argument can lie outside the physics return an error. Those marked total are
// finite for every finite temperature a reading can carry (-90..100 C).
package psychro

import (
	"errors"
	"fmt"
	"math"
)

// Magnus constants of WMO-No. 8 (2008 edition on), Annex 4.B, after Sonntag 1990.
const (
	magnusPa     = 611.2
	magnusWaterA = 17.62
	magnusWaterB = 243.12
	magnusIceA   = 22.46
	magnusIceB   = 272.62
)

// IceBranchPa is the vapour pressure below which the limit of a surface is the
// frost point; the two Magnus branches meet there, at 0 C, so that the limit is
// continuous.
const IceBranchPa = magnusPa

// FloorPa is the vapour pressure at which LimitC stops falling: air this dry
// wets nothing, and its logarithm must not run away.
const FloorPa = 1e-3

// ErrRange is wrapped by every error about an argument outside the physics.
var ErrRange = errors.New("outside the range of the formula")

// SatWaterPa is the saturation vapour pressure over liquid water, also below
// 0 C (supercooled), in Pa, by the Magnus form of WMO-No. 8, Annex 4.B:
//
//	e_w = 611.2 exp(17.62 t / (243.12 + t))
//
// Total for t > -243.12 C; stated range -45..60 C. Against the reference
// equations within 0.6 % from -40, 0.4 % from -20 C up.
func SatWaterPa(tempC float64) float64 {
	return magnusPa * math.Exp(magnusWaterA*tempC/(magnusWaterB+tempC))
}

// SatIcePa is the saturation vapour pressure over ice in Pa, by the Magnus form
// of WMO-No. 8, Annex 4.B:
//
//	e_i = 611.2 exp(22.46 t / (272.62 + t))
//
// Total for t > -272.62 C; stated range -65..0 C. Against IAPWS R14-08 within
// 0.07 % over -40..0 C.
func SatIcePa(tempC float64) float64 {
	return magnusPa * math.Exp(magnusIceA*tempC/(magnusIceB+tempC))
}

// SatSurfacePa is the saturation pressure at a wet or frosted surface in Pa:
// over ice below 0 C, over water from 0 C up. The branches meet at 0 C.
func SatSurfacePa(tempC float64) float64 {
	if tempC < 0 {
		return SatIcePa(tempC)
	}
	return SatWaterPa(tempC)
}

// VapourPressurePa is the partial pressure of water vapour in Pa of air at
// tempC (-90..100 C) and rhPct over liquid water (0..105 %; above 100 counts as
// 100, a probe's overshoot and not supersaturated air).
func VapourPressurePa(tempC, rhPct float64) (float64, error) {
	if tempC >= -90 && tempC <= 100 && rhPct >= 0 && rhPct <= 105 {
		return SatWaterPa(tempC) * min(rhPct, 100) / 100, nil
	}
	return 0, airRange(tempC, rhPct)
}

// airRange says which of the two is out of range. Errors are made out of line so
// that the arithmetic before them inlines.
func airRange(tempC, rhPct float64) error {
	if !(tempC >= -90 && tempC <= 100) {
		return fmt.Errorf("vapour pressure at %g C: temperature %w (-90..100 C)", tempC, ErrRange)
	}
	return fmt.Errorf("vapour pressure at %g %%RH: humidity %w (0..105 %%)", rhPct, ErrRange)
}

func pressureRange(what string, vapourPa float64) error {
	return fmt.Errorf("%s of %g Pa: vapour pressure %w (more than 0, under 200 kPa)", what, vapourPa, ErrRange)
}

// DewPointC is the dew point over liquid water at every temperature, in C, of
// air with the vapour pressure in Pa (more than 0): the inverse of SatWaterPa,
//
//	t_d = 243.12 g / (17.62 - g),  g = ln(e / 611.2)
//
// Worst |error| in K against the reference equations (Wagner & Pruss, IAPWS
// SR1-86; Murphy & Koop 2005 under 0 C; IAPWS R14-08 over ice), with e from
// VapourPressurePa, by air temperature in C and relative humidity; the last
// column is FrostPointC at any humidity from 5 % up. A test recomputes it.
//
//	air t       5..25 %RH  25..60 %  60..100 %     frost
//	-30..-20        0.101     0.021     0.007     0.041
//	-20..-10        0.058     0.025     0.013     0.037
//	-10..0          0.051     0.040     0.018     0.023
//	0..10           0.066     0.045     0.018     0.021
//	10..20          0.076     0.045     0.017     0.035
//	20..35          0.076     0.040     0.013     0.039
//	35..50          0.063     0.044     0.034     0.035
func DewPointC(vapourPa float64) (float64, error) {
	if !(vapourPa > 0 && vapourPa < 2e5) {
		return 0, pressureRange("dew point", vapourPa)
	}
	g := math.Log(vapourPa / magnusPa)
	return magnusWaterB * g / (magnusWaterA - g), nil
}

// FrostPointC is the frost point over ice in C of air with the vapour pressure
// in Pa (more than 0): the inverse of SatIcePa.
func FrostPointC(vapourPa float64) (float64, error) {
	if !(vapourPa > 0 && vapourPa < 2e5) {
		return 0, pressureRange("frost point", vapourPa)
	}
	g := math.Log(vapourPa / magnusPa)
	return magnusIceB * g / (magnusIceA - g), nil
}

// LimitC is the surface temperature in C at or below which a surface in air of
// this vapour pressure (Pa) wets: the frost point below IceBranchPa, the dew
// point above, continuous. Total: a pressure under FloorPa counts as FloorPa.
func LimitC(vapourPa float64) float64 {
	g := math.Log(math.Max(vapourPa, FloorPa) / magnusPa)
	if g < 0 {
		return magnusIceB * g / (magnusIceA - g)
	}
	return magnusWaterB * g / (magnusWaterA - g)
}
