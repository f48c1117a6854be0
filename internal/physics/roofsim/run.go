package roofsim

import (
	"math"
	"time"
)

// Hygroscopic solids of the roof.
const (
	sHouse = iota
	sTimber
	sBattenA
	sBattenB
	sCoverA
	sCoverB
	slabs
)

var slabZone = [slabs]int{zoneHouse, zoneLoft, zoneVoidA, zoneVoidB, zoneVoidA, zoneVoidB}

// state is everything that changes from step to step; it is copied to fork a
// winter.
type state struct {
	world   *World
	geo     geometry
	net     *network
	weather *weather
	living  *living

	t              [nodes]float64
	indoorC, wallC float64
	p              [zones]float64
	slabs          [slabs]slab
	films          [films]film
	outer          [2]float64
	patchM2        float64
	drippedKg      float64
	leakFactor     float64
	woodJK         float64
	latentIn       [2]float64
	latentOut      [2]float64
	latentUnder    [2]float64
	ledger         ledger
	imbalance      float64 // greatest air imbalance met, m3/s
}

// ledger books water over the roof's border, kg.
type ledger struct{ inKg, outKg, runKg float64 }

func (s *state) slabTemp(i int) float64 {
	switch i {
	case sHouse:
		return s.indoorC
	case sTimber:
		return s.t[nWood]
	case sBattenA:
		return 0.5 * (s.t[nUnderlayA] + s.t[nCoverA])
	case sBattenB:
		return 0.5 * (s.t[nUnderlayB] + s.t[nCoverB])
	case sCoverA:
		return s.t[nCoverA]
	default:
		return s.t[nCoverB]
	}
}

// waterKg is all water inside the roof's border: air, solids, films, patch.
func (s *state) waterKg() float64 {
	g := &s.geo
	t := vapourStore * (g.houseM3*s.p[zoneHouse] + g.loftM3*s.p[zoneLoft] + g.voidM3*(s.p[zoneVoidA]+s.p[zoneVoidB]))
	for i := range s.slabs {
		t += s.slabs[i].waterKg()
	}
	for sl := range 2 {
		t += g.slopeM2 * (s.films[fCoverA+sl].kgM2 + s.films[fUnderA+sl].kgM2 + 0.5*s.films[fPoolA+sl].kgM2)
	}
	return t + s.patchM2*s.films[fPatch].kgM2
}

// Which slopes a repair reaches.
type Which int

// Both slopes, or one.
const (
	Both Which = iota
	OnlyA
	OnlyB
)

// Repair is work on the roof. A nil size is left as it was.
type Repair struct {
	At                       time.Time
	Slopes                   Which
	VoidEavesMM, VoidRidgeMM *float64
	LoftEavesMM, LoftRidgeMM *float64
	CeilingLeakFactor        float64 // 0 leaves it
	UnderlaySdM              *float64
	LeakFactor               *float64 // of rain and plumbing; 0 mends it
}

// Apply returns the roof after the work.
func (r Repair) Apply(b Roof) Roof {
	for s := range 2 {
		if r.Slopes == OnlyA && s != SlopeA || r.Slopes == OnlyB && s != SlopeB {
			continue
		}
		if r.VoidEavesMM != nil {
			b.VoidEavesMM[s] = *r.VoidEavesMM
		}
		if r.VoidRidgeMM != nil {
			b.VoidRidgeMM[s] = *r.VoidRidgeMM
		}
	}
	if r.LoftEavesMM != nil {
		b.LoftEavesMM = *r.LoftEavesMM
	}
	if r.LoftRidgeMM != nil {
		b.LoftRidgeMM = *r.LoftRidgeMM
	}
	if r.CeilingLeakFactor != 0 {
		b.CeilingLeakMM2M2 *= r.CeilingLeakFactor
	}
	if r.UnderlaySdM != nil {
		b.UnderlaySdM = *r.UnderlaySdM
	}
	return b
}

// Options say how long to simulate and what is done on the way.
type Options struct {
	Days    int           // 0: 150
	Step    time.Duration // 0: 10 min
	Repairs []Repair      // in time order
}

