package roofsim

import "math"

const (
	stefanBoltzmann = 5.670374e-8 // W/(m2 K4), CODATA 2018
	kelvin          = 273.15
)

// clearSkyEmissivity is that of Berdahl and Martin (1984):
//
//	e = 0.711 + 0.56 (Td/100) + 0.73 (Td/100)^2 + 0.013 cos(2 pi h/24)
//
// with the dew point Td in C and the solar hour h.
func clearSkyEmissivity(dewC, hour float64) float64 {
	x := dewC / 100
	return 0.711 + 0.56*x + 0.73*x*x + 0.013*math.Cos(2*math.Pi*hour/24)
}

// skyC is the effective sky temperature in C under a cloud share 0..1 whose
// base radiates with the factor transmits (Martin and Berdahl 1984:
// e = e0 + (1-e0) n ec exp(-dT/46 K); ec near 1 for low cloud; from memory).
func skyC(airC, dewC, hour, cloud, transmits float64) float64 {
	e := clearSkyEmissivity(dewC, hour)
	e += (1 - e) * cloud * transmits
	if e > 1 {
		e = 1
	}
	return (airC+kelvin)*math.Sqrt(math.Sqrt(e)) - kelvin
}

// sun is the position of the sun.
type sun struct {
	cosZenith float64
	azimuth   float64 // rad, clockwise from north
}

// sunAt gives the sun by the day of the year (1..366) and the solar hour, with
// Cooper's declination (1969): 23.45 sin(360 (284+n)/365).
func sunAt(latDeg, day, hour float64) sun {
	lat := latDeg * math.Pi / 180
	decl := 23.45 * math.Pi / 180 * math.Sin(2*math.Pi*(284+day)/365)
	w := (hour - 12) * math.Pi / 12
	sl, cl := math.Sincos(lat)
	sd, cd := math.Sincos(decl)
	sw, cw := math.Sincos(w)
	return sun{cosZenith: sl*sd + cl*cd*cw, azimuth: math.Pi + math.Atan2(sw, cw*sl-sd/cd*cl)}
}

// irradiance splits the global radiation of a sky with the cloud share n into
// what falls on the horizontal and on a tilted plane, W/m2. Clear sky by
// Haurwitz (1945): 1098 cz exp(-0.057/cz); cloud by Kasten and Czeplak (1980):
// 1 - 0.75 n^3.4; diffuse share by Erbs (1982), cut to two branches; the plane
// sees an isotropic sky and ground of albedo 0.2. Constants from memory.
func irradiance(s sun, cloud float64) (global, diffuse float64) {
	cz := s.cosZenith
	if cz <= 0.01 {
		return 0, 0
	}
	global = 1098 * cz * math.Exp(-0.057/cz) * (1 - 0.75*math.Pow(cloud, 3.4))
	kt := global / (1361 * cz)
	share := 0.165
	switch {
	case kt < 0.22:
		share = 1 - 0.09*kt
	case kt < 0.8:
		share = 0.9511 - 0.1604*kt + 4.388*kt*kt - 16.638*kt*kt*kt + 12.336*kt*kt*kt*kt
	}
	return global, global * share
}

// onPlane is the radiation on a plane of the given pitch and azimuth (rad).
func onPlane(s sun, global, diffuse, pitch, azimuth float64) float64 {
	if global <= 0 {
		return 0
	}
	sz := math.Sqrt(math.Max(0, 1-s.cosZenith*s.cosZenith))
	sp, cp := math.Sincos(pitch)
	incidence := s.cosZenith*cp + sz*sp*math.Cos(s.azimuth-azimuth)
	beam := 0.0
	if incidence > 0 {
		beam = (global - diffuse) / math.Max(s.cosZenith, 0.05) * incidence
	}
	return beam + diffuse*(1+cp)/2 + 0.2*global*(1-cp)/2
}

// roofWindWM2K is the outer convection coefficient of a covering, W/(m2 K):
// forced part 2.5 + 3.6 v of the wind at the roof, and a free part that is
// weaker when the roof is colder than the air and the layer is stable
// (0.6 |dT|^(1/3) below, 1.5 above; from memory), cubes added.
func roofWindWM2K(windMS, surfaceMinusAirK float64) float64 {
	free := 1.5
	if surfaceMinusAirK < 0 {
		free = 0.6
	}
	free *= math.Cbrt(math.Abs(surfaceMinusAirK))
	forced := 2.5 + 3.6*windMS
	return math.Cbrt(forced*forced*forced + free*free*free)
}

// skyView is the share of the hemisphere above a tilted plane that is sky.
func skyView(pitch float64) float64 { return (1 + math.Cos(pitch)) / 2 }
