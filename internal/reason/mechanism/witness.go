package mechanism

import (
	"math"

	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// Witness is the loft's temperature as a second witness beside the humidity that a
// verdict on wet hours rests on.
type Witness struct{ a *assessor }

// NewWitness prepares to be asked about the repairs of one set.
func NewWitness(set *series.Set) Witness { return Witness{newAssessor(set)} }

// Sign is by how many standard errors the loft's exchange with outdoor air, or the
// flow through the ceiling, has grown since a repair by the loft's heat balance, of
// the readings before untilMS; 0 where temperatures do not tell, and for any other
// change. Nights beyond lastPairNight add nothing.
func (w Witness) Sign(e roof.Event, _ roof.Position, exchange roof.Change, untilMS int64) float64 {
	part := loftPart
	switch exchange {
	case roof.LoftVentilation:
	case roof.CeilingChange:
		part = ceilingPart
	default:
		return 0
	}
	p := w.a.pairOf(e).looks
	if p == nil {
		return 0
	}
	n := min(int((untilMS-p.r.atMS)/dayMS), p.r.until, lastPairNight)
	if n < firstPairNight {
		return 0
	}
	c := p.balances[part].after(&p.bases[part], n)
	if !p.witnesses(&c, p.r.mean(p.out, 1, n)) || math.IsNaN(c.z) {
		return 0
	}
	return c.z
}
