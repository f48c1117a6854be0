package mechanism

import (
	"math"

	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// Witness is the loft's temperature beside the humidity that a verdict on wet hours
// rests on.
type Witness struct{ a *assessor }

// NewWitness prepares to be asked about the repairs of one set.
func NewWitness(set *series.Set) Witness { return Witness{newAssessor(set)} }

// Ceiling is by how many standard errors the flow of air through the ceiling has
// grown since a repair by the loft's heat balance, of the readings before untilMS;
// 0 where temperatures do not tell. Nights beyond lastPairNight add nothing.
func (w Witness) Ceiling(e roof.Event, untilMS int64) float64 {
	p := w.a.pairOf(e).looks
	if p == nil {
		return 0
	}
	n := min(int((untilMS-p.r.atMS)/dayMS), p.r.until, lastPairNight)
	if n < firstPairNight {
		return 0
	}
	c := p.balances[ceilingPart].after(&p.bases[ceilingPart], n)
	if !p.witnesses(&c, p.r.mean(p.out, 1, n)) || math.IsNaN(c.z) {
		return 0
	}
	return c.z
}
