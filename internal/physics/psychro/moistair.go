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

func checkTemp(what string, tempC float64) error {
	if !(tempC >= -90 && tempC <= 100) {
		return fmt.Errorf("%s at %g C: temperature %w (-90..100 C)", what, tempC, ErrRange)
	}
	return nil
}
