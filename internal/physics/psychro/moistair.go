package psychro

import (
	"fmt"
	"math"
)

// Constants of moist air.
const (
	// KelvinC is 0 C in K (BIPM SI brochure).
	KelvinC = 273.15
	// GasVapour is the gas constant of water vapour in J/(kg K), R / 18.015268
	// g/mol (IAPWS; ASHRAE Handbook Fundamentals 2017, ch. 1, eq. 2).
	GasVapour = 461.523
	// GasDryAir is the gas constant of dry air in J/(kg K), R / 28.966 g/mol
	// (ASHRAE Handbook Fundamentals 2017, ch. 1, eq. 1).
	GasDryAir = 287.042
	// MassRatio is the ratio of the molar masses of water and dry air (ASHRAE
	// Fundamentals 2017, ch. 1, eq. 20).
	MassRatio = 0.621945
	// StandardPressurePa is the pressure at sea level of the standard
	// atmosphere (ISO 2533).
	StandardPressurePa = 101325.0
)

// PressureAtAltitudePa is the station pressure in Pa of the standard atmosphere
// at an altitude in m (-500..11000), ISO 2533; ASHRAE Fundamentals 2017, ch. 1,
// eq. 3:
//
//	p = 101325 (1 - 2.25577e-5 z)^5.2559
//
// Within 1 Pa of the printed table. Weather moves the real pressure by +-3 %.
func PressureAtAltitudePa(altitudeM float64) (float64, error) {
	if !(altitudeM >= -500 && altitudeM <= 11000) {
		return 0, fmt.Errorf("pressure at %g m: altitude %w (-500..11000 m)", altitudeM, ErrRange)
	}
	return StandardPressurePa * math.Pow(1-2.25577e-5*altitudeM, 5.2559), nil
}

// TemperatureAtAltitudeC is the temperature in C of the standard atmosphere at
// an altitude in m (-500..11000), ISO 2533: 15 - 0.0065 z.
func TemperatureAtAltitudeC(altitudeM float64) (float64, error) {
	if !(altitudeM >= -500 && altitudeM <= 11000) {
		return 0, fmt.Errorf("temperature at %g m: altitude %w (-500..11000 m)", altitudeM, ErrRange)
	}
	return 15 - 0.0065*altitudeM, nil
}

// MixingRatio is the mass of vapour per mass of dry air in kg/kg (ASHRAE
// Fundamentals 2017, ch. 1, eq. 20), of air with the vapour pressure and total
// pressure in Pa (0 <= e < p):
//
//	W = 0.621945 e / (p - e)
//
// Ideal gas: 0.4..0.6 % under the real-gas tables of ASHRAE (enhancement factor).
func MixingRatio(vapourPa, pressurePa float64) (float64, error) {
	if err := checkPressures("mixing ratio", vapourPa, pressurePa); err != nil {
		return 0, err
	}
	return MassRatio * vapourPa / (pressurePa - vapourPa), nil
}

// VapourFromMixingRatioPa is the vapour pressure in Pa of air with the mixing
// ratio in kg/kg (0..1) at the total pressure in Pa, the inverse of MixingRatio.
func VapourFromMixingRatioPa(ratio, pressurePa float64) (float64, error) {
	if !(ratio >= 0 && ratio <= 1) || !(pressurePa > 0 && pressurePa <= 2e5) {
		return 0, fmt.Errorf("vapour pressure of %g kg/kg at %g Pa: %w (0..1 kg/kg, up to 200 kPa)", ratio, pressurePa,
			ErrRange)
	}
	return pressurePa * ratio / (MassRatio + ratio), nil
}

// AbsoluteHumidityGM3 is the mass of vapour in a cubic metre of air in g/m3
// (ideal gas), of air at tempC (-90..100 C) with the vapour pressure in Pa
// (0..200 kPa):
//
//	v = 1000 e / (461.523 T),  T in K
//
// Do not average or mix it between airs of different temperature: use
// MixingRatio.
func AbsoluteHumidityGM3(tempC, vapourPa float64) (float64, error) {
	if err := checkState("absolute humidity", tempC, vapourPa); err != nil {
		return 0, err
	}
	return 1000 * vapourPa / (GasVapour * (tempC + KelvinC)), nil
}

// EnthalpyJKg is the enthalpy of moist air in J per kg of dry air (ASHRAE
// Fundamentals 2017, ch. 1, eq. 30), zero for dry air at 0 C, of air at tempC
// (-90..100 C) with the mixing ratio in kg/kg (0..1):
//
//	h = 1006 t + W (2501000 + 1860 t)
func EnthalpyJKg(tempC, ratio float64) (float64, error) {
	if err := checkTemp("enthalpy", tempC); err != nil {
		return 0, err
	}
	if !(ratio >= 0 && ratio <= 1) {
		return 0, fmt.Errorf("enthalpy at %g kg/kg: mixing ratio %w (0..1 kg/kg)", ratio, ErrRange)
	}
	return 1006*tempC + ratio*(2501000+1860*tempC), nil
}

// DensityKgM3 is the density of moist air in kg/m3 (Dalton, ideal gases), of
// air at tempC (-90..100 C) with vapour and total pressure in Pa (0 <= e < p):
//
//	rho = (p - e) / (287.042 T) + e / (461.523 T)
func DensityKgM3(tempC, vapourPa, pressurePa float64) (float64, error) {
	if err := checkTemp("density", tempC); err != nil {
		return 0, err
	}
	if err := checkPressures("density", vapourPa, pressurePa); err != nil {
		return 0, err
	}
	k := tempC + KelvinC
	return (pressurePa-vapourPa)/(GasDryAir*k) + vapourPa/(GasVapour*k), nil
}

