package abroad

import (
	"math"
	"time"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/roofsim"
)

// film is water or frost on a surface, kg/m2, and how fast it grows, kg/(m2 s).
type film struct{ kgM2, rate float64 }

// state is everything that changes from step to step.
type state struct {
	constants
	world   *roofsim.World
	roof    roofsim.Roof
	size    sizes
	weather *weather
	living  *living
	flow    flows
	leaks   float64 // share of the leak that is left

	indoorC, loftC, woodC, topC float64
	underC, voidC, coverC       [2]float64
	oldWoodC                    float64
	oldCoverC                   [2]float64
	dewOut, outside             [2]float64

	indoorPa, loftPa   float64
	voidPa             [2]float64
	cover, under       [2]film
	tiles              [2]float64 // kg/m2 in the covering's underside
	plaster            float64    // relative humidity of the house's surfaces
	surface, core      float64    // moisture of the loft's wood, kg/kg
	batten             [2]float64
	patchKg            float64
	inKg, airKg, runKg float64
	surfaceKg, coreKg  float64 // dry wood, kg
	battenKg           float64
	plasterKgU         float64
}

// Run simulates a winter of the world by the physics of this package.
func Run(w roofsim.World, o roofsim.Options) *roofsim.Winter { return run(w, o, usual) }

func run(w roofsim.World, o roofsim.Options, c constants) *roofsim.Winter {
	if o.Days <= 0 {
		o.Days = 150
	}
	if o.Step <= 0 {
		o.Step = 10 * time.Minute
	}
	dt := o.Step.Seconds()
	n := int(float64(o.Days) * 86400 / dt)
	s := begin(&w, n, dt, c)
	out := roofsim.NewWinter(w, o, n)
	start := s.waterKg()
	next := 0
	for k := range n {
		at := w.Start.Add(time.Duration(k) * o.Step)
		for ; next < len(o.Repairs) && !at.Before(o.Repairs[next].At); next++ {
			s.roof = o.Repairs[next].Apply(s.roof)
			if f := o.Repairs[next].LeakFactor; f != nil {
				s.leaks = *f
			}
		}
		s.stir(k)
		s.warm(k, dt)
		s.wet(k, dt)
		s.drain(k, dt)
		s.record(out, k)
	}
	out.Water = roofsim.Balance{StartKg: start, EndKg: s.waterKg(), InKg: s.inKg, AirKg: s.airKg, RunOffKg: s.runKg}
	return out
}

func begin(w *roofsim.World, n int, dt float64, c constants) *state {
	s := &state{constants: c, world: w, roof: w.Roof, size: measures(&w.House, &w.Roof),
		weather: drawWeather(w, n, dt, &c), living: drawLiving(w, n, dt), leaks: 1}
	to, po := s.weather.tempC[0], s.weather.vapourPa[0]
	s.indoorC, s.loftC, s.woodC, s.topC, s.oldWoodC = w.Household.SetDayC, to+1, to+1, to+2, to+1
	for i := range 2 {
		s.underC[i], s.voidC[i], s.coverC[i], s.oldCoverC[i], s.voidPa[i] = to, to, to, to, po
		s.batten[i] = math.Min(0.16, w.Roof.WoodMoisture)
		s.tiles[i] = 0.7 * w.Roof.CoveringStoreKgM3 * s.tileM
	}
	s.indoorPa, s.loftPa, s.plaster = po+300, po, 0.5
	s.surface, s.core = math.Min(w.Roof.WoodMoisture, 0.25), w.Roof.WoodMoisture
	s.surfaceKg = dryWood * s.skinM * s.size.timberM2
	s.coreKg = dryWood * math.Max(w.Roof.TimberHalfM-s.skinM, 0.004) * s.size.timberM2
	s.battenKg = dryWood * 0.008 * w.Roof.BattenM2M2 * s.size.slopeM2
	s.plasterKgU = s.plasterKgM2 * w.House.BufferM2
	return s
}

