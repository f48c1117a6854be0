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

// winterFiles is a winter of six loggers at a reading a minute, and its house.
func winterFiles(b *testing.B) (house, readings string) {
	dir := b.TempDir()
	house, readings = filepath.Join(dir, "house.yaml"), filepath.Join(dir, "winter.csv")
	require.NoError(b, os.WriteFile(house, []byte(benchwinter.CaseFile), 0o600))
	f, err := os.Create(readings)
	require.NoError(b, err)
	out := bufio.NewWriter(f)
	require.NoError(b, benchwinter.WriteCSV(out, benchwinter.Days))
	require.NoError(b, out.Flush())
	require.NoError(b, f.Close())
	return house, readings
}

// The winter imported by the command into a new store.
func BenchmarkImport(b *testing.B) {
	house, file := winterFiles(b)
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

// The same winter assessed by the command from the file.
func BenchmarkAssess(b *testing.B) {
	house, file := winterFiles(b)
	for b.Loop() {
		require.NoError(b, assess(context.Background(), []string{"-case", house, "-readings", file, "-format", "json"},
			Streams{Out: io.Discard, Err: io.Discard}))
	}
}
