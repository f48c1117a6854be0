package psychro

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
