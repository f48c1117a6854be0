package psychro

import "math"

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
