//go:build trials

package mechanism

import "testing"

// TestTrialsOnMeasuredRoofs pretends a repair every ten days on two measured roofs
// that nobody repaired, loft vents and ceiling work in turn, and looks every third
// night.
func TestTrialsOnMeasuredRoofs(t *testing.T) {
	for name, fits := range deckOfLoft {
		looked, changed := lofts(t, name, asCase(t, name, fits), 10)
		t.Logf("%s as a loft: %d pretended, changed %d", name, looked, changed)
	}
	for name, fits := range highPoint {
		looked, changed := lofts(t, name, asCase(t, name, fits), 10)
		t.Logf("%s with a void: %d pretended, changed %d", name, looked, changed)
	}
}
