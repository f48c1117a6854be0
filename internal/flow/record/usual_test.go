package record_test

import (
	"context"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/mem"
)

// Somebody looks at the page of a new house before its first reading; what was
// then taken for the usual interval must not make gaps of all that follows.
func TestALoggerWithoutAStatedIntervalIsObservedAlthoughItWasLookedAtBefore(t *testing.T) {
	ctx := context.Background()
	store := mem.New()
	c := house("Europe/London")
	for i := range c.Loggers {
		c.Loggers[i].Interval = 0
	}
	r := record.New(store)
	rng := rand.New(rand.NewPCG(1, 2))
	from := record.HourAt(c, start.UnixMilli())
	until := from + 48*3600_000
	_, err := r.Timeline(ctx, c, from, until, 3600_000)
	require.NoError(t, err)
	for i := range 24 {
		at := start.Add(time.Duration(i) * 2 * time.Hour)
		batch := []roof.Reading{reading("a", at, rng), reading("s", at, rng)}
		outcomes, err := store.Append(ctx, c.ID, batch)
		require.NoError(t, err)
		r.Appended(c.ID, batch, outcomes)
		_, err = r.Timeline(ctx, c, from, until, 3600_000)
		require.NoError(t, err)
	}
	got, err := r.Timeline(ctx, c, from, until, 3600_000)
	require.NoError(t, err)
	want, err := record.New(store).Timeline(ctx, c, from, until, 3600_000)
	require.NoError(t, err)
	require.True(t, near(decoded(t, want), decoded(t, got)), "a fresh start sees another record")
	share, ok := got.Positions[0].Coverage.Get(20)
	require.True(t, ok)
	require.InDelta(t, 1, share, 1e-9, "readings two hours apart are a logger's usual interval here")
}

// A page is drawn while the case file changes under it.
func TestACaseCanChangeWhileItsRecordIsRead(t *testing.T) {
	ctx := context.Background()
	store := mem.New()
	c := house("Europe/London")
	rng := rand.New(rand.NewPCG(1, 2))
	batch := []roof.Reading{reading("a", start, rng), reading("s", start, rng)}
	_, err := store.Append(ctx, c.ID, batch)
	require.NoError(t, err)
	r := record.New(store)
	from := record.HourAt(c, start.UnixMilli())
	var all sync.WaitGroup
	done := make(chan struct{})
	all.Go(func() {
		for {
			select {
			case <-done:
				return
			default:
				r.CaseChanged(c.ID)
			}
		}
	})
	for range 2000 {
		_, err := r.Around(ctx, c, from, from+3600_000)
		require.NoError(t, err)
	}
	close(done)
	all.Wait()
}
