package watch

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/physics/roofsim"
)

// TestHouseholdsAreToldInTime is a fixed part of TestTrials (build tag trials):
// healthy roofs stay quiet, and what a defective one does is announced.
func TestHouseholdsAreToldInTime(t *testing.T) {
	if testing.Short() {
		t.Skip("half a minute of winters; run without -short")
	}
	var healthy, defective figures
	const days = 70
	for _, seed := range []uint64{910_000, 910_002, 910_008} {
		healthy.add(t, seed, roofsim.NoneFound, days)
	}
	healthy.add(t, 910_003, roofsim.NightSkyCooling, days)
	healthy.add(t, 910_005, roofsim.NightSkyCooling, days)
	for i, c := range []roofsim.Cause{roofsim.CeilingLeakage, roofsim.UnventedBattenVoid, roofsim.ConstructionMoisture,
		roofsim.BlockedVentilation} {
		defective.add(t, uint64(910_020+i), c, days)
	}
	t.Logf("healthy: %s", &healthy)
	t.Logf("defective: %s", &defective)
	assert.LessOrEqual(t, healthy.quantile(1), 1)
	assert.GreaterOrEqual(t, len(defective.messages), 3)
	assert.LessOrEqual(t, float64(defective.by["no"]), 0.03*float64(defective.spells))
	for _, n := range defective.messages {
		assert.LessOrEqual(t, n, 8)
	}
}
