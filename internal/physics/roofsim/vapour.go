package roofsim

import (
	"math"

	"dewcase/internal/physics/psychro"
)

// vapourStore is the mass of vapour per m3 and Pa at the reference density, from
// the gas law at 278 K: 1/(461.5 T).
const vapourStore = 1 / (461.5 * 278)

// filmBeta is the mass transfer coefficient of a surface, kg/(m2 s Pa), from its
// heat transfer coefficient: 7.0e-9 h_c (Kuenzel 1995, physics section 4).
func filmBeta(hc float64) float64 { return 7.0e-9 * hc }

// Convection at the surfaces that carry films, W/(m2 K): between natural
// convection in a shallow void and in a loft (from memory).
const (
	coverHc    = 3.0
	underlayHc = 2.0
	outerHc    = 6.0
)

// Films: how much stays before it runs, kg/m2. 0.05 to 0.1 is where drops begin
// to run on smooth sheet (physics section 4); rough slates hold more.
const (
	coverHoldsKgM2    = 0.12
	underlayHoldsKgM2 = 0.10
	poolHoldsKgM2     = 0.25
	frostHoldsKgM2    = 1.0
	outerHoldsKgM2    = 0.15
)

// film is water or frost lying on a surface.
type film struct {
	kgM2 float64
	mode int // of the step: dry, wet or last drop
	rate float64
}

const (
	dry = iota
	wet
	lastDrop // less water than the step would evaporate: all of it goes
)

// Films of the roof.
const (
	fCoverA = iota
	fCoverB
	fUnderA // underlay, loft side
	fUnderB
	fPoolA // underlay, void side: what dripped from the covering
	fPoolB
	fPatch // leak in the loft, kgM2 over patchM2
	films
)

