package repair

import (
	"math"

	"dewcase/internal/physics/psychro"
)

// lag is an exponential running mean with the time constant tauH in h.
func lag(v []float64, tauH float64) []float64 {
	out := make([]float64, len(v))
	if len(v) == 0 {
		return out
	}
	a := 1 - math.Exp(-stepH/tauH)
	y := v[0]
	for k, x := range v {
		y += a * (x - y)
		out[k] = y
	}
	return out
}

// substitute fills in what no logger measured, so that the model can run; the
// answer says so and widens for it.
func (s *site) substitute() {
	if !s.hasIn {
		s.in = guessedIndoors(s.out)
	}
	if !s.hasCover {
		s.cover = channel{v: s.out.tempC.v, seen: make([]bool, s.n)}
	}
	if !s.hasLoft {
		t := make([]float64, s.n)
		for k := range t {
			t[k] = s.out.tempC.v[k] + 0.25*(s.in.tempC.v[k]-s.out.tempC.v[k])
		}
		s.loft = climate{channel{v: t, seen: make([]bool, s.n)}, channel{v: s.out.pa.v, seen: make([]bool, s.n)}}
	}
	if !s.hasVoid {
		s.void = climate{channel{v: s.cover.v, seen: make([]bool, s.n)}, channel{v: s.out.pa.v, seen: make([]bool, s.n)}}
	}
	if !s.hasLay {
		t := make([]float64, s.n)
		for k := range t {
			t[k] = 0.4*s.loft.tempC.v[k] + 0.6*s.cover.v[k]
		}
		s.lay = channel{v: t, seen: make([]bool, s.n)}
	}
}

// guessedIndoors is a house nobody measured: 19 C, and vapour 450 Pa above
// outdoors in frost, less the milder it is.
func guessedIndoors(out climate) climate {
	n := len(out.pa.v)
	c := climate{channel{v: make([]float64, n), seen: make([]bool, n)},
		channel{v: make([]float64, n), seen: make([]bool, n)}}
	p, t := lag(out.pa.v, 6), lag(out.tempC.v, 12)
	for k := range n {
		c.tempC.v[k] = 19
		c.pa.v[k] = p[k] + 450*math.Max(0.2, 1-math.Max(0, t[k])/22)
		c.tempC.seen[k], c.pa.seen[k] = true, true
	}
	return c
}

// dewPointC is the dew point over water, total on the pressures a channel holds.
func dewPointC(pa float64) float64 {
	t, err := psychro.DewPointC(math.Max(pa, 1))
	if err != nil {
		return 0
	}
	return t
}
