package record_test

import (
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/mem"
)

// Who works a long stretch out changes no digit of it.
func TestSeveralWorkersWorkOutTheSameHours(t *testing.T) {
	store, c, rng := mem.New(), house("Europe/London"), rand.New(rand.NewPCG(5, 1))
	var all []roof.Reading
	for at := start; at.Before(start.AddDate(0, 0, 30)); at = at.Add(15 * time.Minute) {
		all = append(all, reading("a", at, rng), reading("s", at.Add(time.Minute), rng))
	}
	_, err := store.Append(t.Context(), c.ID, all)
	require.NoError(t, err)
	most := 0
	together := func(n int, do func(int)) {
		most = max(most, n)
		var wait sync.WaitGroup
		for i := range n {
			wait.Go(func() { do(i) })
		}
		wait.Wait()
	}
	from := record.HourAt(c, start.UnixMilli())
	answer := func(r *record.Reader, stepMS int64) string {
		v, err := r.Timeline(t.Context(), c, from, from+29*24*3600_000, stepMS)
		require.NoError(t, err)
		text, err := v.AppendJSON(nil)
		require.NoError(t, err)
		return string(text)
	}
	for _, stepMS := range []int64{3600_000, 1800_000} { // of hours at hand, and of none
		require.Equal(t, answer(record.New(store), stepMS), answer(record.New(store).By(together), stepMS))
	}
	require.Greater(t, most, 1)
}
