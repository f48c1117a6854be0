package demo

import (
	"iter"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// What the demo prints can be added up with a pocket calculator: the ledger to
// the two shares, each fall from the hours beside it.
func TestTheProofOfTheDemoAddsUp(t *testing.T) {
	d := demo(t)
	for i, file := range d.CaseFiles() {
		c, faults := casefile.Parse(file.ID+".yaml", file.YAML)
		require.Empty(t, faults)
		set, err := series.Build(c, 0, func(logger string) iter.Seq2[roof.Reading, error] {
			return func(yield func(roof.Reading, error) bool) {
				for _, list := range d.houses[i].loggers {
					for _, r := range list {
						if r.Logger == logger && r.At.Before(noon) && !yield(r, nil) {
							return
						}
					}
				}
			}
		})
		require.NoError(t, err)
		a := assessment.Of(set)
		share := map[string]float64{}
		for _, k := range a.Diagnosis.Causes {
			share[k.Cause] = k.Support
		}
		l := a.Diagnosis.Ledger
		require.NotNil(t, l)
		for column, against := range l.Against {
			sum := 0.0
			for _, line := range l.Lines {
				sum += line.Weights[column]
			}
			assert.InDelta(t, l.Sums[column], sum, 1e-9, "%s: the lines against %s", file.ID, against)
			if x := share[string(against)]; x > 1e-3 { // below, the share is printed with fewer places
				assert.InDelta(t, math.Log(share[string(l.Cause)]/x), sum, 0.0055, "%s against %s", file.ID, against)
			}
		}
		for _, r := range a.Repairs {
			require.NotNil(t, r.AtRisk, r.Needs)
			assert.InDelta(t, 100*(1-r.Wet.ModelH/r.Wet.UnrepairedH), *r.ReductionPct, 0.0501)
			assert.InDelta(t, 100*(1-r.AtRisk.ModelH/r.AtRisk.UnrepairedH), *r.AtRiskReductionPct, 0.0501)
			assert.InDelta(t, 100*(1-r.AtRisk.MeasuredH/r.AtRisk.UnrepairedH), r.AtRisk.Measured.Pct, 0.0501)
		}
		if i == 0 {
			require.NotEmpty(t, a.Repairs)
			var said strings.Builder
			assessment.WriteText(&said, a.Assessment, c)
			assert.Contains(t, said.String(), "Fall of the hours at risk, with 95 % intervals: measured against unrepaired ")
			assert.Regexp(t, `(?m)^ +\+\d\.\d\d  sum: \d`, said.String())
		}
	}
}
