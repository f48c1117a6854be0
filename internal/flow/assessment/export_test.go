package assessment

import (
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/series"
)

// PhysicsOf is the physics alone, for benchmarks.
func PhysicsOf(set *series.Set) Physics {
	return physics(set, cause.Finding{Finding: cause.Undetermined})
}
