package repair_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/reason/repair"
)

// Nights before lie at 0..9 C, those after at 5..14 C: alike are 5..9 of both.
func TestLikeNightsHaveWeatherOfBothPeriods(t *testing.T) {
	var r repair.Result
	for i := range 10 {
		r.Nights = append(r.Nights, repair.NightUse{Period: "before", Used: true, OutdoorC: float64(i), ClearK: 1},
			repair.NightUse{Period: "after", Used: true, OutdoorC: float64(i + 5), ClearK: 1},
			repair.NightUse{Period: "after", Used: false, OutdoorC: 7, ClearK: 1},
			repair.NightUse{Period: "lock", Used: true, OutdoorC: 7, ClearK: 1})
	}
	before, after := r.LikeNights()
	for _, n := range append(before, after...) {
		assert.True(t, n.Used)
		assert.InDelta(t, 7, n.OutdoorC, 2.2)
	}
	assert.Len(t, before, 4, "a fiftieth of each end is left out")
	assert.Len(t, after, 4)
	assert.Empty(t, func() []repair.NightUse { b, _ := (&repair.Result{}).LikeNights(); return b }())
}
