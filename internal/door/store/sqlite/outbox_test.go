package sqlite

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

func outbox() Options {
	o := toSeal
	o.Outbox = true
	return o
}

// drain takes all that is pending, a little at a time.
func drain(t *testing.T, s *Store) (out []roof.Outgoing) {
	t.Helper()
	for after := int64(0); ; {
		part, last, err := s.Pending(t.Context(), after, 7)
		require.NoError(t, err)
		out = append(out, part...)
		if last == after {
			require.NoError(t, s.Sent(t.Context(), last))
			return out
		}
		after = last
	}
}

func TestOutboxHoldsWhatIsNewInOrderUntilItWasSent(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(t.Context(), dir, outbox())
	require.NoError(t, err)
	one, two := storetest.TRH("k7", 0, 1, 1), storetest.TRH("k7", 60, 2, 2)
	other := storetest.TRH("k7", 0, 9, 9)
	storetest.Put(t, s, house, one, two, one, other, storetest.At("k7", 60, float64(roof.BatteryPct), 88), other)
	waiting, refused, err := s.Backlog(t.Context())
	require.NoError(t, err)
	require.Equal(t, []int64{4, 0}, []int64{waiting, refused})
	_, err = s.Seal(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.Close())

	s = openIn(t, dir, outbox())
	got := drain(t, s)
	require.Len(t, got, 4, "two readings, one kept aside, one that gained a quantity")
	whole := two
	whole.Values.Set(roof.BatteryPct, 88)
	for i, want := range []roof.Reading{one, two, other, whole} {
		require.Empty(t, storetest.Difference(want, got[i].Reading))
		require.Equal(t, house, got[i].Case)
		require.Equal(t, i == 2, got[i].Aside != 0)
	}
	require.Empty(t, drain(t, s))
	waiting, _, err = s.Backlog(t.Context())
	require.NoError(t, err)
	require.Zero(t, waiting)
}

func TestWhatTheOtherEngineRefusesStaysListedAndHere(t *testing.T) {
	s := openIn(t, t.TempDir(), outbox())
	storetest.Put(t, s, house, storetest.TRH("k7", 0, 1, 1), storetest.TRH("k8", 0, 1, 1))
	out, last, err := s.Pending(t.Context(), 0, 10)
	require.NoError(t, err)
	require.NoError(t, s.Refuse(t.Context(), out[0], "field type conflict"))
	require.NoError(t, s.Sent(t.Context(), last))
	_, refused, err := s.Backlog(t.Context())
	require.NoError(t, err)
	require.EqualValues(t, 1, refused)
	_, err = s.Seal(t.Context())
	require.NoError(t, err)
	aged, err := s.Aged(t.Context(), wayAhead(), 10)
	require.NoError(t, err)
	require.Len(t, aged, 1)
	require.Equal(t, "k8", aged[0].Logger, "a day that was refused is not released")
	require.NoError(t, s.PostAll(t.Context()))
	require.Len(t, drain(t, s), 2, "asked again, it is offered again")
}

func TestDayIsReleasedAndTakenBackOnlyBitForBit(t *testing.T) {
	s := openIn(t, t.TempDir(), outbox())
	want := fill(t, s, 3)
	drain(t, s)
	_, err := s.Seal(t.Context())
	require.NoError(t, err)
	aged, err := s.Aged(t.Context(), storetest.Epoch.Add(24*time.Hour), 10)
	require.NoError(t, err)
	require.Len(t, aged, 2)
	day := aged[0]
	require.Equal(t, roof.KeptDay{Case: house, Logger: "k7-loft", Day: storetest.Epoch, Count: 48}, day)

	altered := append([]roof.Reading(nil), want[:48]...)
	altered[7].Flags = 0
	altered[7].Values.Set(roof.TempC, 5.0000001)
	_, err = s.Release(t.Context(), day, altered)
	require.ErrorIs(t, err, roof.ErrDamaged)
	_, err = s.Release(t.Context(), day, want[:47])
	require.ErrorContains(t, err, "holds 47 readings, 48 were stored")
	ok, err := s.Release(t.Context(), day, want[:48])
	require.NoError(t, err)
	require.True(t, ok)

	for _, err = range s.Range(t.Context(), house, "k7-loft", time.Time{}, time.Time{}) {
		break
	}
	require.ErrorIs(t, err, roof.ErrElsewhere, "what is not here is not left out silently")
	storetest.Same(t, want[48:], storetest.Read(t, s, house, "k7-loft", storetest.Epoch.Add(24*time.Hour), time.Time{}))
	_, err = s.Append(t.Context(), house, want[:1])
	require.ErrorIs(t, err, roof.ErrElsewhere)
	away, err := s.Elsewhere(t.Context(), house, "k7-loft", time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Equal(t, []roof.KeptDay{day}, away)
	spans, err := s.Spans(t.Context(), house)
	require.NoError(t, err)
	require.EqualValues(t, 144, spans[0].Count)
	aside, err := s.Conflicts(t.Context(), house, 10)
	require.NoError(t, err)
	require.Len(t, aside, 1)
	require.True(t, aside[0].Kept.Empty())
	r, err := s.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Err())
	require.Equal(t, []int64{240, 48}, []int64{r.Readings, r.Elsewhere})
	r, err = s.Backup(t.Context(), filepath.Join(t.TempDir(), "backup"))
	require.NoError(t, err)
	require.Equal(t, []int64{240, 48}, []int64{r.Readings, r.Elsewhere}, "a backup tells what it does not hold")

	require.ErrorIs(t, s.Adopt(t.Context(), day, altered), roof.ErrDamaged)
	require.NoError(t, s.Adopt(t.Context(), day, want[:48]))
	storetest.Same(t, want, storetest.All(t, s, house, "k7-loft"))
	require.Equal(t, []roof.Outcome{roof.Duplicate}, storetest.Put(t, s, house, want[0]))
	r, err = s.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Err())
	require.Zero(t, r.Elsewhere)
}
