package watch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/timeline"
	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/alert"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/risk"
	"dewcase/internal/roof"
)

// A record of humidities as fractions reads as bone dry: a household must not be
// told that its roof is.
func TestAHouseholdIsToldNothingFromUnitsThatCannotBe(t *testing.T) {
	now := time.Date(2026, 12, 8, 12, 0, 0, 0, time.UTC)
	from := now.Add(-7 * 24 * time.Hour)
	c := &roof.Case{ID: "larch-1", Property: roof.Property{Zone: time.UTC},
		Positions: []roof.Position{{ID: "void", Place: roof.BattenVoidAir},
			{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}},
		Loggers: []roof.Logger{{ID: "k1", Fitted: []roof.Fitting{{Position: "void", From: from}}}}}
	in := watch.Input{Case: c, FromMS: from.UnixMilli(), Now: now,
		Loggers: []watch.Seen{{Logger: "k1", Last: now, Day: 24}}}
	for range 7 * 24 {
		in.Rows = append(in.Rows, timeline.Row{Positions: make([]timeline.PositionRow, 2),
			Surfaces: []risk.Spell{{ObservedMS: 3.6e6, MarginMean: 9, MarginMin: 9}}})
	}
	seen := func(in watch.Input) (hours float64) {
		for _, n := range watch.Nights(in, "slate") {
			hours += n.Observed
		}
		return hours
	}
	require.Positive(t, seen(in), "ordinary units are believed")

	const why = "k1: every humidity is 1.0 or less"
	in.Slow = &watch.Slow{Doubts: []evidence.Doubt{{Logger: "k1", Position: "void", Kind: evidence.Fraction, Text: why}}}
	assert.Zero(t, seen(in), "no night counts as seen")
	told := false
	for _, s := range watch.Look(in).Signs {
		if s.Position == "slate" {
			assert.False(t, s.Known, "%s of the surface is not known", s.Condition)
		}
		if s.Condition == alert.Implausible {
			told = true
			assert.True(t, s.Known)
			assert.Equal(t, why, s.Facts.Detail)
		}
	}
	assert.True(t, told, "the consultant hears why")
}
