package commands

import (
	"bytes"
	"context"
	"errors"
	"maps"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/roof"
)

const exportsDir = "../../../testdata/exports"

// shapes are the folders of testdata/exports, each with its file and flags.
func shapes(t *testing.T) map[string][]string {
	out := map[string][]string{}
	folders, err := filepath.Glob(exportsDir + "/*/flags")
	require.NoError(t, err)
	for _, f := range folders {
		dir := filepath.Dir(f)
		flags, err := os.ReadFile(f)
		require.NoError(t, err)
		out[filepath.Base(dir)] = append([]string{"-readings", exportOf(t, dir), "-as", "auto"},
			strings.Fields(string(flags))...)
	}
	require.GreaterOrEqual(t, len(out), 12)
	return out
}

func exportOf(t *testing.T, dir string) string {
	files, err := filepath.Glob(dir + "/*.*")
	require.NoError(t, err)
	for _, f := range files {
		if filepath.Base(f) != "canonical.csv" {
			return f
		}
	}
	t.Fatalf("no export in %s", dir)
	return ""
}

// imported is what a store holds after an import, by logger.
func imported(t *testing.T, args ...string) map[string][]roof.Reading {
	t.Helper()
	data := filepath.Join(t.TempDir(), "data")
	status, _, said := ran(t, append([]string{"import", "-case", exportsDir + "/case.yaml", "-data", data}, args...)...)
	require.Equal(t, OK, status, said)
	return held(t, data)
}

func ran(t *testing.T, args ...string) (status int, out, said string) {
	t.Helper()
	var o, e bytes.Buffer
	status = Run(t.Context(), args, Streams{In: &bytes.Buffer{}, Out: &o, Err: &e})
	return status, o.String(), e.String()
}

func held(t *testing.T, data string) map[string][]roof.Reading {
	t.Helper()
	store, err := sqlite.Open(t.Context(), data, sqlite.Options{})
	require.NoError(t, err)
	defer func() { assert.NoError(t, store.Close()) }()
	spans, err := store.Spans(t.Context(), "larkfield-9")
	require.NoError(t, err)
	out := map[string][]roof.Reading{}
	for _, s := range spans {
		for r, err := range store.Range(context.Background(), "larkfield-9", s.Logger, time.Time{}, time.Time{}) {
			require.NoError(t, err)
			r.Arrived = time.Time{}
			out[s.Logger] = append(out[s.Logger], r)
		}
	}
	return out
}

func TestEachShapeOfExportGivesTheReadingsOfItsCanonicalForm(t *testing.T) {
	for name, flags := range shapes(t) {
		t.Run(name, func(t *testing.T) {
			want := imported(t, "-readings", exportsDir+"/"+name+"/canonical.csv")
			same(t, want, imported(t, flags...))
		})
	}
}

// same compares two records reading by reading and tells the first that differs.
func same(t *testing.T, want, got map[string][]roof.Reading) {
	t.Helper()
	require.Equal(t, slices.Sorted(maps.Keys(want)), slices.Sorted(maps.Keys(got)), "loggers")
	for logger, rows := range want {
		require.Len(t, got[logger], len(rows), logger)
		for i := range rows {
			require.Equal(t, rows[i], got[logger][i], "%s, reading %d", logger, i)
		}
	}
}

func TestWhatIsDoubtfulEndsWithALineThatNamesTheFlag(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "x.csv")
	require.NoError(t, os.WriteFile(file, []byte("Date,Time,Temp,RH (%)\n05/06/2026,06:10,41,92\n"), 0o600))
	status, out, said := ran(t, "assess", "-case", exportsDir+"/case.yaml", "-readings", file, "-as", "auto")
	assert.Equal(t, Unusable, status)
	assert.Empty(t, out)
	lines := strings.Split(strings.TrimSpace(said), "\n")
	require.Len(t, lines, 4, said)
	for flag, line := range map[string]int{"-dates dmy or -dates mdy": 0, "-unit C, -unit F or -unit K": 1,
		"-logger NAME": 2, "-zone Europe/London": 3} {
		assert.Contains(t, lines[line], flag)
		assert.Regexp(t, `^\S+/x.csv:\d+: [a-z]+: `, lines[line])
	}
	data := filepath.Join(dir, "data")
	status, _, _ = ran(t, "import", "-case", exportsDir+"/case.yaml", "-readings", file, "-as", "auto", "-data", data)
	assert.Equal(t, Unusable, status)
	_, err := os.Stat(data)
	assert.ErrorIs(t, err, os.ErrNotExist, "a file that cannot be used makes no store")

	status, _, said = ran(t, "assess", "-case", exportsDir+"/case.yaml", "-readings", file, "-as", "auto", "-dates", "dmy",
		"-unit", "F", "-logger", "k7-loft", "-zone", "Europe/London")
	assert.Equal(t, OK, status, said)
}

