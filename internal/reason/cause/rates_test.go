package cause

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// A rate is worth no more than the version that it was measured on.
func TestEveryRateSaysWhenItWasMeasuredAndAddsUp(t *testing.T) {
	for _, r := range Rates() {
		assert.Contains(t, r.Measured, "November 2026", r.Set)
		assert.InDelta(t, 100, r.Right+r.Wrong+r.Undetermined, 0.11, r.Set)
	}
}
