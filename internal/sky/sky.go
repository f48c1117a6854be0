// Package sky estimates how cold the night sky looks from a roof and how far
// below the air a covering sinks under it: air temperature, dew point, cloud and
// wind in; sky temperature, emissivity and covering temperature out.
package sky

import (
	"fmt"
	"math"

	"dewcase/internal/psychro"
)

// Sigma is the Stefan-Boltzmann constant in W/(m2 K4) (CODATA 2018).
const Sigma = 5.670374419e-8

// Model is one way to estimate the clear sky.
type Model string

// The models. Swinbank, Berdahl & Martin, Brunt and Brutsaert describe a clear
// night; the ISO and Whiller offsets are means over all skies for energy
// balances and much too warm for one.
const (
	Swinbank      Model = "swinbank_1963"
	BerdahlMartin Model = "berdahl_martin_1984"
	Brunt         Model = "brunt_1932"
	Brutsaert     Model = "brutsaert_1975"
	ISO52016      Model = "iso_52016"
	Whiller       Model = "whiller_1967"
)

// Clear is the clear-sky temperature in C as seen by a flat surface, from air of
// airC (-50..50 C) with the dew point dewC (-60 C up to the air's), at an hour of
// the day (solar, 0..24; NaN or any other value takes the daily mean; only
// Berdahl & Martin use it). T in K, e in hPa:
//
//	Swinbank 1963          Tsky = 0.0552 Ta^1.5
//	Berdahl & Martin 1984  eps = 0.711 + 0.56 (Td/100) + 0.73 (Td/100)^2 + 0.013 cos(2 pi h/24)
//	Brunt 1932             eps = 0.52 + 0.065 sqrt(e)          (constants from memory)
//	Brutsaert 1975         eps = 1.24 (e/Ta)^(1/7)
//	ISO 52016-1            Tsky = Ta - 11 K (intermediate climates)
//	Whiller 1967           Tsky = Ta - 6 K
//
// and Tsky = Ta eps^(1/4). Against pyrgeometers the first four agree within
// about 3 K. Berdahl & Martin's small term for station pressure is left out.
func Clear(m Model, airC, dewC, hour float64) (float64, error) {
	switch m {
	case Swinbank:
		if err := check(airC, dewC); err != nil {
			return 0, err
		}
		return 0.0552*math.Pow(airC+psychro.KelvinC, 1.5) - psychro.KelvinC, nil
	case ISO52016:
		return offset(airC, dewC, 11)
	case Whiller:
		return offset(airC, dewC, 6)
	}
	eps, err := Emissivity(m, airC, dewC, hour)
	if err != nil {
		return 0, err
	}
	return Temperature(airC, eps), nil
}

// Emissivity is the clear sky's emissivity by one of the models that have one
// (BerdahlMartin, Brunt, Brutsaert), as in Clear; at most 1.
func Emissivity(m Model, airC, dewC, hour float64) (float64, error) {
	if err := check(airC, dewC); err != nil {
		return 0, err
	}
	hPa := psychro.SatWaterPa(dewC) / 100
	var eps float64
	switch m {
	case BerdahlMartin:
		d := dewC / 100
		eps = 0.711 + 0.56*d + 0.73*d*d
		if hour >= 0 && hour <= 24 {
			eps += 0.013 * math.Cos(2*math.Pi*hour/24)
		}
	case Brunt:
		eps = 0.52 + 0.065*math.Sqrt(hPa)
	case Brutsaert:
		eps = 1.24 * math.Pow(hPa/(airC+psychro.KelvinC), 1.0/7)
	default:
		return 0, fmt.Errorf("emissivity of the sky by %q: want %s, %s or %s", m, BerdahlMartin, Brunt, Brutsaert)
	}
	return math.Min(eps, 1), nil
}

// CloudFactor is what cloud does to the sky's emissivity (Walton 1983, from
// memory), for a cover from 0 (clear) to 1 (overcast), N = 10 cover:
//
//	1 + 0.0224 N - 0.0035 N^2 + 0.00028 N^3
func CloudFactor(cover float64) (float64, error) {
	if !(cover >= 0 && cover <= 1) {
		return 0, fmt.Errorf("cloud cover of %g: want 0..1", cover)
	}
	n := 10 * cover
	return 1 + n*(0.0224+n*(-0.0035+n*0.00028)), nil
}

