package roofsim

import "math"

// Zones of the air-flow network; out is outdoors.
const (
	zoneHouse = iota
	zoneLoft
	zoneVoidA
	zoneVoidB
	zones
	out = zones
)

// airDensity is that of air near 5 C at sea level, kg/m3; flows are volumes at
// this density, so that they carry vapour by its pressure alike in every zone.
const (
	airDensity  = 1.27
	airHeatJKgK = 1006.0
	gravity     = 9.81
	discharge   = 0.6 // of a sharp-edged opening
)

// laminarPa rounds the square root of the orifice law near zero pressure, where
// real cracks are laminar.
const laminarPa = 0.02

// slotM3SPerM2 is the flow through 1 m2 of opening: Q = 0.6 A sqrt(2 dp/rho).
func slotM3SPerM2(dp float64) float64 {
	return discharge * math.Sqrt(2/airDensity) * dp / math.Sqrt(math.Abs(dp)+laminarPa)
}

// opening joins two zones at a height.
type opening struct {
	from, to int
	heightM  float64
	areaM2   float64
	laminar  float64 // m3/(s Pa), fabric
	wind     int     // index of the wind pressure outside; -1 inside
	gusts    float64 // two-way exchange: share of area x wind
}

// Wind pressures that openings can see.
const (
	wallA = iota
	wallB
	gableL
	gableR
	eavesA
	eavesB
	ridgeTop
	ridgeA
	ridgeB
	coverA
	coverB
	faces
)

// network is the air-flow network of one house.
type network struct {
	openings []opening
	x        [zones]float64                // zone pressures, Pa over outdoors at the ground
	flow     [zones + 1][zones + 1]float64 // m3/s from, to
	window   int                           // index of the first window opening
	hatchM2  float64
	qs       []float64
}

// wallCp is the pressure coefficient of an exposed wall for the angle between
// the wind and the way it faces: 0.6 windward, -0.55 along, -0.3 leeward
// (ordinary values for low buildings; from memory).
func wallCp(angle float64) float64 {
	return -0.2 + 0.45*math.Cos(angle) + 0.35*math.Cos(2*angle)
}

// newNetwork lays out the openings of the world in the roof's present state.
func newNetwork(h *House, r *Roof) *network {
	ceiling := h.SpanM * h.LengthM
	slope := h.SpanM / 2 / math.Cos(h.PitchDeg*math.Pi/180) * h.LengthM
	zc := h.CeilingHeightM
	zr := zc + h.SpanM/2*math.Tan(h.PitchDeg*math.Pi/180)
	n := &network{hatchM2: h.CeilingHatchGap}
	add := func(from, to int, z, area, laminar float64, wind int, gusts float64) {
		n.openings = append(n.openings, opening{from, to, z, area, laminar, wind, gusts})
	}
	for _, f := range []int{wallA, wallB, gableL, gableR} {
		add(zoneHouse, out, 1.2, h.LeakageM2/8, 0, f, 0.02)
		add(zoneHouse, out, 3.9, h.LeakageM2/8, 0, f, 0.02)
	}
	n.window = len(n.openings)
	add(zoneHouse, out, 3.6, 0, 0, wallA, 0.03)
	add(zoneHouse, zoneLoft, zc, r.CeilingLeakMM2M2*1e-6*ceiling, 0, -1, 0)
	slot := h.LengthM * 1e-3
	for s := range 2 {
		add(zoneLoft, out, zc+0.1, r.LoftEavesMM*slot, 0, eavesA+s, 0.03)
	}
	add(zoneLoft, out, zr, r.LoftRidgeMM*slot, 0, ridgeTop, 0.03)
	// Gables, verges and bad joints: even a shut loft leaks a little.
	add(zoneLoft, out, zc+0.3*(zr-zc), r.LoftLeakMM2M2*5e-7*ceiling, 0, gableL, 0.02)
	add(zoneLoft, out, zr-0.4*(zr-zc), r.LoftLeakMM2M2*5e-7*ceiling, 0, gableR, 0.02)
	low, high := zc+0.25*(zr-zc), zc+0.75*(zr-zc)
	for s := range 2 {
		void := zoneVoidA + s
		add(zoneLoft, void, low, r.UnderlayAirMM2M2*1e-6*slope/2, r.UnderlayAirPerm*slope/2, -1, 0)
		add(zoneLoft, void, high, r.UnderlayAirMM2M2*1e-6*slope/2, r.UnderlayAirPerm*slope/2, -1, 0)
		add(void, out, zc, r.VoidEavesMM[s]*slot, 0, eavesA+s, 0.03)
		add(void, out, zr, r.VoidRidgeMM[s]*slot, 0, ridgeA+s, 0.03)
		// Wind gusts pump the many small joints of an open covering.
		add(void, out, low, r.CoveringAirMM2M2*1e-6*slope/2, 0, coverA+s, 0.015)
		add(void, out, high, r.CoveringAirMM2M2*1e-6*slope/2, 0, coverA+s, 0.015)
	}
	n.qs = make([]float64, len(n.openings))
	return n
}