const dryWood = 430.0 // kg/m3

// humidity is the relative humidity in balance with wood of a moisture content.
func (c *constants) humidity(u float64) float64 {
	x := math.Pow(math.Max(u, 0.005)/c.oswinA, 1/c.oswinB)
	return math.Min(x/(1+x), 1)
}

// zone is a balance of vapour on its way: sum p = gain.
type zone struct{ sum, gain float64 }

func (z *zone) to(kgSPa, pa float64) { z.sum, z.gain = z.sum+kgSPa, z.gain+kgSPa*pa }

// wet advances the vapour by a step: air spaces implicitly and by turns until
// they agree, solids and films from the step's air.
func (s *state) wet(k int, dt float64) {
	g, x, f, b := &s.size, s.weather, &s.flow, &s.roof
	po := x.vapourPa[k]
	satWood := psychro.SatWaterPa(s.woodC)
	woodPa := s.humidity(s.surface) * satWood
	plasterPa := s.plaster * psychro.SatWaterPa(s.indoorC)
	var satC, satU, battenPa, tilePa [2]float64
	for i := range 2 {
		satC[i], satU[i] = psychro.SatSurfacePa(s.coverC[i]), psychro.SatSurfacePa(s.underC[i])
		battenPa[i] = s.humidity(s.batten[i]) * psychro.SatWaterPa((s.coverC[i]+s.underC[i])/2)
		if b.CoveringStoreKgM3 > 0 {
			tilePa[i] = s.tiles[i] / (b.CoveringStoreKgM3 * s.tileM) * satC[i]
		}
	}
	ceiling := s.ceilingDiffusion()
	betaV, betaL := beta(s.voidWM2K), beta(s.convWM2K)
	fabric := g.slopeM2 / (b.UnderlaySdM/diffusion + 1/betaV + 1/betaL)
	behind := g.slopeM2 / (b.UnderlaySdM/diffusion + 1/betaV)
	battenG, tileG := betaV*g.slopeM2*b.BattenM2M2, g.slopeM2/(1/betaV+0.1/diffusion)
	patchM2 := 0.0
	if s.patchKg > 1e-4 {
		patchM2 = math.Min(0.3*g.ceilingM2, math.Max(0.15, b.PatchM2PerKg*math.Pow(s.patchKg, 0.7)))
	}
	patchSat := psychro.SatSurfacePa(s.patchTop*s.topC + (1-s.patchTop)*s.loftC)
	patchG := math.Min(betaL*0.8*patchM2, s.patchKg/dt/math.Max(patchSat-s.loftPa, 1))
	// A film that would be gone within the step gives what it has and no more.
	gives := func(kg, g, sat, air float64) float64 {
		switch {
		case air > sat:
			return g
		case kg <= 0:
			return 0
		}
		return math.Min(g, kg/dt/math.Max(sat-air, 0.01))
	}
	oldH, oldL, oldV := s.indoorPa, s.loftPa, s.voidPa
	var coverG, underG, backG [2]float64
	for range 40 {
		before := [4]float64{s.indoorPa, s.loftPa, s.voidPa[0], s.voidPa[1]}
		for i := range 2 {
			coverG[i] = gives(s.cover[i].kgM2, betaV, satC[i], s.voidPa[i])
			wetUnder := s.under[i].kgM2 > 0 || s.loftPa > satU[i]
			underG[i], backG[i] = 0, 0
			if wetUnder {
				underG[i] = gives(s.under[i].kgM2/2, betaL, satU[i], s.loftPa)
				backG[i] = math.Min(behind/g.slopeM2, math.Max(s.under[i].kgM2/2/dt/math.Max(satU[i]-s.voidPa[i], 0.01), 0))
			}
		}
		carry := func(m3s float64) float64 { return m3s * vapourM3Pa }
		var h, l zone
		h.to(g.houseM3*vapourM3Pa/dt, oldH)
		h.to(carry(f.house+f.up), po)
		h.to(carry(f.hatch)+ceiling, s.loftPa)
		h.to(beta(4)*s.world.House.BufferM2, plasterPa)
		s.indoorPa = (h.gain + s.living.moistureKgS[k]) / h.sum
		l.to(g.loftM3*vapourM3Pa/dt, oldL)
		l.to(carry(f.up+f.hatch)+ceiling, s.indoorPa)
		l.to(carry(f.loft), po)
		l.to(betaL*g.timberM2, woodPa)
		l.to(patchG, patchSat)
		for i := range 2 {
			l.to(carry(f.under[i]), s.voidPa[i])
			if underG[i] > 0 {
				l.to(underG[i]*g.slopeM2, satU[i])
			} else {
				l.to(fabric, s.voidPa[i])
			}
		}
		s.loftPa = l.gain / l.sum
		for i := range 2 {
			var v zone
			v.to(g.voidM3*vapourM3Pa/dt, oldV[i])
			v.to(carry(f.void[i]), po)
			v.to(carry(f.under[i]+f.up*f.throughVoid/2), s.loftPa)
			v.to(coverG[i]*g.slopeM2, satC[i])
			v.to(battenG, battenPa[i])
			if tilePa[i] > 0 && coverG[i] == 0 {
				v.to(tileG, tilePa[i])
			}
			if underG[i] > 0 {
				v.to(backG[i]*g.slopeM2, satU[i])
			} else {
				v.to(fabric, s.loftPa)
			}
			s.voidPa[i] = v.gain / v.sum
		}
		now, moved := [4]float64{s.indoorPa, s.loftPa, s.voidPa[0], s.voidPa[1]}, 0.0
		for i := range now {
			moved = math.Max(moved, math.Abs(now[i]-before[i]))
		}
		if moved < 1e-6 {
			break
		}
	}
	s.inKg += s.living.moistureKgS[k] * dt
	out := f.house*(s.indoorPa-po) + f.loft*(s.loftPa-po) + f.up*((1-f.throughVoid)*s.loftPa-po)
	for i := range 2 {
		out += f.void[i]*(s.voidPa[i]-po) + f.up*f.throughVoid/2*s.voidPa[i]
	}
	s.airKg += dt * vapourM3Pa * out
	// Solids.
	give := betaL * g.timberM2 * (s.loftPa - woodPa) * dt
	inward := 430 * 2.5e-10 / 0.008 * g.timberM2 * (s.surface - s.core) * dt
	s.surface += (give - inward) / s.surfaceKg
	s.core += inward / s.coreKg
	s.plaster += beta(4) * s.world.House.BufferM2 * (s.indoorPa - plasterPa) * dt / s.plasterKgU
	s.patchKg -= patchG * (patchSat - s.loftPa) * dt
	for i := range 2 {
		s.batten[i] += battenG * (s.voidPa[i] - battenPa[i]) * dt / s.battenKg
		if tilePa[i] > 0 && coverG[i] == 0 {
			s.tiles[i] += tileG / g.slopeM2 * (s.voidPa[i] - tilePa[i]) * dt
		}
		s.cover[i].rate = coverG[i] * (s.voidPa[i] - satC[i])
		s.under[i].rate = underG[i]*(s.loftPa-satU[i]) + backG[i]*(s.voidPa[i]-satU[i])
		for _, y := range []*film{&s.cover[i], &s.under[i]} {
			if y.kgM2 += y.rate * dt; y.kgM2 < 0 {
				s.inKg -= y.kgM2 * g.slopeM2 // what the step took too much is booked, not invented
				y.kgM2 = 0
			}
		}
	}
}

