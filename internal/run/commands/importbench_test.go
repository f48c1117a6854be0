package commands

import (
	"bufio"
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/benchwinter"
)

// A winter of six loggers at a reading a minute imported by the command, into a
// new store.
func BenchmarkImport(b *testing.B) {
	dir := b.TempDir()
	file := filepath.Join(dir, "winter.csv")
	f, err := os.Create(file)
	require.NoError(b, err)
	out := bufio.NewWriter(f)
	require.NoError(b, benchwinter.WriteCSV(out, benchwinter.Days))
	require.NoError(b, out.Flush())
	require.NoError(b, f.Close())
	house := filepath.Join(dir, "house.yaml")
	require.NoError(b, os.WriteFile(house, []byte(benchwinter.CaseFile), 0o600))
	for b.Loop() {
		data := b.TempDir()
		require.NoError(b, importFiles(context.Background(), []string{"-case", house, "-readings", file, "-data", data},
			Streams{Out: io.Discard, Err: io.Discard}))
		st, err := os.Stat(filepath.Join(data, "dewcase.db"))
		require.NoError(b, err)
		b.ReportMetric(float64(st.Size())/benchwinter.Count, "B/reading")
	}
	b.ReportMetric(benchwinter.Count*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}
