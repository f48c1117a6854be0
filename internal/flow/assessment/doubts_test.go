package assessment_test

import (
	"bytes"
	"encoding/json"
	"iter"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/qc"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
	"dewcase/internal/words"
)

// simulated is a simulated roof that was repaired half-way, its readings changed.
func simulated(t *testing.T, seed uint64, days int, change func(*roof.Values)) *series.Set {
	t.Helper()
	world := roofworlds.Draw(seed, roofsim.UnventedBattenVoid)
	wide := 25.0
	w := roofsim.Run(world, roofsim.Options{Days: days, Repairs: []roofsim.Repair{
		{At: world.Start.AddDate(0, 0, days/2), VoidEavesMM: &wide, VoidRidgeMM: &wide}}})
	m := roofworlds.Kit{CaseID: "units", Interval: 30 * time.Minute}.Measure(w, seed)
	flagged, err := qc.Flag(m.Case, func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for _, r := range m.Readings {
				if r.Logger == logger {
					change(&r.Values)
					if !yield(r, nil) {
						return
					}
				}
			}
		}
	})
	require.NoError(t, err)
	set, err := series.Build(m.Case, 0, flagged)
	require.NoError(t, err)
	return set
}

func TestUnitsThatCannotBeAreToldFirstAndNothingIsConcluded(t *testing.T) {
	change := func(q roof.Quantity, f func(float64) float64) func(*roof.Values) {
		return func(v *roof.Values) {
			if x, ok := v.Get(q); ok {
				v.Set(q, f(x))
			}
		}
	}
	for name, tc := range map[string]struct {
		change func(*roof.Values)
		kind   evidence.UnitDoubt
		says   string
	}{
		"humidity as fractions": {change(roof.RHPct, func(x float64) float64 { return x / 100 }),
			evidence.Fraction, "fractions"},
		"temperatures in Fahrenheit": {change(roof.TempC, func(x float64) float64 { return 32 + 1.8*x }),
			evidence.Fahrenheit, "Fahrenheit"},
	} {
		t.Run(name, func(t *testing.T) {
			set := simulated(t, 7, 60, tc.change)
			a := assessment.Of(set)
			require.NotEmpty(t, a.Doubts)
			for _, d := range a.Doubts {
				assert.Equal(t, tc.kind, d.Kind)
				assert.Contains(t, d.Text, tc.says)
				assert.Contains(t, d.Text, d.Logger)
			}
			require.NotEmpty(t, a.Surfaces)
			for _, s := range a.Surfaces {
				assert.Nil(t, s.HoursCondensing, s.Surface)
				assert.Nil(t, s.HoursAtRisk, s.Surface)
				assert.True(t, slices.ContainsFunc(a.Doubts, func(d evidence.Doubt) bool { return d.Said == s.Notes[0] }),
					"why comes first: %s", s.Notes[0])
				assert.Equal(t, s.Notes[0], a.DoubtAt(s))
			}
			assert.EqualValues(t, cause.Undetermined, a.Diagnosis.Finding)
			assert.Contains(t, a.Diagnosis.Next, a.Doubts[0].Logger)
			require.NotEmpty(t, a.Repairs)
			for _, r := range a.Repairs {
				assert.Equal(t, repair.TooEarly, r.Verdict)
				assert.Contains(t, r.Needs, a.Doubts[0].Logger)
				assert.Nil(t, r.ReductionPct)
			}
			var out bytes.Buffer
			assessment.WriteText(&out, a.Assessment, set.Case)
			text := out.String()
			assert.Less(t, strings.Index(text, tc.says), strings.Index(text, "Coverage"))
			for _, d := range a.Doubts {
				assert.Equal(t, 1, strings.Count(text, d.Said), "said once")
				assert.Equal(t, 1, strings.Count(text, words.Upper(d.Step))+strings.Count(text, d.Step), "said once")
			}
			blob, err := json.Marshal(a.Assessment)
			require.NoError(t, err)
			assert.Contains(t, string(blob), string(tc.kind))
		})
	}
}

func TestOrdinaryUnitsAreNotDoubted(t *testing.T) {
	for seed := range uint64(20) {
		set := simulated(t, 100+seed, 40, func(*roof.Values) {})
		assert.Empty(t, evidence.Doubts(set), seed)
	}
	a := assessment.Of(simulated(t, 7, 60, func(*roof.Values) {}))
	assert.Empty(t, a.Doubts)
	for _, s := range a.Surfaces {
		require.NotNil(t, s.HoursCondensing, s.Surface)
	}
}
