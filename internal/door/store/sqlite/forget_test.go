package sqlite

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// What was taken after all leaves the log; its count and the digests stay right.
func TestARejectThatWasTakenAfterAllLeavesTheLog(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(t.Context(), dir, Options{})
	require.NoError(t, err)
	at := time.UnixMilli(1768368000123).UTC()
	for i := range 4 {
		require.NoError(t, s.AppendReject(t.Context(), roof.Reject{At: at, Source: "kestrel/roof/l1", Reason: roof.BadTopic,
			Payload: []byte{'0' + byte(i)}, Retained: i == 3}))
	}
	all, err := s.Rejects(t.Context(), "", 10, 0)
	require.NoError(t, err)
	require.True(t, all[0].Retained, "kept with it")
	require.Zero(t, all[0].Line)
	require.False(t, all[1].Retained)
	require.NoError(t, s.ForgetRejects(t.Context(), []int64{all[1].ID, all[2].ID, 99}))
	left, err := s.Rejects(t.Context(), "", 10, 0)
	require.NoError(t, err)
	require.Equal(t, []roof.KeptReject{all[0], all[3]}, left)
	counts, err := s.RejectCounts(t.Context())
	require.NoError(t, err)
	require.EqualValues(t, 4, counts[roof.BadTopic])
	require.NoError(t, s.Close())
	found, err := Check(t.Context(), dir)
	require.NoError(t, err)
	require.Empty(t, found.Damage, "digests follow")
}
