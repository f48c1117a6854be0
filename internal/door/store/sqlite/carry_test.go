package sqlite

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

// The history of a case file comes whole, with who wrote it and when, is added to
// where its beginning is here, and is never mixed with that of another house.
func TestTheHistoryOfACaseFileIsCarriedToAnotherStore(t *testing.T) {
	ctx := t.Context()
	now := storetest.Epoch
	open := func(dir string) *Store {
		s, err := Open(ctx, dir, Options{Now: func() time.Time { now = now.Add(time.Hour); return now }})
		require.NoError(t, err)
		t.Cleanup(func() { _ = s.Close() })
		return s
	}
	from, dir := open(t.TempDir()), t.TempDir()
	to := open(dir)
	history := func(s *Store) []roof.CaseVersion {
		all, err := s.CaseHistory(ctx, "larch-3", 100, 0)
		require.NoError(t, err)
		slices.Reverse(all)
		for i, v := range all {
			if v.ETag == "" {
				continue
			}
			full, err := s.CaseVersion(ctx, "larch-3", v.ETag)
			require.NoError(t, err)
			all[i].File = full.File
		}
		return all
	}
	write := func(s *Store, file, by string) {
		_, _, err := s.WriteCase(ctx, CasePut{ID: "larch-3", File: []byte(file), By: by})
		require.NoError(t, err)
	}
	write(from, "one", "Ann")
	require.NoError(t, from.DeleteCase(ctx, "larch-3", "Bob"))
	write(from, "two", "Cyd")
	require.NoError(t, to.CarryCase(ctx, history(from)))
	require.Equal(t, history(from), history(to))
	require.NoError(t, to.CarryCase(ctx, history(from)), "once more changes nothing")
	require.Len(t, history(to), 3)
	write(from, "three", "Dee")
	require.NoError(t, to.CarryCase(ctx, history(from)))
	require.Equal(t, history(from), history(to))

	write(to, "four", "Eve")
	require.NoError(t, from.CarryCase(ctx, history(to)), "and back")
	require.Equal(t, history(from), history(to))
	write(from, "here", "Ann")
	write(to, "there", "Bob")
	require.ErrorIs(t, to.CarryCase(ctx, history(from)), roof.ErrTaken)
	altered := history(from)
	altered[len(altered)-1].File = []byte("forged")
	require.Error(t, to.CarryCase(ctx, altered))
	require.NoError(t, to.Close())
	r, err := Check(ctx, dir)
	require.NoError(t, err)
	require.NoError(t, r.Err())
}
