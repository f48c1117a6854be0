package repair

import (
	"math"

	"dewcase/internal/physics/psychro"
)

// drawing is the margin after the repair in both runs and as measured, half
// hour by half hour without a break, for the pictures.
func (j *judge) drawing(l *look) []Point {
	t := l.trial
	out := make([]Point, 0, t.end-t.repair)
	pw, po := l.with.voidOut, l.without.voidOut
	sat := l.with.coverSat
	if j.s.onLoft {
		pw, po, sat = l.with.loftOut, l.without.loftOut, 1
	}
	air, sfc := j.s.airClimate(), j.s.surfaceTemp()
	for k := t.repair; k < t.end; k++ {
		a, b := t.bins[k].coverPa, l.bare[k].coverPa
		if j.s.onLoft {
			a, b = t.bins[k].layPa, l.bare[k].layPa
		}
		p := Point{AtMS: j.s.at(k), WithK: marginK(a*sat, pw[k]), WithoutK: marginK(b*sat, po[k])}
		if air.pa.seen[k] && sfc.seen[k] {
			m := j.m.marginK[k]
			p.MeasuredK = &m
		}
		out = append(out, p)
	}
	return out
}

// marginK is how far a surface with this saturation pressure stands above the
// limit of air at pa.
func marginK(satPa, pa float64) float64 {
	return psychro.LimitC(satPa) - psychro.LimitC(math.Max(pa, 1))
}
