package watch

import (
	"math"
	"slices"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/outlook"
	"dewcase/internal/roof"
)

// Tonight is the chance that water forms somewhere in the roof before noon: that
// of the likeliest surface that speaks for the house. Nil where no surface was observed in the last hours.
func Tonight(in Input) *float64 {
	w := newRecord(in)
	var out *float64
	speaking := Speaking(in.Case, in.Now)
	for k, s := range w.surfaces {
		if !slices.ContainsFunc(speaking, func(p roof.Position) bool { return p.ID == s.pos.ID }) {
			continue
		}
		if o, ok := outlook.Tonight(w.course(k), in.Now, in.Forecast); ok && (out == nil || o.P > *out) {
			p := o.P
			out = &p
		}
	}
	return out
}

// course lays one surface out for the outlook.
func (w *record) course(k int) outlook.Course {
	s := w.surfaces[k]
	c := outlook.Course{FromMS: w.in.FromMS, Zone: w.zone, WetH: s.wet, ObservedH: s.observed,
		MarginK: make([]float64, w.n), LimitC: make([]float64, w.n)}
	for i, r := range w.in.Rows {
		c.MarginK[i], c.LimitC[i] = math.NaN(), math.NaN()
		if r.Surfaces[k].ObservedMS > 0 {
			c.MarginK[i] = r.Surfaces[k].MarginMean
		}
		if !math.IsNaN(s.airPa[i]) {
			c.LimitC[i] = psychro.LimitC(s.airPa[i])
		}
	}
	c.OutdoorC, c.OutdoorDewC = make([]float64, w.n), make([]float64, w.n)
	for i, r := range w.in.Rows {
		c.OutdoorC[i], c.OutdoorDewC[i] = math.NaN(), math.NaN()
		for p, pos := range w.in.Case.Positions {
			if pos.Place != roof.OutdoorAir || p >= len(r.Positions) {
				continue
			}
			if b := r.Positions[p]; b.TempC.ObservedMS > 0 && math.IsNaN(c.OutdoorC[i]) {
				c.OutdoorC[i] = b.TempC.Mean
				if b.DewPointC.ObservedMS > 0 {
					c.OutdoorDewC[i] = b.DewPointC.Mean
				}
			}
		}
	}
	return c
}
