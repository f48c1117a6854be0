package roofsim_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/testkit/roofworlds"
)

// Nothing leaves what physics allows: no air over saturation by more than a
// passing step, no covering colder than the sky or hotter than a dark roof in
// the sun, no value that is not a number.
func TestStatesStayPhysical(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		seed := rapid.Uint64Range(1, 1e6).Draw(rt, "seed")
		cause := rapid.SampledFrom(roofworlds.Causes()).Draw(rt, "cause")
		x := roofsim.Run(roofworlds.Draw(seed, cause), roofsim.Options{Days: 12})
		for _, f := range x.Series() {
			for k, v := range *f {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					rt.Fatalf("step %d is %v", k, v)
				}
			}
		}
		for k := range x.N {
			for s := range x.Slope {
				c := x.Slope[s].CoverC[k]
				require.GreaterOrEqual(rt, c, math.Min(x.SkyC[k], x.OutdoorC[k])-3)
				require.LessOrEqual(rt, c, x.OutdoorC[k]+55)
				require.GreaterOrEqual(rt, x.Slope[s].CoverFilmGM2[k], 0.0)
				require.Positive(rt, x.Slope[s].VoidPa[k])
			}
			require.Positive(rt, x.LoftPa[k])
			require.LessOrEqual(rt, x.WoodMeanPct[k], 90.0)
		}
	})
}

// With the heating off, no sun, no sky deficit and nobody home everything ends
// at outdoor temperature: no heat is made.
func TestNoHeatIsMade(t *testing.T) {
	w := roofworlds.Draw(3, roofsim.NoneFound)
	nodesC, indoorC := roofsim.InStillAir(w, 4)
	for i, v := range nodesC {
		assert.InDelta(t, 4, v, 0.3, "node %d", i)
	}
	assert.InDelta(t, 4, indoorC, 0.5)
}
