package repair

import "dewcase/internal/roof"

// Witness tells by temperature, which shares no reading of humidity, what a work
// changed of the flow through the ceiling.
type Witness interface {
	// Ceiling is by how many standard errors the flow has grown since the repair
	// (below 0: shrunk), by the readings before untilMS; 0 where it cannot be told.
	Ceiling(e roof.Event, untilMS int64) float64
}

// What ceiling work alone must show besides. The fitted flow through a ceiling that
// nobody touched strays by 0.37 in its logarithm (standard deviation; 0.35 at the
// ends of 250 winters): a change under twice that is not told from its wandering.
// And the loft's temperature, where it can tell at all, must lean to the same side:
// of 90 winters of untouched ceilings one in seven does so by half a standard
// error, of ceilings truly sealed nearly all.
const (
	ceilingStray = 0.37
	leastLean    = 0.5
)

// ceilingShown asks that, of ceiling work alone, for a verdict whose hours fell (way 1)
// or rose (-1).
func (j *judge) ceilingShown(l *look, way float64) bool {
	return j.ceilingStands(l, way) && j.ceilingLeans(l, way)
}

func (tm terms) ofCeiling() bool { return tm.credit == [3]bool{false, true, false} }

// ceilingStands says that the fitted flow changed by more than it strays.
func (j *judge) ceilingStands(l *look, way float64) bool {
	if !j.terms.ofCeiling() {
		return true
	}
	_, c, _ := l.trial.changes(&l.fit.u)
	return -way*c >= 2*ceilingStray
}

// ceilingLeans says that the loft's temperature leans to the same side, where it can
// tell.
func (j *judge) ceilingLeans(l *look, way float64) bool {
	if !j.terms.ofCeiling() || j.witness == nil {
		return true
	}
	if l.lean == nil {
		z := j.witness.Ceiling(j.s.event, j.s.at(l.end))
		l.lean = &z
	}
	return *l.lean == 0 || -way**l.lean >= leastLean
}
