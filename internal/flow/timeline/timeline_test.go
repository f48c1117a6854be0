package timeline_test

import (
	"encoding/json"
	"iter"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

var start = time.Date(2026, 11, 20, 6, 0, 0, 0, time.UTC)

// set is a void at 4 C and 100 %RH and a slate that cools from 6 to 2 C in an
// hour, read every ten minutes; the void's logger is silent in the third hour.
func set(t *testing.T) *series.Set {
	t.Helper()
	return setRead(t, 0)
}

// setRead is the same with the slate read later than the void by late.
func setRead(t *testing.T, late time.Duration) *series.Set {
	t.Helper()
	fit := func(p string) []roof.Fitting { return []roof.Fitting{{Position: p, From: start}} }
	c := &roof.Case{ID: "larch-1", Property: roof.Property{Zone: time.UTC},
		Positions: []roof.Position{{ID: "void", Place: roof.BattenVoidAir},
			{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}, {ID: "felt", Place: roof.UnderlayUnderside}},
		Loggers: []roof.Logger{{ID: "a", Interval: 10 * time.Minute, Fitted: fit("void")},
			{ID: "s", Interval: 10 * time.Minute, Fitted: fit("slate")}},
		Events: []roof.Event{{At: start.Add(time.Hour), Kind: roof.Repair, What: "void opened"},
			{At: start.Add(-time.Hour), Kind: roof.Note, What: "before"}}}
	s, err := series.Build(c, 0, func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for m := 0; m <= 180; m += 10 {
				r := roof.Reading{Logger: logger, At: start.Add(time.Duration(m) * time.Minute)}
				if logger == "a" {
					if m > 120 && m < 180 {
						continue
					}
					r.Values.Set(roof.TempC, 4)
					r.Values.Set(roof.RHPct, 100)
				} else {
					r.At = r.At.Add(late)
					r.Values.Set(roof.TempC, math.Max(6-4*float64(m)/60, 2))
				}
				if !yield(r, nil) {
					return
				}
			}
		}
	})
	require.NoError(t, err)
	return s
}

func get(c timeline.Column, i int) any {
	if x, ok := c.Get(i); ok {
		return math.Round(x*1000) / 1000
	}
	return nil
}

func TestAStepSumsUpWhatWasObservedInIt(t *testing.T) {
	s := set(t)
	v, err := timeline.Stepped(s, start.UnixMilli(), start.Add(3*time.Hour).UnixMilli(), 3600_000)
	require.NoError(t, err)
	require.Len(t, v.Time, 3)
	void, slate := v.Positions[0], v.Positions[1]
	assert.Equal(t, []any{1.0, 1.0, 0.0}, []any{get(void.Coverage, 0), get(void.Coverage, 1), get(void.Coverage, 2)})
	assert.Equal(t, []any{4.0, nil}, []any{get(void.TempC.Mean, 0), get(void.TempC.Mean, 2)},
		"what was not observed is absent, not 0")
	assert.Equal(t, []any{4.0, 2.0, 6.0}, []any{get(slate.TempC.Mean, 0), get(slate.TempC.Min, 0),
		get(slate.TempC.Max, 0)})
	assert.Nil(t, get(slate.DewPointC.Mean, 0))
	assert.Equal(t, 4.0, get(void.DewPointC.Mean, 0))
	assert.InDelta(t, 3.506, get(void.FrostPointC.Mean, 0), 0.001, "over ice, also where no frost forms")
	m := v.Surfaces[0]
	// The slate meets the dew point of 4 C after half an hour, 5 C after a quarter.
	assert.Equal(t, []any{30.0, 60.0, nil},
		[]any{get(m.CondensingMin, 0), get(m.CondensingMin, 1), get(m.CondensingMin, 2)})
	assert.Equal(t, 45.0, get(m.AtRiskMin, 0))
	assert.Equal(t, []any{-2.0, 2.0}, []any{get(m.MarginK.Min, 0), get(m.MarginK.Max, 0)})
	assert.Contains(t, v.Surfaces[1].Note, "meets")
	require.Len(t, v.Events, 1)
	assert.Equal(t, "void opened", v.Events[0].What)
}

func TestALastStepThatTheEndCutsHoldsNothingFromBeyondIt(t *testing.T) {
	v, err := timeline.Stepped(set(t), start.UnixMilli(), start.Add(75*time.Minute).UnixMilli(), 3600_000)
	require.NoError(t, err)
	require.Len(t, v.Time, 2)
	assert.Equal(t, 15.0, get(v.Surfaces[0].CondensingMin, 1))
	assert.Equal(t, 1.0, get(v.Surfaces[0].Coverage, 1))
}

func TestRawHasAFigureWhereThereWasAReading(t *testing.T) {
	v, err := timeline.Raw(set(t), start.UnixMilli(), start.Add(130*time.Minute+time.Millisecond).UnixMilli())
	require.NoError(t, err)
	require.Nil(t, v.StepS)
	require.Len(t, v.Time, 14)
	assert.Equal(t, []any{4.0, nil}, []any{get(v.Positions[0].TempC.Mean, 12), get(v.Positions[0].TempC.Mean, 13)})
	assert.Equal(t, 2.0, get(v.Positions[1].TempC.Mean, 13))
	assert.Nil(t, get(v.Surfaces[0].MarginK.Mean, 13))
	assert.Equal(t, -2.0, get(v.Surfaces[0].MarginK.Mean, 12))
	_, err = timeline.Stepped(set(t), 0, 4e12, 1000)
	assert.ErrorIs(t, err, timeline.ErrTooLong)
}

// Two loggers seldom read at one time: between its own readings a position has
// no figure, and was observed all the same.
func TestRawCoverageRunsOnBetweenAPositionsOwnReadings(t *testing.T) {
	v, err := timeline.Raw(setRead(t, 5*time.Minute), start.UnixMilli(), start.Add(3*time.Hour).UnixMilli())
	require.NoError(t, err)
	void := v.Positions[0]
	assert.Equal(t, []any{4.0, nil, 4.0}, []any{get(void.TempC.Mean, 2), get(void.TempC.Mean, 3), get(void.TempC.Mean, 4)})
	assert.Equal(t, []any{1.0, 1.0, 1.0}, []any{get(void.Coverage, 2), get(void.Coverage, 3), get(void.Coverage, 4)})
	silent := 24 // two hours: the void's logger is not heard for an hour
	assert.Equal(t, []any{1.0, 0.0, 0.0}, []any{get(void.Coverage, silent-1), get(void.Coverage, silent),
		get(void.Coverage, silent+1)})
}

func TestFoldingHoursGivesTheDay(t *testing.T) {
	s := set(t)
	from, until := start.UnixMilli(), start.Add(4*time.Hour).UnixMilli()
	hours := timeline.Rows(roof.InTurn, s, from, until, 3600_000)
	folded := timeline.Laid(s.Case, timeline.Fold(hours, 4), from, until, 4*3600_000)
	whole, err := timeline.Stepped(s, from, until, 4*3600_000)
	require.NoError(t, err)
	a, err := json.Marshal(folded)
	require.NoError(t, err)
	b, err := json.Marshal(whole)
	require.NoError(t, err)
	assert.JSONEq(t, string(b), string(a))
	assert.NotContains(t, string(a), "NaN")
}