// Temperature is the sky's temperature in C for an emissivity (0..1) at airC:
// Ta eps^(1/4), in K.
func Temperature(airC, eps float64) float64 {
	return (airC+psychro.KelvinC)*math.Pow(math.Max(eps, 0), 0.25) - psychro.KelvinC
}

// Roof is a covering under the sky; a zero Emissivity takes 0.9.
type Roof struct {
	Emissivity float64 // of the covering, long wave
	PitchDeg   float64
	UToLoftWM2 float64 // W/(m2 K) to the loft below; 0: insulated
	LoftAboveK float64 // how far the loft air lies above outdoors
}

// ConvectionWM2K is the outer convective coefficient in W/(m2 K) for a wind in
// m/s (0..40), EN ISO 6946:2017, Annex C: h_c = 4 + 4 v.
func ConvectionWM2K(windMS float64) (float64, error) {
	if !(windMS >= 0 && windMS <= 40) {
		return 0, fmt.Errorf("convection at a wind of %g m/s: want 0..40", windMS)
	}
	return 4 + 4*windMS, nil
}

// Covering is the steady temperature in C of a thin covering in air of airC
// under a sky of skyC (both -70..50 C) in a wind of windMS:
//
//	eps sigma [F (Ts^4 - Tsky^4) + (1-F)(Ts^4 - Ta^4)] + h_c (Ts - Ta) + U (Ts - Tloft) = 0
//	F = (1 + cos pitch)/2
//
// solved by bisection to 1e-9 K. Latent heat of dew and the covering's heat
// store are left out: real coverings lag by minutes and sink a little less.
func Covering(r Roof, airC, skyC, windMS float64) (float64, error) {
	h, err := ConvectionWM2K(windMS)
	if err != nil {
		return 0, err
	}
	if r.Emissivity == 0 {
		r.Emissivity = 0.9
	}
	if !(r.Emissivity > 0 && r.Emissivity <= 1 && r.PitchDeg >= 0 && r.PitchDeg <= 90 && r.UToLoftWM2 >= 0 && r.UToLoftWM2 <= 20 && math.Abs(r.LoftAboveK) <= 40) {
		return 0, fmt.Errorf("covering of emissivity %g at %g degrees, U %g W/(m2 K), loft %g K above: want 0..1, 0..90, 0..20 and -40..40", r.Emissivity, r.PitchDeg, r.UToLoftWM2, r.LoftAboveK)
	}
	if !(airC >= -70 && airC <= 50 && skyC >= -70 && skyC <= 50) {
		return 0, fmt.Errorf("covering between air of %g C and a sky of %g C: want -70..50 C", airC, skyC)
	}
	view := (1 + math.Cos(r.PitchDeg*math.Pi/180)) / 2
	fourth := func(c float64) float64 { k := c + psychro.KelvinC; return k * k * k * k }
	sky, air, loft := fourth(skyC), fourth(airC), airC+r.LoftAboveK
	balance := func(c float64) float64 {
		s := fourth(c)
		return r.Emissivity*Sigma*(view*(s-sky)+(1-view)*(s-air)) + h*(c-airC) + r.UToLoftWM2*(c-loft)
	}
	low, high := math.Min(airC, math.Min(skyC, loft)), math.Max(airC, math.Max(skyC, loft))
	for range 60 {
		mid := (low + high) / 2
		if balance(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2, nil
}

func check(airC, dewC float64) error {
	if !(airC >= -50 && airC <= 50) {
		return fmt.Errorf("sky over air of %g C: want -50..50 C", airC)
	}
	if !(dewC >= -60 && dewC <= airC+0.01) {
		return fmt.Errorf("sky over air of %g C with a dew point of %g C: want -60 C up to the air's temperature", airC, dewC)
	}
	return nil
}

func offset(airC, dewC, k float64) (float64, error) {
	if err := check(airC, dewC); err != nil {
		return 0, err
	}
	return airC - k, nil
}
