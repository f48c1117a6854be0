// Package condensate keeps the water balance of a surface. From the surface
// temperature and the vapour pressure of the air that meets it, it computes
// the film of dew or frost in g/m2, when it drips and when it has dried. It
// knows nothing of loggers and fills no gaps.
package condensate

import (
	"errors"
	"fmt"
	"math"

	"dewcase/internal/physics/psychro"
)

// ErrInput is wrapped by every error about input that cannot be used.
var ErrInput = errors.New("cannot keep a water balance")

// Defaults of Settings, each with where it comes from.
const (
	// defaultConvection is the convective coefficient in W/(m2 K) of the still
	// air of a loft or batten void at a sloped surface: the middle of 1.5 (a
	// narrow void) to 5 (EN ISO 6946:2017, Annex C, heat flow upwards). Common
	// practice; the film is proportional to it, so that every mass is good to a
	// factor of about two.
	defaultConvection = 3.0
	// defaultLewis is the Lewis number of water vapour in air, D/a reversed: 0.87
	// (ASHRAE Handbook Fundamentals, ch. 6, from memory).
	defaultLewis = 0.87
	// defaultRunOff is the film in g/m2 that a smooth sloped surface holds before
	// water runs and drips: 50..100 (common practice, from memory).
	defaultRunOff = 70.0
	// defaultWetted is the condensed mass in g/m2 from which a night counts as
	// wetted: a film one can see and wipe (common practice).
	defaultWetted = 1.0
	// dryBelow is the film in g/m2 under which a surface counts as dry at noon.
	dryBelow = 0.1

	cpAir = 1006.0 // J/(kg K), dry air at 0..20 C (ASHRAE Fundamentals, ch. 1)
)

// BetaP is the coefficient of vapour transfer to a surface in kg/(m2 s Pa), by
// the Lewis relation (ASHRAE Handbook Fundamentals, ch. 6; as used by Kunzel
// 1995):
//
//	beta_p = h_c Le^(-2/3) / (rho c_p R_v T) = h_c R_d Le^(-2/3) / (p c_p R_v)
//
// h_c in W/(m2 K) (more than 0, up to 100), Le 0.5..1.5, p in Pa (50..110 kPa),
// c_p 1006 J/(kg K). At sea level 6.10e-9 h_c for Le = 1 and 6.69e-9 h_c for Le =
// 0.87; the usual rounding is 7.0e-9 h_c.
func BetaP(convectionWM2K, lewis, pressurePa float64) (float64, error) {
	if !(convectionWM2K > 0 && convectionWM2K <= 100) {
		return 0, fmt.Errorf("%w: convective coefficient of %g W/(m2 K), want more than 0 and up to 100", ErrInput,
			convectionWM2K)
	}
	if !(lewis >= 0.5 && lewis <= 1.5) {
		return 0, fmt.Errorf("%w: Lewis number of %g, want 0.5..1.5", ErrInput, lewis)
	}
	if !(pressurePa >= 50e3 && pressurePa <= 110e3) {
		return 0, fmt.Errorf("%w: air pressure of %g Pa, want 50..110 kPa", ErrInput, pressurePa)
	}
	return convectionWM2K * psychro.GasDryAir / (pressurePa * cpAir * psychro.GasVapour) * math.Pow(lewis, -2.0/3), nil
}

// Settings of one surface; a zero value takes the default named there.
type Settings struct {
	ConvectionWM2K float64 // defaultConvection
	Lewis          float64 // defaultLewis
	PressurePa     float64 // psychro.StandardPressurePa
	RunOffGM2      float64 // defaultRunOff
	WettedGM2      float64 // defaultWetted
	MeltGM2        float64 // frost that must have lain for its melt to be an event; defaultWetted
}

func (s Settings) withDefaults() Settings {
	def := func(x *float64, d float64) {
		if *x == 0 {
			*x = d
		}
	}
	def(&s.ConvectionWM2K, defaultConvection)
	def(&s.Lewis, defaultLewis)
	def(&s.PressurePa, psychro.StandardPressurePa)
	def(&s.RunOffGM2, defaultRunOff)
	def(&s.WettedGM2, defaultWetted)
	def(&s.MeltGM2, defaultWetted)
	return s
}
