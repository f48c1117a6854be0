package assessment

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/leak"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// A probe of the wood is proposed where water may be getting in and where a leak was
// repaired, once each, and not where wood is read.
func TestAProbeOfTheWoodIsProposedWhereItWouldTell(t *testing.T) {
	set := &series.Set{Case: &roof.Case{}, Courses: []series.Course{{}}}
	checks := func(water float64, repairs ...Repair) (out []string) {
		a := Answer{Assessment: Assessment{Repairs: repairs},
			Finding: cause.Finding{Causes: []cause.Support{{Cause: cause.WaterIngress, Support: water}}}}
		a.settle(set)
		for _, s := range a.Settle {
			if s.Check == WoodProbe {
				out = append(out, s.Question)
				assert.NotEmpty(t, s.activities(), "with its cautions")
			}
		}
		return out
	}
	leaky := Repair{Result: repair.Result{Verdict: repair.TooEarly, Needs: "a look", Leak: &leak.Result{}}}
	assert.Equal(t, []string{OfCause}, checks(0.3))
	assert.Empty(t, checks(0.1))
	assert.Equal(t, []string{OfWorked}, checks(0.1, leaky, leaky), "once a repair")
	share := 0.2
	told := leaky
	told.Leak = &leak.Result{Share: &share}
	assert.Empty(t, checks(0.1, told), "the wood tells already")
	set.Courses[0].WoodPct = series.Track{AtMS: []int64{0}, Value: []float64{14}, Joined: []bool{false}}
	assert.Empty(t, checks(0.3))
	p := leak.Probes()
	require.Equal(t, p.Shown.Pct, float64(100*p.Shown.N/p.Boards), "the figure printed is that of N")
}
