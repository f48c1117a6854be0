package assessment

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"dewcase/internal/cause"
)

func TestSupportSumsToOneAsPrinted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		weights := rapid.SliceOfN(rapid.Float64Range(0, 1), 7, 7).Draw(t, "weights")
		f := cause.Finding{}
		total := 1e-9
		for _, w := range weights {
			total += w
		}
		for i, w := range weights {
			if i == 0 {
				w += 1e-9
			}
			f.Causes = append(f.Causes, cause.Support{Support: w / total})
		}
		sum := 0.0
		for _, c := range diagnosis(f).Causes {
			sum += c.Support
		}
		assert.InDelta(t, 1, sum, 1e-12)
	})
}
