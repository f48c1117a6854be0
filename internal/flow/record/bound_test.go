package record_test

import (
	"context"
	"iter"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/mem"
)

// asked counts what the store is asked for.
type asked struct {
	roof.ReadingStore
	ranges int
}

func (a *asked) Range(ctx context.Context, caseID, logger string, from,
	until time.Time) iter.Seq2[roof.Reading, error] {
	a.ranges++
	return a.ReadingStore.Range(ctx, caseID, logger, from, until)
}

// Hours at hand are bounded over all cases, at 25,000: the case that was not asked
// for the longest is read again, and no more is read again than must be.
func TestHoursAtHandAreBoundedOverAllCases(t *testing.T) {
	for _, c := range []struct {
		hours  int64 // of each of two cases
		forgot bool
	}{{12_000, false}, {13_000, true}, {26_000, true}} {
		store := &asked{ReadingStore: mem.New()}
		r := record.New(store)
		first, second := house("Europe/London"), house("Europe/London")
		second.ID = "larch-2"
		from := record.HourAt(first, start.UnixMilli())
		readAgain := func(h *roof.Case) bool {
			before := store.ranges
			_, err := r.Hours(t.Context(), h, from, from+c.hours*3600_000)
			require.NoError(t, err)
			return store.ranges > before
		}
		require.True(t, readAgain(first))
		require.False(t, readAgain(first), "what is at hand is not read again")
		require.True(t, readAgain(second))
		require.False(t, readAgain(second), "the case that was asked for last stays")
		require.Equal(t, c.forgot, readAgain(first), "%d hours of two cases", c.hours)
	}
}
