//go:build trials

package repair_test

import (
	"dewcase/internal/reason/mechanism"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
)

// The room of the witness imports this one, so that its trials are handed it from
// outside.
func init() {
	repair.TrialWitness = func(set *series.Set) repair.Witness { return mechanism.NewWitness(set) }
}
