package assessment_test

import (
	"iter"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// A day of four is left out at the void: hours, coverage and notes say so, and
// what is left is what the other three days give.
func TestWhatIsLeftOutByHandCountsForNothingAndIsTold(t *testing.T) {
	start := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	c := &roof.Case{ID: "larch-1", Property: roof.Property{Zone: time.UTC}, Positions: []roof.Position{
		{ID: "void", Place: roof.BattenVoidAir}, {ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}}}
	for _, p := range c.Positions {
		c.Loggers = append(c.Loggers, roof.Logger{ID: "k-" + p.ID, Interval: 10 * time.Minute,
			Fitted: []roof.Fitting{{Position: p.ID, From: start}}})
	}
	of := func() assessment.Answer {
		set, err := series.Build(c, 0, func(logger string) iter.Seq2[roof.Reading, error] {
			return func(yield func(roof.Reading, error) bool) {
				for i := range 4*144 + 1 {
					r := roof.Reading{Logger: logger, At: start.Add(time.Duration(i) * 10 * time.Minute)}
					r.Values.Set(roof.TempC, 4)
					if logger == "k-void" {
						r.Values.Set(roof.TempC, 5+float64(i%7)/10)
						r.Values.Set(roof.RHPct, 99)
					}
					if !yield(r, nil) {
						return
					}
				}
			}
		})
		require.NoError(t, err)
		return assessment.Of(set)
	}
	whole := of()
	assert.InDelta(t, 96, *whole.Surfaces[0].HoursCondensingRaw, 0.01)
	assert.Zero(t, whole.Coverage[0].LeftOutH)
	c.Excluded = []roof.Excluded{{From: start.Add(24 * time.Hour), To: start.Add(48 * time.Hour), Position: "void",
		Reason: "logger on the bench"}}
	part := of()
	assert.InDelta(t, 72, *part.Surfaces[0].HoursCondensingRaw, 0.4)
	assert.InDelta(t, 72, part.Surfaces[0].HoursObserved, 0.4)
	assert.InDelta(t, 0.75, part.Coverage[0].Share, 0.01)
	assert.InDelta(t, 24, part.Coverage[0].LeftOutH, 0)
	assert.Zero(t, part.Coverage[1].LeftOutH, "the covering's logger was not on the bench")
	assert.True(t, strings.Contains(strings.Join(part.Notes, "\n"),
		"24.0 h of the record are left out by hand, in 1 part"),
		part.Notes)
	assert.True(t, strings.Contains(strings.Join(part.Notes, "\n"), "logger on the bench"))
}
