package commands

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
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

// The winter as a program of gateways might export it, by local time with decimal
// commas, beside the readings file: the file is read twice, once to judge it.
func BenchmarkImportOfAnExport(b *testing.B) {
	house, canonical := winterFiles(b)
	zone, err := time.LoadLocation("Europe/Berlin")
	require.NoError(b, err)
	export := filepath.Join(b.TempDir(), "export.csv")
	f, err := os.Create(export)
	require.NoError(b, err)
	out := bufio.NewWriter(f)
	_, err = out.WriteString("Datum;Uhrzeit;Gerät;Temperatur [°C];Feuchte [%]\n")
	require.NoError(b, err)
	for r := range benchwinter.Interleaved(benchwinter.Days) {
		t, _ := r.Values.Get(roof.TempC)
		rh, _ := r.Values.Get(roof.RHPct)
		fmt.Fprintf(out, "%s;%s;%s;%s\n", r.At.In(zone).Round(time.Minute).Format("02.01.2006;15:04:05"), r.Logger,
			strings.Replace(fmt.Sprint(t), ".", ",", 1), strings.Replace(fmt.Sprint(rh), ".", ",", 1))
	}
	require.NoError(b, out.Flush())
	require.NoError(b, f.Close())
	took := map[string]time.Duration{}
	for b.Loop() {
		for file, more := range map[string][]string{canonical: nil,
			export: {"-as", "auto", "-dates", "dmy", "-zone", "Europe/Berlin"}} {
			began := time.Now()
			require.NoError(b, importFiles(context.Background(), append([]string{"-case", house, "-readings", file, "-data",
				b.TempDir()}, more...), Streams{Out: io.Discard, Err: io.Discard}))
			took[file] += time.Since(began)
		}
	}
	b.ReportMetric(took[export].Seconds()/took[canonical].Seconds(), "x-readings-file")
}
