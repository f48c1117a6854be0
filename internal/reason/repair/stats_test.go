package repair

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/reason/evidence"
)

func TestThrowsHaveExactMargins(t *testing.T) {
	d := throw("margins", 240)
	for k := range paramCount {
		var x []float64
		for i := range d.z {
			x = append(x, d.z[i][k])
		}
		mean, sd := meanSD(x)
		assert.InDelta(t, 0, mean, 1e-9)
		assert.InDelta(t, 1, sd, 0.01)
	}
	var x []float64
	for i := range d.t {
		x = append(x, d.t[i][0])
	}
	slices.Sort(x)
	assert.InDelta(t, 2.571, evidence.Quantile(x, 0.975), 0.1, "Student, 5 degrees of freedom, two-sided 5 % (tables)")
}