func TestAnswersKeptAsARecipeLetTheNextFilePass(t *testing.T) {
	dir := t.TempDir()
	first, second := filepath.Join(dir, "k7-loft-2026-06.csv"), filepath.Join(dir, "k7-void.csv")
	require.NoError(t, os.WriteFile(first, []byte("Date,Time,Temp,RH (%)\n05/06/2026,06:10,41,92\n"), 0o600))
	require.NoError(t, os.WriteFile(second, []byte("Date,Time,Temp,RH (%)\n06/07/2026,06:10,41,92\n"), 0o600))
	data := filepath.Join(dir, "data")
	base := []string{"import", "-case", exportsDir + "/case.yaml", "-data", data}
	status, _, said := ran(t, append(base, "-readings", first, "-as", "auto", "-dates", "dmy", "-unit", "F", "-zone",
		"Europe/London", "-keep", "usb")...)
	require.Equal(t, OK, status, said)
	for _, as := range []string{"auto", "usb"} {
		status, out, said := ran(t, append(base, "-readings", second, "-as", as)...)
		require.Equal(t, OK, status, said)
		assert.Contains(t, out, "case larkfield-9: ")
	}
	got := held(t, data)
	require.Len(t, got["k7-void"], 1)
	assert.Equal(t, "2026-07-06T05:10:00Z", got["k7-void"][0].At.Format(time.RFC3339))
}

func TestAWeatherStationIsNotedInTheCaseFileThatIsKept(t *testing.T) {
	dir := t.TempDir()
	file, data, own := filepath.Join(dir, "met.csv"), filepath.Join(dir, "data"), filepath.Join(dir, "house.yaml")
	require.NoError(t, os.WriteFile(file, []byte("Time (UTC),Temp (°C),RH (%),Rain (mm)\n2026-11-25 06:00,4.1,92,0.2\n"+
		"2026-11-25 05:00,4.3,91,0\n"), 0o600))
	require.NoError(t, os.WriteFile(own, []byte("case: alder-2\nproperty: {timezone: Europe/London}\npositions:\n"+
		"  - {id: loft, place: loft_air}\nloggers:\n"+
		"  - {id: k1, fitted: [{position: loft, from: 2026-10-01}]} # ours\n"), 0o600))
	args := func(command string, more ...string) []string {
		return append([]string{command, "-case", own, "-readings", file, "-as", "auto", "-station-km", "7",
			"-station-above-m", "-30", "-station-source", "airport"}, more...)
	}
	status, _, said := ran(t, args("import", "-logger", "met", "-data", data)...)
	require.Equal(t, OK, status, said)
	assert.Contains(t, said, "write station: {source: airport, distance_km: 7, height_difference_m: -30} at met")
	assert.NotContains(t, said, "not in the case file")
	store, err := sqlite.Open(t.Context(), data, sqlite.Options{})
	require.NoError(t, err)
	kept, _, _, err := store.Case(t.Context(), "alder-2")
	require.NoError(t, errors.Join(err, store.Close()))
	for _, line := range []string{"# ours", "  - {id: station, place: outdoor_air}", "  - {id: met, station: {source: " +
		"airport, distance_km: 7, height_difference_m: -30}, fitted: [{position: station, from: 2026-11-25T05:00:00Z}]}"} {
		assert.Contains(t, string(kept), line)
	}
	status, out, said := ran(t, args("assess", "-logger", "met", "-format", "json")...)
	require.Equal(t, OK, status, said)
	assert.Contains(t, out, "logger met counts here as a weather station (airport) 7.0 km away")
	assert.Contains(t, out, "the case file is left as it is: write station: {source: airport")

	status, _, said = ran(t, args("import", "-logger", "k1", "-data", data)...)
	assert.Equal(t, Unusable, status)
	assert.Contains(t, said, "met.csv:1: station: is of logger k1, which the case file has at a place that is not "+
		"outdoors; give the station a name of its own with -logger NAME")
}

func TestSeveralFilesAndStandardInputAreOneImport(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	in, err := os.ReadFile(exportsDir + "/quantity-value/export.csv")
	require.NoError(t, err)
	var out, said bytes.Buffer
	status := Run(t.Context(), []string{"import", "-case", exportsDir + "/case.yaml", "-data", data, "-as", "auto",
		"-readings", "-", "-readings", exportsDir + "/wide-offsets/export.csv", "-strict"},
		Streams{In: bytes.NewReader(in), Out: &out, Err: &said})
	require.Equal(t, OK, status, said.String())
	assert.Equal(t, "case larkfield-9: 102 readings stored, 30 completed, 0 duplicates, 0 conflicts, 0 rejected\n",
		out.String())
}

