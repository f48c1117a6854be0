package cause

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestAVoidIsCalledShutOnlyAsFarAsItIsKnown(t *testing.T) {
	const tightLoft, airedLoft = 0.1, 0.8
	const hidden = "as a shut one does, but an aired one can look so too where the loft itself follows outdoors, "
	for _, c := range []struct {
		share, se, loft float64
		want            string
	}{
		{0.05, 0.02, tightLoft, "it is shut"},
		{0.10, 0.06, tightLoft, "it is shut or nearly so"},
		{0.25, 0.02, tightLoft, "it is between shut and aired"},
		{0.45, 0.06, tightLoft, "it is aired or nearly so"},
		{0.60, 0.05, airedLoft, "it is aired"},
		{0, 0.53, tightLoft, untold},
		{0.05, math.NaN(), tightLoft, "it is shut"},
		{0.05, 0.02, airedLoft, hidden + "as here"},
		{0.05, 0.02, math.NaN(), hidden + "which is not known here"},
		{-0.4, 0.03, tightLoft, untold},
	} {
		assert.Equal(t, c.want, voidWords(c.share, c.se, c.loft), "%+v", c)
	}
}

// A month of hard frost can be wet for hundreds of hours and below the dew point
// over water for a few: the hours scored here are the latter.
func TestHoursBelowTheDewPointOverWaterAreNotCalledWet(t *testing.T) {
	var a assessment
	for _, f := range []feature{fLHu, fLHc, fWhere} {
		text, _, _ := a.told(f)
		assert.NotContains(t, text, "wet", "that word takes in frost")
		assert.Contains(t, text, "below the dew point over water")
	}
}
