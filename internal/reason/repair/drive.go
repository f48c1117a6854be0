package repair

import (
	"math"

	"dewcase/internal/physics/psychro"

	"dewcase/internal/reason/evidence"
)

// temps are the temperatures of one run in C, bin by bin: of loft and void air
// and of the covering's underside.
type temps struct{ loft, air, cover []float64 }

func (s *site) measuredTemps() temps {
	return temps{s.loft.tempC.v, s.void.tempC.v, s.cover.v}
}

// drive works out what drives the model from the temperatures of one run. Only
// bins [from, to) are set; running means start from the measured ones before
// from, so that both runs share their past.
func (s *site) drive(dst []bin, t temps, from, to int, wind bool) {
	a1, a2, a3 := 1-math.Exp(-stepH/1), 1-math.Exp(-stepH/2), 1-math.Exp(-stepH/3)
	measured := s.measuredTemps()
	begin := max(from-48, 0) // running means of at most 3 h have forgotten a day ago
	under, cover2, loft3 := s.out.tempC.v[begin]-measured.cover[begin], measured.cover[begin], measured.loft[begin]
	var e []float64
	if wind {
		e = s.windExponent()
	}
	for k := begin; k < to; k++ {
		src := &t
		if k < from {
			src = &measured
		}
		to, tl, tc, tb := s.out.tempC.v[k], src.loft[k], src.cover[k], src.air[k]
		under += a1 * (to - tc - under)
		cover2 += a2 * (tc - cover2)
		loft3 += a3 * (tl - loft3)
		if k < from {
			continue
		}
		tu, ti := s.lay.v[k], s.in.tempC.v[k]
		b := &dst[k]
		b.outPa, b.inPa = s.out.pa.v[k], s.in.pa.v[k]
		b.stack = math.Sqrt(math.Max(ti-tl, 0.3) / 15)
		b.battenSat = psychro.SatWaterPa((tc + tu) / 2)
		b.coverPa, b.layPa = psychro.SatSurfacePa(tc), psychro.SatSurfacePa(tu)
		b.calm = clamp(under, -1, 5)
		b.loftLift, b.voidLift = math.Sqrt(math.Abs(tl-to))-1.2, math.Sqrt(math.Abs(tc-to))-1
		b.woodSat = psychro.SatWaterPa((loft3 + cover2) / 2)
		b.woodSun = 0.07 * (cover2 - loft3)
		b.loftPa, b.airPa = psychro.SatWaterPa(tl)/100, psychro.SatWaterPa(tb)/100
		b.windL, b.windB = 0, 0
		if wind && e != nil {
			b.windL = e[k]
			b.windB = e[k]
		}
	}
}

// windExponent is 0.5 ln((u/median)^2 + 0.15 |dT| + 0.05) less its mean, u the
// centred 3 h mean of a station's wind, and 0 in gaps over 3 h; the loft's
// temperature difference serves both, as the sensitivity row asks no more.
func (s *site) windExponent() []float64 {
	if !s.wind.any {
		return nil
	}
	u, seen := make([]float64, s.n), make([]bool, s.n)
	var all []float64
	for k := range u {
		n, sum := 0, 0.0
		for j := max(k-3, 0); j <= min(k+3, s.n-1); j++ {
			if s.wind.seen[j] {
				n, sum = n+1, sum+s.wind.v[j]
			}
		}
		if n > 0 {
			u[k], seen[k] = sum/float64(n), true
			all = append(all, u[k])
		}
	}
	med := math.Max(evidence.Median(all), 0.1)
	e := make([]float64, s.n)
	sum, n := 0.0, 0
	for k := range e {
		if seen[k] {
			x := u[k] / med
			e[k] = 0.5 * math.Log(x*x+0.15*math.Abs(s.loft.tempC.v[k]-s.out.tempC.v[k])+0.05)
			sum, n = sum+e[k], n+1
		}
	}
	for k := range e {
		if seen[k] {
			e[k] -= sum / float64(n)
		}
	}
	return e
}