// air is the state that drives the flows at a step.
type air struct {
	outC       float64
	zoneC      [zones]float64
	windMS     float64 // at the roof
	windFrom   float64 // rad
	azimuth    float64 // rad, of slope A
	windowM2   float64
	exhaustM3S float64
}

// solve finds the zone pressures at which as much air enters each zone as
// leaves it, by damped Newton steps, and fills the flow matrix. It returns the
// greatest remaining imbalance, m3/s.
func (n *network) solve(a *air) float64 {
	n.openings[n.window].areaM2 = a.windowM2
	q := 0.5 * airDensity * a.windMS * a.windMS
	toA := math.Cos(a.windFrom - a.azimuth)
	t := a.windFrom - a.azimuth
	var wind [faces]float64
	wind[wallA] = q * wallCp(t)
	wind[wallB] = q * wallCp(t+math.Pi)
	wind[gableL], wind[gableR] = q*wallCp(t+math.Pi/2), q*wallCp(t-math.Pi/2)
	wind[eavesA], wind[eavesB] = 0.85*wind[wallA], 0.85*wind[wallB]
	wind[ridgeTop] = -0.45 * q
	wind[ridgeA], wind[ridgeB] = q*(-0.4+0.12*toA), q*(-0.4-0.12*toA)
	wind[coverA], wind[coverB] = q*(-0.28+0.17*toA), q*(-0.28-0.17*toA)
	var lift [zones]float64 // Pa per m of height that a warmer zone gains
	for z := range zones {
		lift[z] = airDensity * gravity * (1 - (a.outC+kelvin)/(a.zoneC[z]+kelvin))
	}
	coef := discharge * math.Sqrt(2/airDensity)
	worst := 0.0
	for range 25 {
		var f [zones]float64
		var j [zones][zones]float64
		f[zoneHouse] -= a.exhaustM3S
		for k := range n.openings {
			o := &n.openings[k]
			if o.areaM2 == 0 && o.laminar == 0 {
				n.qs[k] = 0
				continue
			}
			dp := n.x[o.from] + lift[o.from]*o.heightM
			if o.wind >= 0 {
				dp -= wind[o.wind]
			} else {
				dp -= n.x[o.to] + lift[o.to]*o.heightM
			}
			m := math.Abs(dp) + laminarPa
			s := math.Sqrt(m)
			flow := coef*o.areaM2*dp/s + o.laminar*dp
			d := coef*o.areaM2*(m-0.5*math.Abs(dp))/(m*s) + o.laminar
			n.qs[k] = flow
			f[o.from] -= flow
			j[o.from][o.from] += d
			if o.to != out {
				f[o.to] += flow
				j[o.to][o.to] += d
				j[o.from][o.to] -= d
				j[o.to][o.from] -= d
			}
		}
		worst = 0
		for _, v := range f {
			worst = math.Max(worst, math.Abs(v))
		}
		if worst < 1e-7 {
			break
		}
		for z := range zones {
			j[z][z] += 1e-12
		}
		solve(j[:], f[:])
		for z := range zones {
			n.x[z] += math.Max(-3, math.Min(3, 0.9*f[z]))
		}
	}
	n.flow = [zones + 1][zones + 1]float64{}
	for k := range n.openings {
		o := &n.openings[k]
		if v := n.qs[k]; v > 0 {
			n.flow[o.from][o.to] += v
		} else {
			n.flow[o.to][o.from] -= v
		}
		if o.gusts > 0 && o.areaM2 > 0 {
			// Gusts drive air in and out of one opening: about 0.025 A v for one
			// room (single-sided ventilation, BS 5925; from memory).
			v := o.gusts * o.areaM2 * a.windMS
			n.flow[o.from][out] += v
			n.flow[out][o.from] += v
		}
	}
	n.flow[zoneHouse][out] += a.exhaustM3S
	if warm := a.zoneC[zoneHouse] - a.zoneC[zoneLoft]; warm > 0 {
		// Warm air below cold: two-way exchange through the hatch's gap.
		v := 0.05 * n.hatchM2 * math.Sqrt(gravity*0.1*warm/(a.zoneC[zoneLoft]+kelvin))
		n.flow[zoneHouse][zoneLoft] += v
		n.flow[zoneLoft][zoneHouse] += v
	}
	return worst
}
