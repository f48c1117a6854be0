package roofsim

import (
	"math"

	"dewcase/internal/physics/psychro"
)

// maxLayers bounds the layers of a slab so that it needs no allocation.
const maxLayers = 5

// material is a hygroscopic solid.
type material struct {
	saturatedKgM3 float64 // water at 100 %RH, adsorbed
	muDry, muWet  float64 // vapour resistance factors
	heat          bool    // isosteric heat shifts the equilibrium with temperature
	densityKgM3   float64
}

// Hansen's form (1986) of the sorption isotherm, in the inverse:
//
//	phi = exp(b (1 - (us/u)^1.5)),  b = 0.147
//
// Exponent and b were chosen to pass through 12 % at 65 %RH and 21 % at 90 %RH
// for us = 0.30, the Wood Handbook's values near 10 C; the test states the
// remaining misfit over the handbook's table.
const hansenB = 0.147

var (
	pine    = material{saturatedKgM3: 0.30 * 450, muDry: 180, muWet: 22, heat: true, densityKgM3: 450}
	cement  = material{saturatedKgM3: 120, muDry: 60, muWet: 25, densityKgM3: 1700}
	plaster = material{saturatedKgM3: 45, muDry: 9, muWet: 7, densityKgM3: 900} // room surfaces and furnishings together
	// kg/(m s Pa), vapour permeability of still air near 5 C
	airDelta = 1.9e-10
)

// slab is a solid that takes up and gives off water at one face, in layers from
// that face inward; the other face is sealed (the middle of a timber).
type slab struct {
	mat    material
	n      int
	areaM2 float64
	beta   float64 // kg/(m2 s Pa) from the air to the face
	dx     [maxLayers]float64
	kg     [maxLayers]float64 // water per m2 of face in each layer

	// scratch of one step
	p, a, b, c, g [maxLayers]float64
	gs            float64
}

// newSlab divides the depth into layers that double inward.
func newSlab(m material, n int, depthM, areaM2, beta, moistureKgKg float64) slab {
	s := slab{mat: m, n: n, areaM2: areaM2, beta: beta}
	unit := depthM / (math.Exp2(float64(n)) - 1)
	for i := range n {
		s.dx[i] = unit * math.Exp2(float64(i))
		s.kg[i] = moistureKgKg * m.densityKgM3 * s.dx[i]
	}
	return s
}

// relHumidity is the equilibrium humidity (0..1) of the material holding
// kgM3 of water at tempC, and its slope with kgM3. The shift with temperature is
// the Clausius-Clapeyron one of the differential heat of sorption,
// 1170 exp(-14 u) kJ/kg (Weichert's form; from memory), about the 10 C isotherm.
func (m *material) relHumidity(kgM3, tempC float64) (phi, slope float64) {
	if kgM3 < 1e-6 {
		kgM3 = 1e-6
	}
	x := m.saturatedKgM3 / kgM3
	if x <= 1 {
		return 1, 1e-4 / m.saturatedKgM3 // free water above saturation: the slope only keeps the solution regular
	}
	r := x * math.Sqrt(x)
	phi = math.Exp(hansenB * (1 - r))
	slope = phi * hansenB * 1.5 * r / kgM3
	if m.heat {
		u := kgM3 / m.densityKgM3
		exponent := 1170 / 0.4615 * math.Exp(-14*u) * (1/283.15 - 1/(tempC+kelvin))
		shift := math.Exp(exponent)
		phi *= shift
		slope = slope*shift - phi*exponent*14/m.densityKgM3
		if phi > 1 {
			phi = 1
		}
	}
	return phi, slope
}

// prepare eliminates the layers for a step of dt seconds at tempC and leaves
// the flow into the face as gain*p_air - offset, kg/s (whole area).
func (s *slab) prepare(tempC, dt float64) (gain, offset float64) {
	sat := psychro.SatWaterPa(tempC)
	var delta [maxLayers]float64
	for i := range s.n {
		phi, slope := s.mat.relHumidity(s.kg[i]/s.dx[i], tempC)
		s.p[i] = phi * sat
		s.c[i] = s.dx[i] / (slope * sat) / dt // kg/(m2 Pa s)
		mu := s.mat.muWet + (s.mat.muDry-s.mat.muWet)*(1-phi)*(1-phi)*(1+phi)
		delta[i] = airDelta / mu
	}
	s.gs = 1 / (1/s.beta + s.dx[0]/2/delta[0])
	for i := 0; i+1 < s.n; i++ {
		s.g[i] = 1 / (s.dx[i]/2/delta[i] + s.dx[i+1]/2/delta[i+1])
	}
	// From the core outward: p_i = a_i + b_i p_(i-1), p_(-1) the air.
	for i := s.n - 1; i >= 0; i-- {
		up := s.gs
		if i > 0 {
			up = s.g[i-1]
		}
		den, num := s.c[i]+up, s.c[i]*s.p[i]
		if i+1 < s.n {
			den += s.g[i] * (1 - s.b[i+1])
			num += s.g[i] * s.a[i+1]
		}
		s.a[i], s.b[i] = num/den, up/den
	}
	return s.areaM2 * s.gs * (1 - s.b[0]), s.areaM2 * s.gs * s.a[0]
}

// finish books the flows of the step prepared last, given the air's vapour
// pressure, and returns the water taken up, kg.
func (s *slab) finish(airPa, dt float64) float64 {
	outer := airPa
	in := 0.0
	first := 0.0
	for i := range s.n {
		p := s.a[i] + s.b[i]*outer
		if i == 0 {
			in = s.gs * (outer - p) * dt
			first = in
		}
		out := 0.0
		if i+1 < s.n {
			next := s.a[i+1] + s.b[i+1]*p
			out = s.g[i] * (p - next) * dt
		}
		s.kg[i] += in - out
		in, outer = out, p
	}
	return first * s.areaM2
}

// waterKg is all the water it holds.
func (s *slab) waterKg() float64 {
	t := 0.0
	for i := range s.n {
		t += s.kg[i]
	}
	return t * s.areaM2
}

// moisturePct is the water per dry mass, of the outer layers down to depth.
func (s *slab) moisturePct(depthM float64) float64 {
	kg, x := 0.0, 0.0
	for i := 0; i < s.n && (i == 0 || x+s.dx[i] <= depthM*1.0001); i++ {
		kg += s.kg[i]
		x += s.dx[i]
	}
	return 100 * kg / x / s.mat.densityKgM3
}

// soak adds liquid water to the two outer layers, kg in all.
func (s *slab) soak(kg float64) {
	per := kg / s.areaM2
	if s.n > 1 {
		s.kg[1] += per / 2
		per /= 2
	}
	s.kg[0] += per
}
