package cause

import (
	"math"

	"dewcase/internal/physics/psychro"
)

// places are the courses the features are made of, hour by hour; nil where the
// case has no such position or it was observed too little.
type places struct {
	outdoor, indoor, loft, underlay *air
	void, covering                  *air
}

// figures are the features with their standard errors and by-products.
type figures struct {
	value    [features]float64
	se       [features]float64 // standard uncertainty, missing where unknown
	eiPa     float64           // mean excess of the house over outdoors
	fast     response
	airHour  float64 // apparent loft air changes an hour
	hu, hc   float64 // expected condensing hours in 30 days
	hca      float64 // of hc, those that outdoor air alone would not give
	nightLU  float64 // mean of T_l - T_u over nights
	nightIL  float64 // mean of T_i - T_l over nights
	wetAtU   []float64
	wetAtC   []float64
	fallK    []float64 // T_o - T_c by night
	outC     float64   // mean outdoor temperature
	outSatPa float64
}

const (
	monthHours   = 720.0 // hours in 30 days
	probeScaleK  = 0.5   // softening of a threshold in temperature
	probeScaleRH = 2.0   // and in humidity
)

// chanceWet is the chance hour by hour that a surface is at or below the dew
// point of the air that meets it, softened by 0.5 K.
func chanceWet(dew, surfaceC []float64, shiftK float64) []float64 {
	return each(func(v ...float64) float64 { return normalCDF((v[0] - v[1] + shiftK) / probeScaleK) }, dew, surfaceC)
}

// extract makes the features of section 3 from the courses.
func extract(g grid, p places) figures {
	f := figures{eiPa: missing, airHour: missing, hu: missing, hc: missing, hca: missing, nightLU: missing,
		nightIL: missing, outC: missing, outSatPa: missing}
	for i := range f.value {
		f.value[i], f.se[i] = missing, missing
	}
	f.fast = fastResponse(g, p)
	if !p.outdoor.empty() {
		f.outC = mean(p.outdoor.tempC)
		f.outSatPa = mean(satWater(p.outdoor.tempC))
	}
	f.load(p)
	f.value[fWo], f.se[fWo], f.value[fWiZ] = f.fast.wo, f.fast.seWo, f.fast.wiZ
	if known(f.fast.wiZ) {
		f.se[fWiZ] = 1
	}
	f.value[fSb], f.se[fSb] = slowBalance(p)
	f.houseHeat(g, p)
	f.coveringAndVoid(g, p)
	f.trends(g, p)
	return f
}

func (f *figures) load(p places) {
	o, i, l := p.outdoor, p.indoor, p.loft
	if !o.empty() && !i.empty() {
		f.eiPa = mean(minus(i.vapourPa, o.vapourPa))
	}
	if !l.empty() {
		rh := each(func(v ...float64) float64 { return 100 * v[0] / psychro.SatWaterPa(v[1]) }, l.vapourPa, l.tempC)
		f.value[fRH90], f.se[fRH90] = overLimit(rh, 90, probeScaleRH, l.uRHPct)
	}
	if o.empty() || l.empty() {
		return
	}
	el := mean(minus(l.vapourPa, o.vapourPa))
	f.value[fEl] = el
	f.se[fEl] = math.Hypot(vapourUncertaintyPa(l), vapourUncertaintyPa(o))
	if known(f.fast.wo) {
		f.airHour = 1.7 * math.Max(f.fast.wo, 0.02) / math.Max(f.fast.wt, 0.1)
		load := math.Max(0, f.airHour*el*24000/(461.5*278))
		f.value[fLflux] = math.Log(2 + load)
		if known(f.eiPa) && known(el) {
			wi := math.Max(f.fast.wi, 0)
			mix := wi / (wi + math.Max(f.fast.wo, 0.08))
			f.value[fSrc] = el/math.Max(f.eiPa, 40) - mix
			f.se[fSrc] = f.se[fEl] / math.Max(f.eiPa, 40)
		}
	}
	if u := p.underlay; !u.empty() {
		dew := dewC(l.vapourPa)
		f.wetAtU = chanceWet(dew, u.tempC, 0)
		f.hu = monthHours * mean(f.wetAtU)
		f.value[fLHu] = math.Log(4 + f.hu)
		f.se[fLHu] = hoursUncertainty(dew, u, l)
	}
	if b := p.void; !b.empty() {
		f.value[fElB] = el - mean(minus(b.vapourPa, o.vapourPa))
		f.se[fElB] = math.Hypot(vapourUncertaintyPa(l), vapourUncertaintyPa(b))
	}
}

// overLimit is the expected hours in 30 days above a limit, softened, and half
// the range that one standard uncertainty of the offset moves it.
func overLimit(x []float64, limit, soft, u float64) (hours, se float64) {
	at := func(shift float64) float64 {
		return monthHours * mean(each(func(v ...float64) float64 { return normalCDF((v[0] + shift - limit) / soft) }, x))
	}
	if !known(u) {
		return at(0), missing
	}
	return at(0), (at(u) - at(-u)) / 2
}

// hoursUncertainty is what one standard uncertainty of the offsets of both
// loggers moves the expected condensing hours in 30 days.
func hoursUncertainty(dew []float64, surface, meets *air) float64 {
	uDew := dewUncertaintyK(meets)
	u := math.Hypot(surface.uTempC, uDew)
	if !known(u) {
		return missing
	}
	return monthHours * (mean(chanceWet(dew, surface.tempC, u)) - mean(chanceWet(dew, surface.tempC, -u))) / 2
}