// drain lets films run and brings in leaks.
func (s *state) drain(k int, dt float64) {
	g := &s.size
	for i := range 2 {
		hold := func(t, liquid float64) float64 {
			if t < 0 {
				return 1
			}
			return liquid
		}
		if over := s.cover[i].kgM2 - hold(s.coverC[i], 0.09); over > 0 {
			over *= math.Min(1, dt/3600)
			s.cover[i].kgM2 -= over
			s.runKg += over * g.slopeM2
		}
		if over := s.under[i].kgM2 - hold(s.underC[i], 0.08); over > 0 {
			over *= math.Min(1, dt/3600)
			s.under[i].kgM2 -= over
			s.soak(over * g.slopeM2)
		}
	}
	r := &s.roof
	kg := s.leaks * r.RainLeakLPerMM * s.weather.rainMM[k]
	if r.PlumbingKgDay > 0 && float64(k)*dt/86400 >= r.PlumbingFrom {
		kg += s.leaks * r.PlumbingKgDay * dt / 86400
	}
	s.inKg += kg
	s.soak(kg)
}

// soak puts water into the loft: a part into the wood, the rest lies.
func (s *state) soak(kg float64) {
	room := math.Max(0, 0.9-s.core) * s.coreKg
	in := math.Min(kg*s.soaked, room)
	s.core += in / s.coreKg
	s.patchKg += kg - in
}

