package cause

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestAVoidIsCalledShutOnlyAsFarAsItIsKnown(t *testing.T) {
	for want, c := range map[string][2]float64{
		"it is shut":                   {0.05, 0.02},
		"it is shut or nearly so":      {0.10, 0.06},
		"it is between shut and aired": {0.25, 0.02},
		"it is aired or nearly so":     {0.45, 0.06},
		"it is aired":                  {0.60, 0.05},
		"these readings do not tell whether it is shut or aired": {0, 0.53},
	} {
		assert.Equal(t, want, voidWords(c[0], c[1]))
	}
	assert.Equal(t, "it is shut", voidWords(0.05, math.NaN()))
}
