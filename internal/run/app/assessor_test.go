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

// What works would do changes at noon: a reading more lends it what it was
// fitted to, and the answer is of everything that was stored.
func TestWhatWorksWouldDoIsWorkedOutWhereItIsAskedFor(t *testing.T) {
	ctx, start := context.Background(), time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	c := &roof.Case{ID: "larch-3", Property: roof.Property{Zone: time.UTC},
		Positions: []roof.Position{{ID: "loft", Place: roof.LoftAir},
			{ID: "felt", Place: roof.UnderlayUnderside, Meets: "loft"}},
		Loggers: []roof.Logger{{ID: "k1", Interval: time.Hour, Fitted: []roof.Fitting{{Position: "loft", From: start}}}}}
	store := mem.New()
	r := record.New(store)
	now := start.AddDate(0, 1, 0)
	d := newAssessor(ctx, r, func() time.Time { return now }, slog.New(slog.DiscardHandler))
	add := func(hour int) {
		x := roof.Reading{Logger: "k1", At: start.Add(time.Duration(hour) * time.Hour)}
		x.Values.Set(roof.TempC, 4)
		x.Values.Set(roof.RHPct, 80)
		batch := []roof.Reading{x}
		outcomes, err := store.Append(ctx, c.ID, batch)
		require.NoError(t, err)
		r.Appended(c.ID, batch, outcomes)
	}
	for hour := range 500 {
		add(hour)
	}
	a, err := d.Current(ctx, c)
	require.NoError(t, err)
	assert.Empty(t, a.Predictions, "not with every assessment")
	a, first, err := d.Foreseen(ctx, c)
	require.NoError(t, err)
	require.Len(t, a.Predictions, 6)
	assert.NotEmpty(t, a.Predictions[0].Refused, "no temperature under the underlay")
	page, err := d.Ahead(ctx, c)
	require.NoError(t, err)
	assert.Same(t, first, page)
	add(501) // in the evening: noon is not past
	page, err = d.Ahead(ctx, c)
	require.NoError(t, err)
	assert.Same(t, first, page, "a page may lag by a reading")
	_, again, err := d.Foreseen(ctx, c)
	require.NoError(t, err)
	assert.NotSame(t, first, again)
	assert.Same(t, first.Before, again.Before, "fitted to the same readings")
	soon, ok := d.AheadSoon(c)
	assert.True(t, ok)
	assert.Same(t, again, soon)
}