// waterKg is all water inside the roof's border.
func (s *state) waterKg() float64 {
	g := &s.size
	t := vapourM3Pa*(g.houseM3*s.indoorPa+g.loftM3*s.loftPa) + s.surface*s.surfaceKg + s.core*s.coreKg +
		s.plaster*s.plasterKgU + s.patchKg
	for i := range 2 {
		t += vapourM3Pa*g.voidM3*s.voidPa[i] + s.batten[i]*s.battenKg + (s.cover[i].kgM2+s.under[i].kgM2+s.tiles[i])*g.slopeM2
	}
	return t
}

// ceilingDiffusion is the ceiling's vapour conductance without any air, kg/(s Pa).
func (s *state) ceilingDiffusion() float64 {
	return s.size.ceilingM2 / (s.world.House.CeilingSdM/diffusion + 1/beta(5) + 1/beta(2.5))
}

func (s *state) record(w *roofsim.Winter, k int) {
	x, g := s.weather, &s.size
	w.OutdoorC[k], w.OutdoorPa[k], w.Cloud[k], w.WindMS[k] = x.tempC[k], x.vapourPa[k], x.cloud[k], x.windMS[k]
	w.SunWM2[k], w.RainMM[k], w.SkyC[k], w.Away[k] = x.sunWM2[k], x.rainMM[k], x.skyC[k], s.living.away[k]
	w.IndoorC[k], w.IndoorPa[k], w.LoftC[k], w.LoftPa[k] = s.indoorC, s.indoorPa, s.loftC, s.loftPa
	w.WoodSurfacePct[k] = 100 * s.surface
	w.WoodMeanPct[k] = 100 * (s.surface*s.surfaceKg + s.core*s.coreKg) / (s.surfaceKg + s.coreKg)
	w.CeilingM3H[k] = 3600 * (s.flow.up + s.ceilingDiffusion()/vapourM3Pa)
	w.LoftACH[k], w.HouseACH[k] = 3600*s.flow.loft/g.loftM3, 3600*(s.flow.house+s.flow.up)/g.houseM3
	for i := range 2 {
		y := &w.Slope[i]
		y.VoidC[k], y.VoidPa[k], y.CoverC[k], y.UnderlayC[k] = s.voidC[i], s.voidPa[i], s.coverC[i], s.underC[i]
		y.CoverFilmGM2[k], y.UnderlayFilmGM2[k] = 1000*s.cover[i].kgM2, 1000*s.under[i].kgM2
		y.CoverRateGM2H[k], y.UnderlayRateGM2H[k] = 3.6e6*s.cover[i].rate, 3.6e6*s.under[i].rate
		y.VoidACH[k] = 3600 * s.flow.void[i] / g.voidM3
	}
}
