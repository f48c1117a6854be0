package watch

import (
	"math"
	"slices"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/outlook"
	"dewcase/internal/roof"
)

// Tonight is the chance that water forms somewhere in the roof before noon: that
// of the likeliest surface that speaks for the house. Nil where no surface was
// observed in the last hours.
func Tonight(in Input) *float64 {
	w := in.record()
	var out *float64
	speaking := HouseholdSurfaces(in.Case, in.Now)
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
		MarginK: missing(w.n), LimitC: missing(w.n), OutdoorC: w.outC, OutdoorDewC: missing(w.n)}
	for i, r := range w.in.Rows {
		if r.Surfaces[k].ObservedMS > 0 {
			c.MarginK[i] = r.Surfaces[k].MarginMean
		}
		if !math.IsNaN(s.airPa[i]) {
			c.LimitC[i] = psychro.LimitC(s.airPa[i])
		}
	}
	if w.outC == nil {
		c.OutdoorC = missing(w.n)
	}
	for i, pa := range w.outPa {
		if math.IsNaN(pa) {
			continue
		}
		if dew, err := psychro.DewPointC(max(pa, psychro.FloorPa)); err == nil {
			c.OutdoorDewC[i] = dew
		}
	}
	return c
}
