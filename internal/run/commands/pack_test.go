package commands

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/parcel"
)

const packedCase = `case: larch-3
property: {label: 3 Larch End, timezone: Europe/London}
positions:
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
loggers:
  - {id: k1, interval_s: 1800, accuracy: {temp_c: 0.3, rh_pct: 2}, fitted: [{position: void, from: 2026-01-01}]}
  - {id: k2, interval_s: 1800, accuracy: {temp_c: 0.3}, fitted: [{position: slate, from: 2026-01-01}]}
`

// packing stores a fortnight and packs it.
func packing(t *testing.T) (file string, run func(want int, args ...string) (out, said string)) {
	dir := t.TempDir()
	run = func(want int, args ...string) (string, string) {
		var out, said bytes.Buffer
		require.Equal(t, want, Run(t.Context(), args, Streams{In: &bytes.Buffer{}, Out: &out, Err: &said}), said.String())
		return out.String(), said.String()
	}
	var rows strings.Builder
	rows.WriteString("time,logger,temp_c,rh_pct\n")
	for i := range 14 * 48 {
		at := time.Date(2026, 1, 2, 0, 30*i, 0, 0, time.UTC).Format(time.RFC3339)
		warm := 4 * math.Sin(2*math.Pi*float64(i%48)/48)
		fmt.Fprintf(&rows, "%s,k1,%.2f,%.1f\n%s,k2,%.2f,\n", at, 4+warm, 88+warm, at, 2.5+1.3*warm)
	}
	rows.WriteString("2026-01-02T00:00:00Z,k1,9,90\n") // another value: kept aside
	caseFile, readings := filepath.Join(dir, "case.yaml"), filepath.Join(dir, "readings.csv")
	require.NoError(t, os.WriteFile(caseFile, []byte(packedCase), 0o600))
	require.NoError(t, os.WriteFile(readings, []byte(rows.String()), 0o600))
	data := filepath.Join(dir, "data")
	run(OK, "import", "-case", caseFile, "-readings", readings, "-data", data)
	file = filepath.Join(dir, "larch-3.zip")
	out, _ := run(OK, "pack", "-case", "larch-3", "-to", file, "-data", data)
	assert.Contains(t, out, "head of its chain: ")
	_, said := run(Unusable, "pack", "-case", "larch-4", "-to", filepath.Join(dir, "none.zip"), "-data", data)
	assert.Contains(t, said, "larch-4")
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, left, 4, "case file, readings, data and the pack, and nothing half written")
	return file, run
}

func TestAPackedHouseIsVerifiedByteByByteAndFigureByFigure(t *testing.T) {
	file, run := packing(t)
	out, _ := run(OK, "verify", file)
	assert.Contains(t, out, "every byte agrees")
	run(Usage, "verify")
	run(Usage, "pack", "-case", "larch-3")
	run(Unusable, "verify", file+".missing")

	whole, err := os.ReadFile(file)
	require.NoError(t, err)
	z, err := zip.NewReader(bytes.NewReader(whole), int64(len(whole)))
	require.NoError(t, err)
	answer, err := z.Open("assessment.json")
	require.NoError(t, err)
	var text bytes.Buffer
	_, err = text.ReadFrom(answer)
	require.NoError(t, err)
	assert.Contains(t, text.String(), `"hours_condensing"`)

	whole[len(whole)/2] ^= 1
	require.NoError(t, os.WriteFile(file, whole, 0o600))
	_, said := run(Unusable, "verify", file)
	assert.NotEmpty(t, said)
	require.NoError(t, os.WriteFile(file, []byte("no archive"), 0o600))
	_, said = run(Unusable, "verify", file)
	assert.Contains(t, said, "no whole file of a house")
}

// A pack or a report that was killed leaves a hidden file, which the next writes
// over; a planted link is not followed.
func TestWhatAKillLeftBehindIsWrittenOver(t *testing.T) {
	dir := t.TempDir()
	name, part := filepath.Join(dir, "a.zip"), filepath.Join(dir, ".a.zip.part")
	require.NoError(t, os.WriteFile(part, bytes.Repeat([]byte("half "), 100), 0o600))
	write := func(out io.Writer) error { _, err := out.Write([]byte("whole")); return err }
	require.NoError(t, replaceFile(name, 0o600, write))
	got, err := os.ReadFile(name)
	require.NoError(t, err)
	assert.Equal(t, "whole", string(got))
	assert.NoFileExists(t, part)

	failed := errors.New("no space left")
	assert.ErrorIs(t, replaceFile(name, 0o600, func(io.Writer) error { return failed }), failed)
	assert.NoFileExists(t, part)
	require.NoError(t, os.Symlink(filepath.Join(dir, "victim"), part))
	require.Error(t, replaceFile(name, 0o600, write))
	assert.NoFileExists(t, filepath.Join(dir, "victim"))

	require.NoError(t, os.Remove(part))
	require.NoError(t, replaceFile(name, 0o600, func(io.Writer) error {
		assert.ErrorContains(t, replaceFile(name, 0o600, write), "is being written by another command")
		return nil
	}))
}

// Whoever alters readings or figures and seals the archive anew is told by the
// figures, and by the head that was kept apart.
func TestAForgedPackIsNamedByItsFigures(t *testing.T) {
	file, run := packing(t)
	first, _ := run(OK, "verify", file)
	whole, err := os.ReadFile(file)
	require.NoError(t, err)
	for _, c := range []struct{ name, in, was, is, told string }{
		{"a reading of another logger", "readings.csv", "k2,2026-01-05", "k3,2026-01-05", "assessment.json: "},
		{"fewer wet hours", "assessment.json", `"hours_condensing_raw": `, `"hours_condensing_raw": 1`,
			"assessment.json: surfaces[0] hours_condensing_raw is 1"},
		{"another case file", "case.yaml", "rh_pct: 2", "rh_pct: 1", "case.yaml: is not the last version"},
	} {
		t.Run(c.name, func(t *testing.T) {
			forged, err := os.Create(file)
			require.NoError(t, err)
			draft := altered(t, whole, c.in, c.was, c.is)
			_, err = parcel.SealOf(forged, bytes.NewReader(draft), int64(len(draft)), Version, "")
			require.NoError(t, err)
			require.NoError(t, forged.Close())
			out, said := run(Unusable, "verify", file)
			assert.Contains(t, said, c.told)
			assert.NotEqual(t, first, out)
		})
	}
}

// altered is an archive without its seal, one file changed.
func altered(t *testing.T, whole []byte, name, was, is string) []byte {
	z, err := zip.NewReader(bytes.NewReader(whole), int64(len(whole)))
	require.NoError(t, err)
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, f := range z.File {
		if f.Name == "seal.json" {
			continue
		}
		in, err := f.Open()
		require.NoError(t, err)
		var text bytes.Buffer
		_, err = text.ReadFrom(in)
		require.NoError(t, err)
		content := text.String()
		if f.Name == name {
			require.Contains(t, content, was)
			content = strings.Replace(content, was, is, 1)
		}
		to, err := w.Create(f.Name)
		require.NoError(t, err)
		_, err = to.Write([]byte(content))
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}
