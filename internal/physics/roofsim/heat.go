package roofsim

import "math"

// Temperatures solved together at every step.
const (
	nLoft = iota
	nWood
	nUnderlayA
	nVoidA
	nCoverA
	nUnderlayB
	nVoidB
	nCoverB
	nodes
)

// Film coefficients, W/(m2 K). In the loft convection and radiation between
// underlay and insulation are put together (about 7; ISO 6946 gives 7.7 to 10
// for rooms, less in a cold loft); in the void convection alone.
const (
	loftFilm = 7.0
	woodFilm = 5.0
	voidFilm = 3.0
)

const latentJKg = 2.5e6

// geometry is what follows from the house's sizes.
type geometry struct {
	ceilingM2, slopeM2 float64
	loftM3, voidM3     float64
	houseM3            float64
	timberM2           float64
	skyView            float64
	azimuth            float64
}

func newGeometry(h *House, r *Roof) geometry {
	p := h.PitchDeg * math.Pi / 180
	g := geometry{ceilingM2: h.SpanM * h.LengthM, slopeM2: h.SpanM / 2 / math.Cos(p) * h.LengthM}
	g.loftM3 = math.Max(h.SpanM*h.SpanM/4*math.Tan(p)*h.LengthM, 0.3*g.ceilingM2)
	g.voidM3 = g.slopeM2 * r.VoidDepthM
	g.houseM3 = g.ceilingM2 * (h.CeilingHeightM - 0.3)
	g.timberM2 = 2 * g.slopeM2 * r.TimberM2M2
	g.skyView = skyView(p)
	g.azimuth = h.AzimuthDeg * math.Pi / 180
	return g
}

// heatStep advances all temperatures by dt seconds, implicitly. latent is the
// heat of condensation set free at each slope's covering, W/m2, of the last
// step.
func (s *state) heatStep(k int, dt float64) {
	w, g, wx := s.world, &s.geo, s.weather
	to := wx.tempC[k]
	carry := airDensity * airHeatJKgK
	var m [nodes][nodes]float64
	var b [nodes]float64
	link := func(i, j int, u float64) {
		m[i][i] += u
		m[j][j] += u
		m[i][j] -= u
		m[j][i] -= u
	}
	to1 := func(i int, u, t float64) {
		m[i][i] += u
		b[i] += u * t
	}
	fl := &s.net.flow
	// Loft.
	store := (g.loftM3*carry + 4000*g.ceilingM2) / dt
	to1(nLoft, store, s.t[nLoft])
	to1(nLoft, w.House.InsulationWM2K*g.ceilingM2+carry*fl[zoneHouse][zoneLoft], s.indoorC)
	to1(nLoft, carry*fl[out][zoneLoft]+w.House.GableLossWM2K*g.ceilingM2, to)
	// Timber stands in the loft air and touches the underlay.
	to1(nWood, s.woodJK/dt, s.t[nWood])
	link(nLoft, nWood, woodFilm*g.timberM2)
	wind := wx.windMS[k] * w.House.ShelterFactor
	for sl := range 2 {
		u, v, c := nUnderlayA+3*sl, nVoidA+3*sl, nCoverA+3*sl
		void := zoneVoidA + sl
		link(nLoft, u, loftFilm*g.slopeM2)
		link(nWood, u, 0.15*woodFilm*g.timberM2)
		link(u, v, voidFilm*g.slopeM2)
		link(v, c, voidFilm*g.slopeM2)
		tm := 0.5*(s.t[u]+s.t[c]) + kelvin
		hr := 4 * stefanBoltzmann * tm * tm * tm / (1/0.9 + 1/0.9 - 1)
		link(u, c, hr*g.slopeM2)
		// The loft's air carries heat into the void and back (one-way each).
		m[v][v] += carry * (fl[zoneLoft][void] + fl[out][void])
		m[v][nLoft] -= carry * fl[zoneLoft][void]
		b[v] += carry * fl[out][void] * to
		m[nLoft][nLoft] += carry * fl[void][zoneLoft]
		m[nLoft][v] -= carry * fl[void][zoneLoft]
		to1(v, (g.voidM3*carry+1500*g.slopeM2)/dt, s.t[v])
		to1(u, 400*g.slopeM2/dt, s.t[u])
		// Covering.
		to1(c, w.Roof.CoveringJM2K*g.slopeM2/dt, s.t[c])
		hc := roofWindWM2K(wind, s.t[c]-to)
		to1(c, hc*g.slopeM2, to)
		t0 := s.t[c] + kelvin
		slope := 4 * w.Roof.CoveringEmiss * stefanBoltzmann * t0 * t0 * t0
		emit := slope * t0 / 4
		take := w.Roof.CoveringEmiss * stefanBoltzmann * (g.skyView*pow4(wx.skyC[k]+kelvin) + (1-g.skyView)*pow4(to+kelvin))
		m[c][c] += slope * g.slopeM2
		b[c] += g.slopeM2 * (take - emit + slope*s.t[c] + w.Roof.CoveringAbsorb*wx.slopeSun[sl][k] + s.latentIn[sl] +
			s.latentOut[sl])
		b[u] += g.slopeM2 * s.latentUnder[sl]
	}
	solve(m[:], b[:])
	s.t = b
}

