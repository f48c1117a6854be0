package commands

import (
	"bytes"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/roof"
)

// With the readings in InfluxDB a backup and a check hold less than one thinks:
// both say so, and by how much.
func TestBackupAndCheckSayWhatLiesInInfluxDBAlone(t *testing.T) {
	dir := t.TempDir()
	run := func(args ...string) string {
		var out, said bytes.Buffer
		require.Equal(t, OK, Run(t.Context(), args, Streams{In: &bytes.Buffer{}, Out: &out, Err: &said}), said.String())
		return said.String()
	}
	data, to := filepath.Join(dir, "data"), filepath.Join(dir, "backup")
	s, err := sqlite.Open(t.Context(), data, sqlite.Options{Outbox: true, SealAfter: time.Hour, SealQuiet: -1})
	require.NoError(t, err)
	var readings []roof.Reading
	for i := range 24 {
		r := roof.Reading{Logger: "k7", At: time.Date(2026, 1, 5, i, 0, 0, 0, time.UTC),
			Arrived: time.Date(2026, 1, 5, i, 0, 1, 0, time.UTC)}
		r.Values.Set(roof.TempC, float64(i))
		readings = append(readings, r)
	}
	_, err = s.Append(t.Context(), "house-1", readings)
	require.NoError(t, err)
	_, err = s.Seal(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.Close())
	require.Empty(t, run("backup", "-data", data, "-to", to))
	require.Empty(t, run("check", "-data", data))

	s, err = sqlite.Open(t.Context(), data, sqlite.Options{Outbox: true, SealAfter: -1})
	require.NoError(t, err)
	_, last, err := s.Pending(t.Context(), 0, 100)
	require.NoError(t, err)
	require.NoError(t, s.Sent(t.Context(), last))
	days, err := s.Aged(t.Context(), time.Now(), 10)
	require.NoError(t, err)
	require.Len(t, days, 1)
	released, err := s.Release(t.Context(), days[0], readings)
	require.NoError(t, err)
	require.True(t, released)
	require.NoError(t, s.Close())
	require.Contains(t, run("backup", "-data", data, "-to", to),
		"NOT in this backup: 24 readings that lie in InfluxDB alone")
	require.Contains(t, run("check", "-data", data), "NOT verified: 24 readings that lie in InfluxDB alone")
}
