package psychro

import (
	"fmt"
	"math"
)

// Constants of EN ISO 13788:2012, Annex E, eqs E.7-E.10 (the Tetens/Murray
// family). Used for the standard's own calculations and nowhere else.
const (
	isoPa     = 610.5
	isoWaterA = 17.269
	isoWaterB = 237.3
	isoIceA   = 21.875
	isoIceB   = 265.5
)

// ISO13788SatPa is the saturation pressure of EN ISO 13788:2012, Annex E, in Pa,
// for the standard's calculations only; over water from 0 C up, over ice below.
// tempC -90..100 C:
//
//	p_s = 610.5 exp(17.269 t / (237.3 + t))   t >= 0
//	p_s = 610.5 exp(21.875 t / (265.5 + t))   t <  0
//
// Within 0.2 % of IAPWS over water 0..60 C; over ice 0.5 % low at -20 C and
// 1.9 % low at -40 C, which is the standard's own.
func ISO13788SatPa(tempC float64) (float64, error) {
	if err := checkTemp("saturation pressure of ISO 13788", tempC); err != nil {
		return 0, err
	}
	if tempC >= 0 {
		return isoPa * math.Exp(isoWaterA*tempC/(isoWaterB+tempC)), nil
	}
	return isoPa * math.Exp(isoIceA*tempC/(isoIceB+tempC)), nil
}

// ISO13788DewPointC inverts ISO13788SatPa (Annex E, eqs E.9 and E.10): the
// dew point in C from 610.5 Pa up, the frost point below. vapourPa in Pa, more
// than 0 and under 100 kPa.
func ISO13788DewPointC(vapourPa float64) (float64, error) {
	if !(vapourPa > 0 && vapourPa < 1e5) {
		return 0, fmt.Errorf("dew point of ISO 13788 at %g Pa: vapour pressure %w (more than 0, under 100 kPa)", vapourPa,
			ErrRange)
	}
	g := math.Log(vapourPa / isoPa)
	if g >= 0 {
		return isoWaterB * g / (isoWaterA - g), nil
	}
	return isoIceB * g / (isoIceA - g), nil
}

// SurfaceRHPct is the relative humidity in % over liquid water that air of the
// vapour pressure in Pa (0..200 kPa) takes at a surface of the temperature in C
// (-90..100): 100 e / e_w(Ts). Above 100 the surface takes on water; the value
// is not clipped, so that it says how far. (EN ISO 13788:2012, eq. 3, with the
// saturation pressure of SatWaterPa.)
func SurfaceRHPct(vapourPa, surfaceC float64) (float64, error) {
	if err := checkState("surface humidity", surfaceC, vapourPa); err != nil {
		return 0, err
	}
	return 100 * vapourPa / SatWaterPa(surfaceC), nil
}

// SurfaceRHIcePct is SurfaceRHPct over ice, for a surface at or below 0 C.
func SurfaceRHIcePct(vapourPa, surfaceC float64) (float64, error) {
	if err := checkState("surface humidity over ice", surfaceC, vapourPa); err != nil {
		return 0, err
	}
	if surfaceC > 0 {
		return 0, fmt.Errorf("surface humidity over ice at %g C: temperature %w (there is no ice above 0 C)", surfaceC,
			ErrRange)
	}
	return 100 * vapourPa / SatIcePa(surfaceC), nil
}

// TemperatureFactor is f_Rsi = (Tsi - Te) / (Ti - Te) (EN ISO 13788:2012, eq. 1;
// dimensionless), of a surface between indoor and outdoor air, all in C. It is
// defined only where indoors is at least 1 K above outdoors.
func TemperatureFactor(surfaceC, indoorC, outdoorC float64) (float64, error) {
	for _, t := range []float64{surfaceC, indoorC, outdoorC} {
		if err := checkTemp("temperature factor", t); err != nil {
			return 0, err
		}
	}
	if !(indoorC-outdoorC >= 1) {
		return 0, fmt.Errorf("temperature factor between %g C indoors and %g C outdoors: difference %w (1 K or more)",
			indoorC, outdoorC, ErrRange)
	}
	return (surfaceC - outdoorC) / (indoorC - outdoorC), nil
}

// Limits of the humidity at a surface as a share of saturation (EN ISO
// 13788:2012, clauses 5.1 and 5.4; the second and third from memory).
const (
	SurfaceRHMould        = 0.8 // building surfaces, several days
	SurfaceRHCorrosion    = 0.6 // corrosion-sensitive surfaces
	SurfaceRHCondensation = 1.0 // light elements such as window frames
)

// MinSurfaceTempC is the lowest surface temperature in C at which air of
// indoorC and rhPct stays at or under the given share of saturation at the
// surface (0.3..1): the inverse of ISO 13788's saturation pressure at e/limit
// (EN ISO 13788:2012, clause 5.3). Indoor temperature 0..40 C, rhPct 1..100 %.
func MinSurfaceTempC(indoorC, rhPct, surfaceRH float64) (float64, error) {
	if !(indoorC >= 0 && indoorC <= 40 && rhPct >= 1 && rhPct <= 100 && surfaceRH >= 0.3 && surfaceRH <= 1) {
		return 0, fmt.Errorf("lowest surface temperature for %g C, %g %%RH at a limit of %g: %w (0..40 C, 1..100 %%, 0.3..1)",
			indoorC, rhPct, surfaceRH, ErrRange)
	}
	sat, err := ISO13788SatPa(indoorC)
	if err != nil {
		return 0, err
	}
	return ISO13788DewPointC(sat * rhPct / 100 / surfaceRH)
}

// FactorLimit is the temperature factor a use of a building asks for.
type FactorLimit struct {
	Use    string
	Min    float64
	Source string
}

// FactorLimits lists published lower limits of the temperature factor. The
// British figures (BRE IP 1/06) are from memory and to be confirmed.
func FactorLimits() []FactorLimit {
	const bre = "BRE IP 1/06 (from memory)"
	return []FactorLimit{
		{"storage buildings", 0.30, bre},
		{"offices, retail premises", 0.50, bre},
		{"dwellings, residential, schools", 0.75, bre},
		{"sports halls, kitchens, canteens, un-flued gas heaters", 0.80, bre},
		{"swimming pools, laundries, breweries", 0.90, bre},
		{"dwellings, Germany", 0.70, "DIN 4108-2: 20 C / 50 % indoors, -5 C outdoors, 80 % at the surface"},
	}
}
