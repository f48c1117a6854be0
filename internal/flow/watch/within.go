package watch

import (
	"math"
	"slices"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// evidence is what a look has for and against water that comes from within the
// house or the roof. Water that forms under any roof on clear nights is dew from
// outdoor air and no defect; it must not ring. What tells the two apart is
// vapour: a roof that is fed from within holds more of it than outdoor air, and
// where the water on a surface is mere dew the air that meets it is no damper
// than outdoors while it is wet.
type traces struct {
	outdoors bool // there is an outdoor logger
	// loftPa is the vapour pressure above outdoors of the loft, or of the void
	// where no logger is in the loft, mean of the last three days.
	loftPa float64
	// coverPa and feltPa are the vapour pressure above outdoors of the air that
	// meets the underside of the covering, and the surfaces below it, mean over
	// the wet hours of the last three days; 0 without such hours.
	coverPa, feltPa float64
	// healthy is the diagnosis's support for no defect, nil before it rests on
	// enoughDays.
	healthy *float64
}

const (
	evidenceH = 72 // hours that the vapour is taken over
	seenH     = 12 // of them observed, at least
	wetSeenH  = 0.3
	// enoughDays is how long a record the diagnosis must rest on to count.
	enoughDays = 10
)

// The log odds that water comes from within, a logistic regression:
//
//	L = b0 + b1 loftPa/100 + b2 coverPa/100 + b3 feltPa/100
//	    + b4 + b5 ln(healthy/(1-healthy))
//
// The last two terms only once there is a diagnosis; pressures are bounded to
// excessMinPa and excessMaxPa. Fitted by TestTrainWithin (build tag trials) on
// simulated winters of internal/physics/roofsim with ordinary loggers that no test and
// no trial is judged by; on the measured roofs of no defect it must stay low.
var withinBeta = [...]float64{-0.77, 2.91, 0.71, 0.50, -0.90, -1.02}

const (
	excessMinPa, excessMaxPa = -150.0, 300.0
	// From even odds the household gets its one note.
	unsureLogOdds = 0.0
	// A household is told outright from odds of 90 to 1, and not before there is
	// a diagnosis.
	dampLogOdds = 4.5
)

// terms are what the coefficients multiply.
func (e traces) terms() []float64 {
	part := func(pa float64) float64 { return min(max(pa, excessMinPa), excessMaxPa) / 100 }
	x := []float64{1, part(e.loftPa), part(e.coverPa), part(e.feltPa), 0, 0}
	if e.healthy != nil {
		x[4], x[5] = 1, logit(*e.healthy)
	}
	return x
}

// logOdds that the water of this roof comes from within.
func (e traces) logOdds() float64 {
	sum := 0.0
	for i, x := range e.terms() {
		sum += withinBeta[i] * x
	}
	return sum
}

func logit(p float64) float64 {
	p = min(max(p, 0.02), 0.98)
	return math.Log(p / (1 - p))
}

// level says whose water it is. Without an outdoor logger the diagnosis decides
// alone, which never goes beyond possible damp, and without either a wetting
// counts as that: better once too often than a drip unannounced.
func (e traces) level() alert.Level {
	x := e.logOdds()
	if !e.outdoors {
		if e.healthy == nil {
			return alert.Unsure
		}
		x = -logit(*e.healthy)
	}
	switch {
	case x >= dampLogOdds && e.healthy != nil:
		return alert.Damp
	case x >= unsureLogOdds:
		return alert.Unsure
	}
	return alert.Dew
}

func (w *record) evidence(s *Slow) traces {
	e := traces{outdoors: w.outPa != nil}
	if s != nil && s.Days >= enoughDays {
		e.healthy = s.Healthy
	}
	if !e.outdoors {
		return e
	}
	e.loftPa = w.excess(w.lofts())
	for _, s := range w.surfaces {
		pa, ok := w.wetExcess(s)
		switch {
		case !ok:
		case s.pos.Place == roof.CoveringUnderside:
			e.coverPa = damper(e.coverPa, pa)
		default:
			e.feltPa = damper(e.feltPa, pa)
		}
	}
	return e
}

// damper is the larger of two excesses, where 0 is none so far.
func damper(have, pa float64) float64 {
	if have == 0 {
		return pa
	}
	return max(have, pa)
}

// excess is the mean vapour pressure in Pa above outdoors of the damper of the
// positions at a place; 0 where none was seen.
func (w *record) excess(place roof.Place) float64 {
	out := 0.0
	for _, a := range w.airs {
		sum, n := 0.0, 0
		for j := max(0, w.n-evidenceH); j < w.n; j++ {
			if d := a.pa[j] - w.outPa[j]; !math.IsNaN(d) {
				sum += d
				n++
			}
		}
		if a.pos.Place == place && n >= seenH {
			out = damper(out, sum/float64(n))
		}
	}
	return out
}

// wetExcess is the mean vapour pressure in Pa above outdoors of the air that
// meets a surface, over its wet hours.
func (w *record) wetExcess(s surface) (pa float64, ok bool) {
	hours := 0.0
	for j := max(0, w.n-evidenceH); j < w.n; j++ {
		if d := s.airPa[j] - w.outPa[j]; s.wet[j] > 0 && !math.IsNaN(d) {
			pa += s.wet[j] * d
			hours += s.wet[j]
		}
	}
	return pa / max(hours, wetSeenH), hours > wetSeenH
}

// lofts are the places whose vapour tells of the house: the loft, or the void
// where no logger is in the loft.
func (w *record) lofts() roof.Place {
	if slices.ContainsFunc(w.airs, func(a air) bool { return a.pos.Place == roof.LoftAir }) {
		return roof.LoftAir
	}
	return roof.BattenVoidAir
}
