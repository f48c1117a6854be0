package repair

import (
	"math"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/evidence"
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

func (s *site) measure() measured {
	m := measured{make([]float64, s.n), make([]float64, s.n), make([]float64, s.n), false}
	air, sfc := s.airClimate(), s.surfaceTemp()
	for k := range s.n {
		if !air.pa.seen[k] || !sfc.seen[k] {
			continue
		}
		m.marginK[k] = sfc.v[k] - psychro.LimitC(air.pa.v[k])
		ts, ta, rh, ok := s.errors(k)
		m.exact = m.exact || !ok
		m.wet[k], m.risk[k] = chances(m.marginK[k], air.tempC.v[k], air.pa.v[k], ts.HalfWidth(), ta.HalfWidth(),
			rh.HalfWidth())
	}
	return m
}

// errors are those behind the margin in bin k: of the surface's temperature, of
// the air's and of its humidity; all exact where one is unknown.
func (s *site) errors(k int) (ts, ta, rh evidence.Error, ok bool) {
	sfc, air := evidence.StintAt(s.surface.Stints, s.at(k)), evidence.StintAt(s.air.Stints, s.at(k))
	ts, ok1 := evidence.ErrorOf(s.surface.Stints[sfc], roof.TempC)
	ta, ok2 := evidence.ErrorOf(s.air.Stints[air], roof.TempC)
	rh, ok3 := evidence.ErrorOf(s.air.Stints[air], roof.RHPct)
	if !(ok1 && ok2 && ok3) {
		return evidence.Error{}, evidence.Error{}, evidence.Error{}, false
	}
	return ts, ta, rh, true
}

// chances are the probabilities that the true margin is at or below 0 and AtRiskK.
func chances(margin, airC, pa, limitTs, limitTa, limitRH float64) (wet, risk float64) {
	if limitTs == 0 && limitTa == 0 && limitRH == 0 {
		return step(margin <= 0), step(margin <= evidence.AtRiskK)
	}
	rh := rhPct(airC, pa)
	perK, perPct := evidence.LimitSlopes(airC, pa, rh)
	spreadK := math.Sqrt((limitTs*limitTs + perK*perK*limitTa*limitTa) / 3)
	for _, e := range errorPoints {
		m := margin - perPct*math.Min(e*limitRH, 100-rh)
		wet += below(0-m, spreadK)
		risk += below(evidence.AtRiskK-m, spreadK)
	}
	n := float64(len(errorPoints))
	return wet / n, risk / n
}

// rhPct is the relative humidity of air in %, at most 100.
func rhPct(airC, pa float64) float64 { return math.Min(100*pa/psychro.SatWaterPa(airC), 100) }

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