// vapourUncertaintyPa is the standard uncertainty of a position's mean vapour
// pressure from its loggers' offsets (physics, section 2); missing if unknown.
func vapourUncertaintyPa(a *air) float64 {
	p, t := mean(a.vapourPa), mean(a.tempC)
	if !known(p) || !known(t) || !known(a.uTempC) || !known(a.uRHPct) {
		return missing
	}
	return math.Hypot(p*psychro.LogSlopeWater(t)*a.uTempC, psychro.SatWaterPa(t)*a.uRHPct/100)
}

// dewUncertaintyK is the same in kelvin of dew point.
func dewUncertaintyK(a *air) float64 {
	p := mean(a.vapourPa)
	if !known(p) || !(p > 0) {
		return missing
	}
	d, err := psychro.DewPointC(p)
	if err != nil {
		return missing
	}
	return vapourUncertaintyPa(a) / (p * psychro.LogSlopeWater(d))
}

// houseHeat is heat: how much warmer than the underlay the loft is on nights
// for each kelvin between house and loft.
func (f *figures) houseHeat(g grid, p places) {
	if p.indoor.empty() || p.loft.empty() || p.underlay.empty() {
		return
	}
	up, across, n := 0.0, 0.0, 0
	for k, dark := range g.dark() {
		ti, tl, tu := p.indoor.tempC[k], p.loft.tempC[k], p.underlay.tempC[k]
		if dark && known(ti) && known(tl) && known(tu) {
			up, across, n = up+tl-tu, across+ti-tl, n+1
		}
	}
	if n < 24 {
		return
	}
	f.nightLU, f.nightIL = up/float64(n), across/float64(n)
	if f.nightIL < 1 {
		return // house and loft are equally warm: nothing to divide by
	}
	f.value[fHeat] = f.nightLU / f.nightIL
	f.se[fHeat] = math.Hypot(p.loft.uTempC, p.underlay.uTempC) / f.nightIL
}

// coveringAndVoid makes vo, lHc, where and uc.
func (f *figures) coveringAndVoid(g grid, p places) {
	o, l, b, c := p.outdoor, p.loft, p.void, p.covering
	f.value[fVo], f.se[fVo] = voidFollows(o, l, b)
	if o.empty() || c.empty() {
		return
	}
	dark := g.dark()
	f.fallK = minus(o.tempC, c.tempC)
	for k := range f.fallK {
		if !dark[k] {
			f.fallK[k] = missing
		}
	}
	if countKnown(f.fallK) >= 24 {
		f.value[fUc], _ = quantile(f.fallK, 0.95)
		f.se[fUc] = math.Hypot(o.uTempC, c.uTempC)
	}
	if b.empty() {
		return
	}
	dew := dewC(b.vapourPa)
	f.wetAtC = chanceWet(dew, c.tempC, 0)
	f.hc = monthHours * mean(f.wetAtC)
	f.value[fLHc] = math.Log(4 + f.hc)
	f.se[fLHc] = hoursUncertainty(dew, c, b)
	outdoors := chanceWet(dewC(o.vapourPa), c.tempC, 0)
	f.hca = monthHours * mean(each(func(v ...float64) float64 { return v[0] - math.Min(v[0], v[1]) }, f.wetAtC, outdoors))
	if known(f.hu) && known(f.hca) {
		f.value[fWhere] = math.Log((8 + f.hca) / (8 + f.hu))
	}
}

// trends makes rt, decay and decayI from means over four days.
func (f *figures) trends(g grid, p places) {
	o, i, l := p.outdoor, p.indoor, p.loft
	if o.empty() {
		return
	}
	number := func(n int) (ones, k []float64) {
		ones, k = make([]float64, n), make([]float64, n)
		for j := range k {
			ones[j], k[j] = 1, float64(j)
		}
		return ones, k
	}
	atLeast := func(floor float64) func(v ...float64) float64 {
		return func(v ...float64) float64 { return math.Log(math.Max(v[0], floor)) }
	}
	const perMonth = 7.5 // blocks of four days in 30 days
	if !l.empty() {
		el := blocks(minus(l.vapourPa, o.vapourPa), 96)
		f.value[fRt] = rankTrend(el)
		if n := countKnown(el); n > 3 && known(f.value[fRt]) {
			f.se[fRt] = math.Sqrt((1 - f.value[fRt]*f.value[fRt]) / float64(n-2))
		}
		ones, k := number(len(el))
		warm := each(func(v ...float64) float64 { return math.Log(v[0]) }, blocks(satWater(l.tempC), 96))
		if r, ok := leastSquares(each(atLeast(15), el), 4, ones, warm, k); ok {
			f.value[fDecay], f.se[fDecay] = perMonth*r.coef[2], perMonth*math.Sqrt(r.cov[2][2])
		}
	}
	if !i.empty() {
		ei := blocks(minus(i.vapourPa, o.vapourPa), 96)
		ones, k := number(len(ei))
		if r, ok := leastSquares(each(atLeast(40), ei), 4, ones, blocks(o.tempC, 96), k); ok {
			f.value[fDecayI], f.se[fDecayI] = perMonth*r.coef[2], perMonth*math.Sqrt(r.cov[2][2])
		}
	}
}