// vapourStep advances the vapour in house, loft and voids, the films and the
// timber by dt seconds, implicitly. All water is booked in the ledger.
func (s *state) vapourStep(k int, dt float64) {
	w, g, wx := s.world, &s.geo, s.weather
	po := wx.vapourPa[k]
	var m [zones][zones]float64
	var b [zones]float64
	volumes := [zones]float64{g.houseM3, g.loftM3, g.voidM3, g.voidM3}
	fl := &s.net.flow
	for i := range zones {
		c := volumes[i] * vapourStore / dt
		m[i][i] += c
		b[i] += c * s.p[i]
		for j := range zones + 1 {
			if j == i {
				continue
			}
			m[i][i] += vapourStore * fl[i][j]
			if j == out {
				b[i] += vapourStore * fl[out][i] * po
			} else {
				m[i][j] -= vapourStore * fl[j][i]
			}
		}
	}
	b[zoneHouse] += s.living.moistureKgS[k]
	// Ceiling by diffusion.
	ceiling := g.ceilingDiffusion(&w.House)
	m[zoneHouse][zoneHouse] += ceiling
	m[zoneLoft][zoneLoft] += ceiling
	m[zoneHouse][zoneLoft] -= ceiling
	m[zoneLoft][zoneHouse] -= ceiling
	// Solids.
	for i := range s.slabs {
		sl := &s.slabs[i]
		if sl.areaM2 == 0 {
			continue
		}
		gain, offset := sl.prepare(s.slabTemp(i), dt)
		z := slabZone[i]
		m[z][z] += gain
		b[z] += offset
	}
	// Films: guess, solve, correct.
	under1 := filmBeta(underlayHc)
	under2 := 1 / (w.Roof.UnderlaySdM/airDelta + 1/filmBeta(coverHc))
	under := under1 * under2 / (under1 + under2)
	var sat [films]float64
	var area, beta [films]float64
	for sl := range 2 {
		tu, tc := s.t[nUnderlayA+3*sl], s.t[nCoverA+3*sl]
		sat[fCoverA+sl], sat[fUnderA+sl] = psychro.SatSurfacePa(tc), psychro.SatSurfacePa(tu)
		sat[fPoolA+sl] = sat[fUnderA+sl]
		area[fCoverA+sl], area[fUnderA+sl], area[fPoolA+sl] = g.slopeM2, g.slopeM2, 0.5*g.slopeM2
		beta[fCoverA+sl], beta[fUnderA+sl], beta[fPoolA+sl] = filmBeta(coverHc), under1, filmBeta(coverHc)
	}
	sat[fPatch] = psychro.SatSurfacePa(0.7*s.t[nLoft] + 0.3*s.t[nWood])
	area[fPatch] = s.patchM2
	beta[fPatch] = filmBeta(2.0)
	for i := range s.films {
		s.films[i].mode = dry
		if s.films[i].kgM2 > 0 {
			s.films[i].mode = wet
		}
	}
	if s.patchM2 == 0 {
		s.films[fPatch].mode = dry
	}
	var p [zones]float64
	for pass := range 6 {
		mm, bb := m, b
		for i := range s.films {
			s.assembleFilm(i, &mm, &bb, sat[i], area[i], beta[i], under, under2, dt)
		}
		solve(mm[:], bb[:])
		p = bb
		changed := false
		for i := range s.films {
			f := &s.films[i]
			air := p[filmZone[i]]
			switch f.mode {
			case dry:
				face := air
				if i == fUnderA || i == fUnderB {
					face = (under1*air + under2*p[zoneVoidA+i-fUnderA]) / (under1 + under2)
				}
				if face > sat[i] && i != fPatch && i != fPoolA && i != fPoolB {
					f.mode, changed = wet, true
				}
			case wet:
				f.rate = beta[i] * (air - sat[i])
				if i == fUnderA || i == fUnderB {
					f.rate -= under2 * (sat[i] - p[zoneVoidA+i-fUnderA])
				}
				if f.kgM2+f.rate*dt < -1e-12 && pass < 5 {
					f.mode, changed = lastDrop, true
				}
			}
		}
		if !changed {
			break
		}
	}
	s.p = p
	for i := range s.slabs {
		if s.slabs[i].areaM2 > 0 {
			s.slabs[i].finish(p[slabZone[i]], dt)
		}
	}
	for z := range zones {
		s.ledger.outKg += vapourStore * dt * (fl[z][out]*p[z] - fl[out][z]*po)
	}
	s.ledger.inKg += s.living.moistureKgS[k] * dt
	for i := range s.films {
		f := &s.films[i]
		switch f.mode {
		case wet:
			f.kgM2 += f.rate * dt
			if f.kgM2 < 0 { // the passes ran out: what is missing is booked, not invented
				s.ledger.inKg -= f.kgM2 * area[i]
				f.kgM2 = 0
			}
		case lastDrop:
			f.rate = -f.kgM2 / dt
			f.kgM2 = 0
		default:
			f.rate = 0
		}
	}
	for sl := range 2 {
		s.latentIn[sl] = latentJKg * s.films[fCoverA+sl].rate
		s.latentUnder[sl] = latentJKg * (s.films[fUnderA+sl].rate + 0.5*s.films[fPoolA+sl].rate)
		s.outerStep(sl, k, dt)
	}
	s.drain(dt)
	s.leak(k, dt)
}

var filmZone = [films]int{zoneVoidA, zoneVoidB, zoneLoft, zoneLoft, zoneVoidA, zoneVoidB, zoneLoft}

// assembleFilm adds one film's exchange to the balances.
func (s *state) assembleFilm(i int, m *[zones][zones]float64, b *[zones]float64, sat, area, beta, under, under2,
	dt float64) {
	f := &s.films[i]
	z := filmZone[i]
	if i == fUnderA || i == fUnderB { // lies on a membrane that passes vapour
		v := zoneVoidA + i - fUnderA
		switch f.mode {
		case wet:
			m[z][z] += area * beta
			b[z] += area * beta * sat
			m[v][v] += area * under2
			b[v] += area * under2 * sat
		default:
			m[z][z] += area * under
			m[v][v] += area * under
			m[z][v] -= area * under
			m[v][z] -= area * under
			if f.mode == lastDrop {
				b[z] += area * f.kgM2 / dt
			}
		}
		return
	}
	switch f.mode {
	case wet:
		m[z][z] += area * beta
		b[z] += area * beta * sat
	case lastDrop:
		b[z] += area * f.kgM2 / dt
	}
}