// indoorStep advances the indoor temperature by dt seconds: a heater with a
// proportional band of 1 K holds the set-point within its power.
func (s *state) indoorStep(k int, dt float64) {
	h := &s.world.House
	fl := &s.net.flow
	carry := airDensity * airHeatJKgK
	vent := carry * fl[out][zoneHouse]
	up := h.InsulationWM2K*s.geo.ceilingM2 + carry*fl[zoneLoft][zoneHouse]
	in := s.living.gainsW[k] + 0.04*s.geo.ceilingM2*s.weather.sunWM2[k]
	// Air with furniture answers within the hour, walls and floors within days.
	to := s.weather.tempC[k]
	cAir, cWall := 0.06*h.HeatCapacityJK, 0.94*h.HeatCapacityJK
	uWall := h.HeatCapacityJK / (6 * 3600)
	aa := cAir/dt + 0.4*h.HeatLossWK + vent + up + uWall
	ba := cAir/dt*s.indoorC + (0.4*h.HeatLossWK+vent)*to + up*s.t[nLoft] + in
	aw := cWall/dt + 0.6*h.HeatLossWK + uWall
	bw := cWall/dt*s.wallC + 0.6*h.HeatLossWK*to
	den, num := aa-uWall*uWall/aw, ba+uWall*bw/aw
	set := s.living.setC[k] + 0.5
	t := (num + h.HeaterW*set) / (den + h.HeaterW) // within the band
	switch power := h.HeaterW * (set - t); {
	case power > h.HeaterW:
		t = (num + h.HeaterW) / den
	case power < 0:
		t = num / den
	}
	s.indoorC = t
	s.wallC = (bw + uWall*t) / aw
}

func pow4(x float64) float64 { x *= x; return x * x }

// solve solves m t = b by elimination without pivoting (the matrices of nodes
// and zones are diagonally dominant); the answer replaces b.
func solve[Row [nodes]float64 | [zones]float64](m []Row, b []float64) {
	for i := range m {
		for k := i + 1; k < len(m); k++ {
			f := m[k][i]
			if f == 0 {
				continue
			}
			f /= m[i][i]
			for c := i + 1; c < len(m); c++ {
				m[k][c] -= f * m[i][c]
			}
			b[k] -= f * b[i]
		}
	}
	for i := len(m) - 1; i >= 0; i-- {
		v := b[i]
		for k := i + 1; k < len(m); k++ {
			v -= m[i][k] * b[k]
		}
		b[i] = v / m[i][i]
	}
}