// Winter is the true course of one simulated winter.
type Winter struct {
	World   World
	Start   time.Time
	Step    time.Duration
	N       int
	Repairs []Repair

	OutdoorC, OutdoorPa           []float64
	IndoorC, IndoorPa             []float64
	LoftC, LoftPa                 []float64
	Cloud, WindMS, SunWM2, RainMM []float64
	SkyC                          []float64
	Slope                         [2]Slope
	WoodSurfacePct, WoodMeanPct   []float64
	LoftACH, HouseACH             []float64
	CeilingM3H                    []float64 // house air into the loft, diffusion through the ceiling counted as air
	Away                          []bool
	// Water is the closing water balance of the whole run, kg.
	Water Balance
}

// Slope is the course of one slope.
type Slope struct {
	VoidC, VoidPa    []float64
	CoverC           []float64 // underside of the covering
	UnderlayC        []float64
	CoverFilmGM2     []float64 // dew or frost on the covering's underside
	UnderlayFilmGM2  []float64 // on the underlay's underside
	CoverRateGM2H    []float64 // deposition; negative dries
	UnderlayRateGM2H []float64
	VoidACH          []float64
}

// Balance is the water of a run: what it held at the start and end, what came
// in (household, leaks), what the air carried out (net) and what ran off.
type Balance struct{ StartKg, EndKg, InKg, AirKg, RunOffKg float64 }

// Run simulates a winter.
func Run(w World, o Options) *Winter {
	if o.Days <= 0 {
		o.Days = 150
	}
	if o.Step <= 0 {
		o.Step = 10 * time.Minute
	}
	dt := o.Step.Seconds()
	n := int(float64(o.Days) * 86400 / dt)
	s := newState(&w, n, dt)
	out := NewWinter(w, o, n)
	start := s.waterKg()
	next := 0
	roofNow := w.Roof
	for k := range n {
		at := w.Start.Add(time.Duration(k) * o.Step)
		for next < len(o.Repairs) && !at.Before(o.Repairs[next].At) {
			roofNow = o.Repairs[next].Apply(roofNow)
			s.rebuild(roofNow)
			if f := o.Repairs[next].LeakFactor; f != nil {
				s.leakFactor = *f
			}
			next++
		}
		s.step(k, dt)
		out.record(k, s)
	}
	out.Water = Balance{StartKg: start, EndKg: s.waterKg(), InKg: s.ledger.inKg, AirKg: s.ledger.outKg,
		RunOffKg: s.ledger.runKg}
	return out
}

// rebuild changes the roof under way, keeping its state.
func (s *state) rebuild(r Roof) {
	w := *s.world
	w.Roof = r
	s.world = &w
	x := s.net.x
	s.net = newNetwork(&w.House, &r)
	s.net.x = x
}

func (s *state) step(k int, dt float64) {
	a := air{outC: s.weather.tempC[k], windMS: s.weather.windMS[k] * s.world.House.ShelterFactor,
		windFrom: s.weather.dirDeg[k] * math.Pi / 180, azimuth: s.geo.azimuth,
		windowM2: s.living.windowM2[k], exhaustM3S: s.living.fanM3S[k]}
	a.zoneC = [zones]float64{s.indoorC, s.t[nLoft], s.t[nVoidA], s.t[nVoidB]}
	if d := s.net.solve(&a); d > s.imbalance {
		s.imbalance = d
	}
	s.indoorStep(k, dt)
	s.heatStep(k, dt)
	s.vapourStep(k, dt)
}

// newState begins with the roof in balance with the first hours' weather.
func newState(w *World, n int, dt float64) *state {
	s := &state{world: w, geo: newGeometry(&w.House, &w.Roof), net: newNetwork(&w.House, &w.Roof), leakFactor: 1}
	s.weather = makeWeather(w, n, dt)
	s.living = makeLiving(w, n, dt)
	to, po := 0.0, 0.0
	m := min(n, int(86400/dt))
	for k := range m {
		to += s.weather.tempC[k] / float64(m)
		po += s.weather.vapourPa[k] / float64(m)
	}
	for i := range s.t {
		s.t[i] = to
	}
	s.indoorC, s.wallC = w.Household.SetDayC-1, w.Household.SetDayC-2
	s.p = [zones]float64{po + 300, po, po, po}
	g := &s.geo
	r := &w.Roof
	s.woodJK = 450 * 1600 * g.timberM2 * r.TimberHalfM
	batten := math.Min(0.16, r.WoodMoisture)
	s.slabs[sHouse] = newSlab(plaster, 3, 0.012, w.House.BufferM2, filmBeta(2.5), 0.010)
	s.slabs[sTimber] = newSlab(pine, 5, r.TimberHalfM, g.timberM2, filmBeta(2.5), r.WoodMoisture)
	for sl := range 2 {
		s.slabs[sBattenA+sl] = newSlab(pine, 4, 0.0125, g.slopeM2*r.BattenM2M2, filmBeta(3), batten)
		if r.CoveringStoreKgM3 > 0 {
			c := cement
			c.saturatedKgM3 = r.CoveringStoreKgM3
			s.slabs[sCoverA+sl] = newSlab(c, 2, 0.003, g.slopeM2, 1/(1/filmBeta(coverHc)+0.15/airDelta),
				0.7*r.CoveringStoreKgM3/c.densityKgM3)
		}
	}
	return s
}