// Rows that say otherwise than what came first are named by line, with both values;
// what came first is kept.
func TestRowsOfAFileThatSayOtherwiseAreTold(t *testing.T) {
	file := filepath.Join(t.TempDir(), "k7-loft.csv")
	text := "Time;Temp °C;RH %\n2026-11-25 06:00;4.3;96\n2026-11-25 06:10;4.4;95\n2026-11-25 06:00;5.3;96\n" +
		"2026-11-25 06:10;4.4;95\n"
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	status, out, said := ran(t, "import", "-case", exportsDir+"/case.yaml", "-readings", file, "-as", "auto", "-zone",
		"UTC", "-data", filepath.Join(t.TempDir(), "data"))
	require.Equal(t, OK, status, said)
	assert.Contains(t, out, "2 readings stored, 0 completed, 1 duplicates, 1 conflicts")
	assert.Contains(t, said, "line 4: k7-loft at 25 Nov 2026 06:00:00 UTC says 5.3 °C and 96 %RH; 4.3 °C and 96 %RH, "+
		"which came first, is kept and counts")
}

// Each example of the reference is run as it stands there.
func TestTheExamplesOfTheReferenceForExportsRun(t *testing.T) {
	reference, err := os.ReadFile("../../../deploy/REFERENCE.md")
	require.NoError(t, err)
	_, section, found := strings.Cut(string(reference), "\n## Files from loggers")
	require.True(t, found)
	section, _, _ = strings.Cut(section, "\n## ")
	ran := 0
	for _, line := range strings.Split(section, "\n") {
		shape, command, found := strings.Cut(strings.Trim(line, "| "), "` | `dewcase ")
		if !found {
			continue
		}
		shape = strings.TrimPrefix(shape, "`")
		command, _, _ = strings.Cut(command, "`")
		args := strings.Fields(command)
		for i, a := range args {
			if strings.HasPrefix(a, "export.") || a == "k7-loft_2026-10.csv" {
				args[i] = exportsDir + "/" + shape + "/" + a
			}
			if a == "case.yaml" {
				args[i] = exportsDir + "/" + a
			}
		}
		if args[0] == "import" {
			args = append(args, "-data", filepath.Join(t.TempDir(), "data"))
		}
		var out, said bytes.Buffer
		assert.Equal(t, OK, Run(t.Context(), args, Streams{In: &bytes.Buffer{}, Out: &out, Err: &said}), "%s: %s", line,
			said.String())
		ran++
	}
	folders, err := filepath.Glob(exportsDir + "/*/flags")
	require.NoError(t, err)
	assert.Equal(t, len(folders), ran, "one example a shape")
}

// What is wrong is told with what would be right, whoever reads it.
func TestAStrangersMistakesAreToldWithTheWayOut(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		at := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(at, []byte(text), 0o600))
		return at
	}
	canonical := file("r.csv", "time,logger,temp_c,rh_pct\n2026-11-13T06:00:00Z,k7-loft,4,90\n")
	semicolons := file("s.csv", "Zeit;Temperatur\n13.11.2026 06:00;4,3\n")
	other := file("o.csv", "Date,Temp\n2026-11-13,4.3\n")
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { _ = taken.Close() }()
	for name, c := range map[string]struct {
		args   []string
		status int
		says   string
	}{
		"a port in use": {[]string{"serve", "-http", taken.Addr().String(), "-mqtt-listen", "127.0.0.1:0", "-data",
			filepath.Join(dir, "data")}, Unusable, "another program has this port, perhaps another dewcase"},
		"an export without -as": {[]string{"assess", "-case", exportsDir + "/case.yaml", "-readings", semicolons}, Unusable,
			"or read it as an export of another program: with -as auto, or on the house's page Files"},
		"another header without -as": {[]string{"assess", "-case", exportsDir + "/case.yaml", "-readings", other}, Unusable,
			"with -as auto, or on the house's page Files"},
		"a flag of -as without it": {[]string{"assess", "-case", exportsDir + "/case.yaml", "-readings", canonical, "-zone",
			"UTC"}, Usage, "-zone goes with -as auto, or -as RECIPE"},
		"a report into a folder that is not there": {[]string{"report", "-case", exportsDir + "/case.yaml", "-readings",
			canonical, "-to", filepath.Join(dir, "none", "x.pdf")}, Unusable, "no file can be made in the folder " +
			filepath.Join(dir, "none") + ": no such file or directory"},
		"a filter for a topic": {[]string{"try", "-topic", "a/#", "-payload", canonical}, Usage, "neither + nor #"},
	} {
		t.Run(name, func(t *testing.T) {
			status, out, said := ran(t, c.args...)
			assert.Equal(t, c.status, status)
			assert.Empty(t, out)
			assert.Contains(t, said, c.says)
		})
	}
}
