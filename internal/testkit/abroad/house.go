package abroad

import (
	"math"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/roofsim"
)

// Constants of air and its water.
const (
	airDensity = 1.26     // kg/m3
	airHeat    = 1.27e3   // J/(m3 K)
	latentJKg  = 2.5e6    // J/kg
	vapourM3Pa = 7.85e-6  // kg/(m3 Pa): 1/(461.5 x 276)
	diffusion  = 1.95e-10 // kg/(m s Pa), vapour in still air
	boltzmann  = 5.67e-8
)

// beta is the transfer of vapour at a surface, kg/(m2 s Pa), from its film
// coefficient (Lewis).
func beta(filmWM2K float64) float64 { return 6.6e-9 * filmWM2K }

// crack is the flow of a leakage area (m2, at 4 Pa) under a pressure, m3/s, with
// the exponent of cracks.
func (c *constants) crack(areaM2, pa float64) float64 {
	return 0.6 * areaM2 * math.Sqrt(2*4/airDensity) * math.Pow(math.Max(pa, 0)/4, c.crackExp)
}

// slot is the flow of an opening, m3/s.
func slot(areaM2, pa float64) float64 { return 0.6 * areaM2 * math.Sqrt(2*math.Max(pa, 0)/airDensity) }

// stackPa is the buoyancy of air over a height, Pa.
func stackPa(warmC, coldC, heightM float64) float64 {
	return 3462 * math.Abs(1/(coldC+kelvin)-1/(warmC+kelvin)) * heightM
}

// inSeries is the area of two openings that air passes one after the other.
func inSeries(a, b float64) float64 {
	if a <= 0 || b <= 0 {
		return 0
	}
	return a * b / math.Hypot(a, b)
}

// sizes are the house's measures.
type sizes struct{ ceilingM2, slopeM2, loftM3, voidM3, houseM3, timberM2, riseM, skyView float64 }

func measures(h *roofsim.House, b *roofsim.Roof) sizes {
	p := h.PitchDeg * math.Pi / 180
	s := sizes{ceilingM2: h.SpanM * h.LengthM, riseM: h.SpanM / 2 * math.Tan(p), skyView: (1 + math.Cos(p)) / 2}
	s.slopeM2 = s.ceilingM2 / 2 / math.Cos(p)
	s.loftM3 = math.Max(s.ceilingM2*s.riseM/2, 0.3*s.ceilingM2)
	s.voidM3, s.houseM3 = s.slopeM2*b.VoidDepthM, s.ceilingM2*(h.CeilingHeightM-0.3)
	s.timberM2 = 2 * s.slopeM2 * b.TimberM2M2
	return s
}

// flows are exchanges of air, m3/s; up is one-way.
type flows struct {
	house       float64    // with outdoors
	up, hatch   float64    // house to loft; both ways at the hatch
	loft        float64    // with outdoors
	void        [2]float64 // with outdoors
	under       [2]float64 // loft with void
	throughVoid float64    // share of up that leaves by the voids
}

// stir finds the flows of a step.
func (s *state) stir(k int) {
	h, b, g, x, c := &s.world.House, &s.roof, &s.size, s.weather, &s.constants
	to, wind := x.tempC[k], x.windMS[k]*h.ShelterFactor
	gust := 0.5 * airDensity * wind * wind
	f := &s.flow
	f.house = h.LeakageM2*math.Sqrt(0.0144*math.Max(s.indoorC-to, 0)+0.017*wind*wind) +
		s.living.windowM2[k]*(0.025*math.Sqrt(math.Abs(s.indoorC-to))+0.05*wind)
	slots := (2*b.LoftEavesMM+b.LoftRidgeMM)*1e-3*h.LengthM + b.LoftLeakMM2M2*1e-6*g.ceilingM2
	laps := 2 * b.UnderlayAirMM2M2 * 1e-6 * g.slopeM2
	ceiling := inSeries(b.CeilingLeakMM2M2*1e-6*g.ceilingM2, slots+0.5*laps)
	f.up = c.crack(ceiling, stackPa(s.indoorC, s.loftC, 0.45*h.CeilingHeightM)+c.upGust*gust*(1+x.lean[k]))
	f.hatch = 0.055 * math.Pow(h.CeilingHatchGap, 1.25) * math.Sqrt(9.81*math.Max(s.indoorC-s.loftC, 0)/278)
	low := c.lowGust * (1 + 0.4*x.lean[k]) * gust
	f.loft = slot(slots/2, low+stackPa(s.loftC, to, g.riseM/3))/math.Sqrt2 + c.slotWind*slots*wind
	f.throughVoid = laps / 2 / (laps/2 + slots + 1e-9)
	for i := range 2 {
		path := inSeries(b.VoidEavesMM[i]*1e-3*h.LengthM, b.VoidRidgeMM[i]*1e-3*h.LengthM)
		rise := stackPa(s.voidC[i], to, g.riseM)
		joints := b.CoveringAirMM2M2 * 1e-6 * g.slopeM2
		f.void[i] = slot(path, c.voidGust*gust+c.voidStack*rise) +
			slot(joints/2, c.jointGust*gust+c.jointStack*rise)/math.Sqrt2
		f.under[i] = c.crack(laps/4, c.lapGust*gust+c.lapStack*stackPa(s.loftC, s.voidC[i], g.riseM/2)) +
			b.UnderlayAirPerm*g.slopeM2/2*c.lapGust*gust
	}
}

