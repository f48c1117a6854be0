package app

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/mem"
)

// A page may lag behind a trickle of readings, and must not show half a winter
// while the other half is there.
func TestAPageLagsByAFewReadingsAndNeverByAnImport(t *testing.T) {
	ctx, start := context.Background(), time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	c := &roof.Case{ID: "larch-3", Property: roof.Property{Zone: time.UTC},
		Positions: []roof.Position{{ID: "loft", Place: roof.LoftAir}},
		Loggers:   []roof.Logger{{ID: "k1", Interval: time.Hour, Fitted: []roof.Fitting{{Position: "loft", From: start}}}}}
	store := mem.New()
	r := record.New(store)
	d := newAssessor(ctx, r, func() time.Time { return start.AddDate(0, 1, 0) }, slog.New(slog.DiscardHandler))
	hours := 0
	add := func(n int) {
		var batch []roof.Reading
		for range n {
			at := start.Add(time.Duration(hours) * time.Hour)
			x := roof.Reading{Logger: "k1", At: at, Arrived: at}
			x.Values.Set(roof.TempC, 4)
			x.Values.Set(roof.RHPct, 80)
			batch, hours = append(batch, x), hours+1
		}
		outcomes, err := store.Append(ctx, c.ID, batch)
		require.NoError(t, err)
		r.Appended(c.ID, batch, outcomes)
	}
	until := func() int {
		a, err := d.Recent(ctx, c)
		require.NoError(t, err)
		return int(a.Assessment.Until.Sub(start).Hours()) + 1
	}
	add(300)
	assert.Equal(t, 300, until())
	add(2)
	assert.Equal(t, 300, until(), "two readings more are shown a little later")
	add(300)
	assert.Equal(t, 602, until(), "an import is shown at once")
	now, err := d.Current(ctx, c)
	require.NoError(t, err)
	assert.Equal(t, start.Add(601*time.Hour), now.Assessment.Until.UTC())
}