// MixingRatioFromWetBulb is the mixing ratio in kg/kg of air at tempC with the
// thermodynamic wet bulb wetBulbC (not above tempC; both -90..100 C) at the
// total pressure in Pa. ASHRAE Fundamentals 2017, ch. 1, eqs 33 and 35, wick
// iced below 0 C; W_s is the saturation value at the wet bulb:
//
//	W = ((2501 - 2.326 t*) W_s - 1.006 (t - t*)) / (2501 + 1.86 t - 4.186 t*)   t* >= 0
//	W = ((2830 - 0.24 t*) W_s - 1.006 (t - t*)) / (2830 + 1.86 t - 2.1 t*)      t* <  0
//
// An air that dry cannot be: a negative result is an error.
func MixingRatioFromWetBulb(tempC, wetBulbC, pressurePa float64) (float64, error) {
	if err := checkTemp("mixing ratio", tempC); err != nil {
		return 0, err
	}
	if !(wetBulbC >= -90 && wetBulbC <= tempC) {
		return 0, fmt.Errorf("mixing ratio at a wet bulb of %g C in air of %g C: wet bulb %w (-90 C up to the air's)",
			wetBulbC, tempC, ErrRange)
	}
	if err := checkPressures("mixing ratio", SatWaterPa(wetBulbC), pressurePa); err != nil {
		return 0, err
	}
	w := ratioAtWetBulb(tempC, wetBulbC, pressurePa)
	if w < 0 {
		return 0, fmt.Errorf("mixing ratio at a wet bulb of %g C in air of %g C: the air would hold less than no vapour: %w",
			wetBulbC, tempC, ErrRange)
	}
	return w, nil
}

func ratioAtWetBulb(tempC, wetC, pressurePa float64) float64 {
	es := SatSurfacePa(wetC)
	ws := MassRatio * es / (pressurePa - es)
	if wetC >= 0 {
		return ((2501-2.326*wetC)*ws - 1.006*(tempC-wetC)) / (2501 + 1.86*tempC - 4.186*wetC)
	}
	return ((2830-0.24*wetC)*ws - 1.006*(tempC-wetC)) / (2830 + 1.86*tempC - 2.1*wetC)
}

// WetBulbC is the thermodynamic wet bulb in C of air at tempC (-60..60 C) with
// the vapour pressure in Pa (up to saturation over water at tempC) and the total
// pressure in Pa (50..110 kPa): the root of MixingRatioFromWetBulb, found by
// bisection to 1e-6 K. Below 0 C over an iced wick, so that the wet bulb of air
// saturated over water lies above the air's temperature by up to 0.5 K at the
// coldest: it is then given as the air's temperature. Within 0.04 K of
// psychrolib 1.1.1 at equal vapour pressure, -10..30 C (Hyland-Wexler there).
func WetBulbC(tempC, vapourPa, pressurePa float64) (float64, error) {
	if !(tempC >= -60 && tempC <= 60) {
		return 0, fmt.Errorf("wet bulb at %g C: temperature %w (-60..60 C)", tempC, ErrRange)
	}
	if !(pressurePa >= 50e3 && pressurePa <= 110e3) {
		return 0, fmt.Errorf("wet bulb at %g Pa: pressure %w (50..110 kPa)", pressurePa, ErrRange)
	}
	if !(vapourPa >= 0 && vapourPa <= SatWaterPa(tempC)*1.0001) {
		return 0, fmt.Errorf("wet bulb at %g Pa of vapour in air of %g C: %w (0 up to saturation, %.1f Pa)", vapourPa, tempC,
			ErrRange, SatWaterPa(tempC))
	}
	w := MassRatio * vapourPa / (pressurePa - vapourPa)
	// The right side of the balance rises with the wet bulb, so the root is
	// bracketed by a wet bulb that would leave the air bone dry and the air's own.
	low, high := tempC-60, tempC
	for high-low > 1e-6 {
		mid := (low + high) / 2
		if ratioAtWetBulb(tempC, mid, pressurePa) < w {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2, nil
}

func checkTemp(what string, tempC float64) error {
	if !(tempC >= -90 && tempC <= 100) {
		return fmt.Errorf("%s at %g C: temperature %w (-90..100 C)", what, tempC, ErrRange)
	}
	return nil
}

func checkPressures(what string, vapourPa, pressurePa float64) error {
	if !(pressurePa > 0 && pressurePa <= 2e5) {
		return fmt.Errorf("%s at %g Pa: total pressure %w (more than 0, up to 200 kPa)", what, pressurePa, ErrRange)
	}
	if !(vapourPa >= 0 && vapourPa < pressurePa) {
		return fmt.Errorf("%s at %g Pa of vapour in %g Pa: vapour pressure %w (0 up to the total)", what, vapourPa,
			pressurePa, ErrRange)
	}
	return nil
}

func checkState(what string, tempC, vapourPa float64) error {
	if err := checkTemp(what, tempC); err != nil {
		return err
	}
	if !(vapourPa >= 0 && vapourPa <= 2e5) {
		return fmt.Errorf("%s at %g Pa of vapour: vapour pressure %w (0..200 kPa)", what, vapourPa, ErrRange)
	}
	return nil
}