// outerStep keeps the dew, frost and rain on the outside of a covering: they
// cost and give heat, which limits the undercooling of a humid night.
func (s *state) outerStep(sl, k int, dt float64) {
	o := &s.outer[sl]
	rate := filmBeta(outerHc) * (s.weather.vapourPa[k] - psychro.SatSurfacePa(s.t[nCoverA+3*sl]))
	if rate < 0 {
		rate = math.Max(rate, -*o/dt)
	}
	s.latentOut[sl] = latentJKg * rate
	*o = math.Min(outerHoldsKgM2, *o+rate*dt+s.weather.rainMM[k])
}

// drain lets films run: of what the covering can't hold half runs to the eaves
// and half drips onto the underlay; the underlay's pool runs to the gutter; what
// the underlay's loft side can't hold drips into the loft. Frost holds.
func (s *state) drain(dt float64) {
	g := &s.geo
	for sl := range 2 {
		hold := coverHoldsKgM2
		if s.t[nCoverA+3*sl] < 0 {
			hold = frostHoldsKgM2
		}
		if over := s.films[fCoverA+sl].kgM2 - hold; over > 0 {
			run := over * math.Min(1, dt/1800)
			s.films[fCoverA+sl].kgM2 -= run
			s.ledger.runKg += run / 2 * g.slopeM2
			s.films[fPoolA+sl].kgM2 += run // half the water on half the area
		}
		if over := s.films[fPoolA+sl].kgM2 - poolHoldsKgM2; over > 0 {
			s.films[fPoolA+sl].kgM2 -= over
			s.ledger.runKg += over * 0.5 * g.slopeM2
		}
		hold = underlayHoldsKgM2
		if s.t[nUnderlayA+3*sl] < 0 {
			hold = frostHoldsKgM2
		}
		if over := s.films[fUnderA+sl].kgM2 - hold; over > 0 {
			s.films[fUnderA+sl].kgM2 -= over
			s.wet(over * g.slopeM2)
			s.drippedKg += over * g.slopeM2
		}
	}
}

// wet puts liquid water into the loft: a third soaks into timber, the rest lies
// as a patch on insulation and boards.
func (s *state) wet(kg float64) {
	s.slabs[sTimber].soak(kg / 3)
	mass := s.films[fPatch].kgM2*s.patchM2 + kg*2/3
	s.patchM2 = math.Min(0.3*s.geo.ceilingM2,
		math.Max(math.Max(s.patchM2, 0.2), s.world.Roof.PatchM2PerKg*math.Pow(mass, 0.7)))
	if s.patchM2 > 0 {
		s.films[fPatch].kgM2 = mass / s.patchM2
	}
}

// leak brings rain and plumbing water into the loft.
func (s *state) leak(k int, dt float64) {
	r := &s.world.Roof
	kg := s.leakFactor * r.RainLeakLPerMM * s.weather.rainMM[k]
	if r.PlumbingKgDay > 0 && float64(k)*dt/86400 >= r.PlumbingFrom {
		kg += s.leakFactor * r.PlumbingKgDay * dt / 86400
	}
	if kg > 0 {
		s.ledger.inKg += kg
		s.wet(kg)
	} else if s.films[fPatch].kgM2 <= 0 {
		s.patchM2 = 0
	}
}

// ceilingDiffusion is the ceiling's vapour conductance without any air, kg/(s Pa).
func (g *geometry) ceilingDiffusion(h *House) float64 {
	return g.ceilingM2 / (h.CeilingSdM/airDelta + 2/filmBeta(2.5))
}