// NewWinter makes an empty record of n steps.
func NewWinter(w World, o Options, n int) *Winter {
	out := &Winter{World: w, Start: w.Start, Step: o.Step, N: n, Repairs: o.Repairs, Away: make([]bool, n)}
	all := out.series()
	block := make([]float64, n*len(all))
	for i, f := range all {
		*f = block[i*n : (i+1)*n : (i+1)*n]
	}
	return out
}

// series lists every recorded course.
func (w *Winter) series() []*[]float64 {
	all := []*[]float64{&w.OutdoorC, &w.OutdoorPa, &w.IndoorC, &w.IndoorPa, &w.LoftC, &w.LoftPa, &w.Cloud, &w.WindMS,
		&w.SunWM2, &w.RainMM, &w.SkyC, &w.WoodSurfacePct, &w.WoodMeanPct, &w.LoftACH, &w.HouseACH, &w.CeilingM3H}
	for s := range 2 {
		x := &w.Slope[s]
		all = append(all, &x.VoidC, &x.VoidPa, &x.CoverC, &x.UnderlayC, &x.CoverFilmGM2, &x.UnderlayFilmGM2, &x.CoverRateGM2H,
			&x.UnderlayRateGM2H, &x.VoidACH)
	}
	return all
}

func (w *Winter) record(k int, s *state) {
	wx, g := s.weather, &s.geo
	w.OutdoorC[k], w.OutdoorPa[k] = wx.tempC[k], wx.vapourPa[k]
	w.Cloud[k], w.WindMS[k], w.SunWM2[k], w.RainMM[k], w.SkyC[k] = wx.cloud[k], wx.windMS[k], wx.sunWM2[k], wx.rainMM[k],
		wx.skyC[k]
	w.IndoorC[k], w.IndoorPa[k] = s.indoorC, s.p[zoneHouse]
	w.LoftC[k], w.LoftPa[k] = s.t[nLoft], s.p[zoneLoft]
	w.WoodSurfacePct[k], w.WoodMeanPct[k] = s.slabs[sTimber].moisturePct(0.002), s.slabs[sTimber].moisturePct(1)
	fl := &s.net.flow
	w.LoftACH[k] = 3600 * fl[out][zoneLoft] / g.loftM3
	w.HouseACH[k] = 3600 * fl[out][zoneHouse] / g.houseM3
	w.CeilingM3H[k] = 3600 * (fl[zoneHouse][zoneLoft] + g.ceilingDiffusion(&s.world.House)/vapourStore)
	w.Away[k] = s.living.away[k]
	for sl := range 2 {
		x := &w.Slope[sl]
		x.VoidC[k], x.VoidPa[k] = s.t[nVoidA+3*sl], s.p[zoneVoidA+sl]
		x.CoverC[k], x.UnderlayC[k] = s.t[nCoverA+3*sl], s.t[nUnderlayA+3*sl]
		x.CoverFilmGM2[k], x.UnderlayFilmGM2[k] = 1000*s.films[fCoverA+sl].kgM2, 1000*s.films[fUnderA+sl].kgM2
		x.CoverRateGM2H[k], x.UnderlayRateGM2H[k] = 3.6e6*s.films[fCoverA+sl].rate, 3.6e6*s.films[fUnderA+sl].rate
		x.VoidACH[k] = 3600 * fl[out][zoneVoidA+sl] / g.voidM3
	}
}
