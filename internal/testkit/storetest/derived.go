package storetest

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// Shelf keeps what was worked out.
type Shelf interface {
	Kept(ctx context.Context, kind, caseID string, from, until int64) ([]roof.Derived, error)
	Keep(ctx context.Context, kind, caseID string, values []roof.Derived) error
}

// Shelves runs the suite of what keeps derived values on an empty one.
func Shelves(t *testing.T, s Shelf) {
	ctx := t.Context()
	value := func(at int64, rests byte, data string) roof.Derived {
		return roof.Derived{AtMS: at, Rests: [32]byte{rests}, Data: []byte(data)}
	}
	get := func(kind, caseID string, from, until int64) (out []roof.Derived) {
		t.Helper()
		out, err := s.Kept(ctx, kind, caseID, from, until)
		require.NoError(t, err)
		for i := range out {
			require.False(t, out[i].Made.IsZero(), "when it was made is told")
			out[i].Made = roof.Derived{}.Made
		}
		return out
	}
	require.Empty(t, get("hours", "larch-1", 0, 100))
	require.NoError(t, s.Keep(ctx, "hours", "larch-1", []roof.Derived{value(20, 2, "b"), value(10, 1, "a"),
		value(-5, 3, "")}))
	require.NoError(t, s.Keep(ctx, "hours", "larch-2", []roof.Derived{value(10, 9, "other case")}))
	require.NoError(t, s.Keep(ctx, "answer", "larch-1", []roof.Derived{value(10, 9, "other kind")}))
	require.Equal(t, []roof.Derived{value(10, 1, "a"), value(20, 2, "b")}, get("hours", "larch-1", 0, 21),
		"in the order of time, of one kind and case")
	require.Equal(t, []roof.Derived{value(10, 1, "a")}, get("hours", "larch-1", 10, 20), "from closed, until open")
	require.Len(t, get("hours", "larch-1", -5, 100), 3)
	require.NoError(t, s.Keep(ctx, "hours", "larch-1", []roof.Derived{value(10, 7, "anew")}))
	require.Equal(t, []roof.Derived{value(10, 7, "anew")}, get("hours", "larch-1", 10, 20),
		"a later value takes the place of the one before")
}
