package sqlite

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// Readings of many houses that trickle in share commits; those of one house that
// come one after the other have each its own.
func TestReadingsOfManyHousesShareCommits(t *testing.T) {
	s, err := Open(t.Context(), t.TempDir(), Options{SealAfter: -1})
	require.NoError(t, err)
	defer s.Close()
	at := time.Date(2027, 1, 20, 18, 0, 0, 0, time.UTC)
	reading := func(k int) []roof.Reading {
		r := roof.Reading{Logger: "k", At: at.Add(time.Duration(k) * time.Minute), Arrived: at}
		r.Values.Set(roof.TempC, 4)
		return []roof.Reading{r}
	}
	before := s.Commits()
	for k := range 150 {
		_, err := s.Append(t.Context(), "one", reading(k))
		require.NoError(t, err)
	}
	require.EqualValues(t, 150, s.Commits()-before)

	trickle := func(n int) int64 {
		before := s.Commits()
		var all sync.WaitGroup
		for k := range n {
			all.Go(func() {
				time.Sleep(time.Duration(k) * time.Millisecond)
				_, err := s.Append(t.Context(), fmt.Sprint("house-", k), reading(n))
				require.NoError(t, err)
			})
		}
		all.Wait()
		return s.Commits() - before
	}
	trickle(crowd)
	require.Less(t, trickle(400), int64(400/10))
}