// warm advances the temperatures of a step: everything but timber, covering and
// house is in balance.
func (s *state) warm(k int, dt float64) {
	h, b, g, x, f := &s.world.House, &s.roof, &s.size, s.weather, &s.flow
	to := x.tempC[k]
	conv, inVoid := s.convWM2K, s.voidWM2K // air of loft and void to any surface of theirs
	const radiant = 4.4                    // W/(m2 K), between surfaces of the loft, and in the void
	// The house follows its thermostat within two hours and cools by its mass.
	if set := s.living.setC[k]; set > s.indoorC {
		s.indoorC += (set - s.indoorC) * math.Min(1, dt/(2*3600))
	} else {
		loss := h.HeatLossWK + airHeat*f.house + h.InsulationWM2K*g.ceilingM2
		s.indoorC = math.Max(set, s.indoorC-(s.indoorC-to)*loss*dt/(0.6*h.HeatCapacityJK))
	}
	wind := x.windMS[k] * h.ShelterFactor
	outer := s.outerWM2K + s.outerPerMS*wind
	wood := 450 * 1700 * g.timberM2 * b.TimberHalfM / dt
	for range 12 {
		top := (h.InsulationWM2K*s.indoorC + conv*s.loftC + radiant*(s.underC[0]+s.underC[1])/2) /
			(h.InsulationWM2K + conv + radiant)
		s.topC = top
		// Loft.
		sum, heat := conv*g.ceilingM2, conv*g.ceilingM2*top
		add := func(u, t float64) { sum, heat = sum+u, heat+u*t }
		add(airHeat*(f.up+f.hatch), s.indoorC)
		add(airHeat*f.loft+h.GableLossWM2K*g.ceilingM2, to)
		add(conv*g.timberM2, s.woodC)
		for i := range 2 {
			add(conv*g.slopeM2, s.underC[i])
			add(airHeat*f.under[i], s.voidC[i])
		}
		s.loftC = heat / sum
		share := 0.25 * g.timberM2
		s.woodC = (wood*s.oldWoodC + (conv+1)*g.timberM2*s.loftC + share*(s.underC[0]+s.underC[1])) /
			(wood + (conv+1)*g.timberM2 + 2*share)
		for i := range 2 {
			s.underC[i] = (conv*s.loftC + radiant*0.9*top + 0.1*radiant*s.woodC + inVoid*s.voidC[i] + radiant*s.coverC[i] +
				latentJKg*s.under[i].rate) / (conv + inVoid + 2*radiant)
			out, in := airHeat*f.void[i]/g.slopeM2, airHeat*(f.under[i]+f.up*f.throughVoid/2)/g.slopeM2
			s.voidC[i] = (inVoid*(s.underC[i]+s.coverC[i]) + out*to + in*s.loftC) / (2*inVoid + out + in)
			kept := b.CoveringJM2K / dt
			mean := (s.coverC[i]+x.skyC[k])/2 + kelvin
			sky := 4 * b.CoveringEmiss * boltzmann * mean * mean * mean
			ground := 4 * b.CoveringEmiss * boltzmann * math.Pow(to+kelvin, 3) * (1 - g.skyView)
			s.coverC[i] = (kept*s.oldCoverC[i] + outer*to + sky*g.skyView*x.skyC[k] + ground*to + inVoid*s.voidC[i] +
				radiant*s.underC[i] + b.CoveringAbsorb*x.slopeSun[i][k] + latentJKg*(s.cover[i].rate+s.dewOut[i])) /
				(kept + outer + sky*g.skyView + ground + inVoid + radiant)
		}
	}
	s.oldWoodC, s.oldCoverC = s.woodC, s.coverC
	for i := range 2 { // dew and frost outside, which limit the fall on a humid night
		rate := beta(outer) * (x.vapourPa[k] - psychro.SatSurfacePa(s.coverC[i]))
		rate = math.Max(rate, -s.outside[i]/dt)
		s.outside[i] = math.Min(0.15, s.outside[i]+rate*dt+x.rainMM[k])
		s.dewOut[i] += 0.3 * (rate - s.dewOut[i])
	}
}
