package repair

import (
	"math"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// measured is what the loggers themselves say about each half hour of the
// judged surface: the chance that it was condensing and at risk, over the
// loggers' stated accuracy.
//
// The sum of the chances is the expectation of the hours whether or not errors
// are shared between half hours. It is taken on half-hour means here, so that
// measured and modelled hours are counted alike; the surface table counts the
// readings themselves.
type measured struct {
	marginK   []float64
	wet, risk []float64
	exact     bool // an accuracy is unknown: plain counts
}

// Points at which errors are evaluated: midpoints of equal parts of a
// rectangular distribution; a normal one is given the same points scaled to its
// standard deviation.
var errorPoints = [...]float64{-5.0 / 6, -0.5, -1.0 / 6, 1.0 / 6, 0.5, 5.0 / 6}

func limitOf(st series.Stint, q roof.Quantity) (float64, bool) {
	x, check := st.Accuracy.TempC, st.Offset.TempUncC
	if q == roof.RHPct {
		x, check = st.Accuracy.RHPct, st.Offset.RHUncPct
	}
	if check != nil {
		x = check
	}
	if x == nil {
		return 0, false
	}
	if st.Accuracy.K > 0 {
		return *x / st.Accuracy.K * math.Sqrt(3), true
	}
	return *x, true
}

func stintAt(st []series.Stint, ms int64) (series.Stint, bool) {
	for i := len(st) - 1; i >= 0; i-- {
		if ms >= st[i].FromMS || i == 0 {
			return st[i], true
		}
	}
	return series.Stint{}, false
}

func (s *site) measure() measured {
	m := measured{make([]float64, s.n), make([]float64, s.n), make([]float64, s.n), false}
	air, sfc := s.airClimate(), s.surfaceTemp()
	for k := range s.n {
		if !air.pa.seen[k] || !sfc.seen[k] {
			continue
		}
		ms := s.at(k)
		m.marginK[k] = sfc.v[k] - psychro.LimitC(air.pa.v[k])
		ss, ok1 := stintAt(s.surface.Stints, ms)
		sa, ok2 := stintAt(s.air.Stints, ms)
		ts, ok3 := limitOf(ss, roof.TempC)
		ta, ok4 := limitOf(sa, roof.TempC)
		rh, ok5 := limitOf(sa, roof.RHPct)
		if !(ok1 && ok2 && ok3 && ok4 && ok5) {
			m.exact = true
			ts, ta, rh = 0, 0, 0
		}
		m.wet[k], m.risk[k] = chances(m.marginK[k], air.tempC.v[k], air.pa.v[k], ts, ta, rh)
	}
	return m
}

// chances are the probabilities that the true margin is at or below 0 and 1 K.
func chances(margin, airC, pa, limitTs, limitTa, limitRH float64) (wet, risk float64) {
	if limitTs == 0 && limitTa == 0 && limitRH == 0 {
		return step(margin <= 0), step(margin <= 1)
	}
	sat := psychro.SatWaterPa(airC)
	rh := math.Min(100*pa/sat, 100)
	perK, perPct := limitSlopes(airC, pa)
	spreadK := math.Sqrt((limitTs*limitTs + perK*perK*limitTa*limitTa) / 3)
	for _, e := range errorPoints {
		m := margin - perPct*math.Min(e*limitRH, 100-rh)
		wet += below(0-m, spreadK)
		risk += below(1-m, spreadK)
	}
	n := float64(len(errorPoints))
	return wet / n, risk / n
}

// below is the chance that an error with the spread (of two rectangular terms,
// taken as normal) does not exceed x.
func below(x, spread float64) float64 {
	if spread < 1e-9 {
		return step(x >= 0)
	}
	return 0.5 * math.Erfc(-x/(spread*math.Sqrt2))
}

func step(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

func sumOver(v []float64, bins []int32) float64 {
	s := 0.0
	for _, k := range bins {
		s += v[k]
	}
	return s * stepH
}
