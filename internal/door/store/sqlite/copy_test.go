package sqlite

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

// A copied record cannot be told from one that was appended: the same readings, the
// same digests, a sound store, and what comes later finds its place.
func TestACopiedRecordIsLikeOneThatWasAppended(t *testing.T) {
	ctx, dir := t.Context(), t.TempDir()
	now := storetest.Epoch.Add(5 * 24 * time.Hour)
	s, err := Open(ctx, dir, Options{Now: func() time.Time { return now }})
	require.NoError(t, err)
	var all []roof.Reading
	for _, logger := range []string{"k1", "k2"} {
		for at := storetest.Epoch; at.Before(now.Truncate(24 * time.Hour)); at = at.Add(5 * time.Minute) {
			r := roof.Reading{Logger: logger, At: at.UTC(), Arrived: at.UTC().Add(90 * time.Millisecond)}
			r.Values.Set(roof.TempC, float64(at.Minute())/10-3)
			r.Values.Set(roof.RHPct, 80+float64(at.Hour())/10)
			all = append(all, r)
		}
	}
	for _, id := range []string{"first", "appended"} {
		_, err := s.Append(ctx, id, all)
		require.NoError(t, err)
	}
	copyTo, err := s.CopySealed(ctx, "first")
	require.NoError(t, err)
	n, err := copyTo(ctx, "copied")
	require.NoError(t, err)
	require.Equal(t, len(all), n)
	_, err = copyTo(ctx, "copied")
	require.ErrorIs(t, err, roof.ErrTaken)

	readings := func(id string) (out []roof.Reading) {
		for _, l := range []string{"k1", "k2"} {
			for r, err := range s.Range(ctx, id, l, time.Time{}, time.Time{}) {
				require.NoError(t, err)
				out = append(out, r)
			}
		}
		return out
	}
	same := func(what string) {
		require.Equal(t, readings("appended"), readings("copied"), what)
		a, err := s.Spans(ctx, "appended")
		require.NoError(t, err)
		b, err := s.Spans(ctx, "copied")
		require.NoError(t, err)
		require.Equal(t, a, b, what)
	}
	same("copied")
	late := roof.Reading{Logger: "k2", At: storetest.Epoch.Add(25 * time.Hour).Add(time.Second), Arrived: now}
	late.Values.Set(roof.TempC, 1)
	for _, id := range []string{"appended", "copied"} {
		got, err := s.Append(ctx, id, []roof.Reading{late, all[0]})
		require.NoError(t, err)
		require.Equal(t, []roof.Outcome{roof.Stored, roof.Duplicate}, got)
	}
	same("with a late reading")
	require.NoError(t, s.Close())
	report, err := Check(ctx, dir)
	require.NoError(t, err)
	require.Empty(t, report.Damage)
	require.EqualValues(t, 3*len(all)+2, report.Readings)
}
