// Package chartbench measures the chart in a real browser on a winter of
// one-minute readings: its first picture, steps of zoom, and frames of a pan while
// the browser pretends to a processor of a quarter of the speed.
package chartbench

import (
	"bufio"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/benchwinter"
	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/patience"
)

func TestMain(m *testing.M) { crashtest.Main(m) }

func BenchmarkChartInABrowser(b *testing.B) {
	scripts, err := filepath.Abs("../../../dashboards/test")
	require.NoError(b, err)
	for _, need := range []string{filepath.Join(scripts, "node_modules", "playwright-core"), "/usr/bin/chromium"} {
		if _, err := os.Stat(need); err != nil {
			b.Skipf("%s is not there: make deps and npm ci in dashboards/test put it there", need)
		}
	}
	dir := b.TempDir()
	house, readings := filepath.Join(dir, "house.yaml"), filepath.Join(dir, "winter.csv")
	require.NoError(b, os.WriteFile(house, []byte(benchwinter.CaseFile), 0o600))
	f, err := os.Create(readings)
	require.NoError(b, err)
	out := bufio.NewWriter(f)
	require.NoError(b, benchwinter.WriteCSV(out, benchwinter.Days))
	require.NoError(b, out.Flush())
	require.NoError(b, f.Close())
	said, status := crashtest.Run(b, "import", "-case", house, "-readings", readings, "-data", filepath.Join(dir, "data"))
	require.Zero(b, status, said)
	daemon := crashtest.Serve(b, filepath.Join(dir, "data"))
	defer daemon.Stop()
	from := benchwinter.Begin.Format(time.RFC3339)
	until := benchwinter.Begin.AddDate(0, 0, benchwinter.Days).Format(time.RFC3339)
	// The first look at a record that was only just imported works its quarters out.
	patience.Until(b, "the first look is answered", func() bool {
		whole := url.Values{"from": {from}, "to": {until}}
		res, err := http.Get(daemon.HTTP + "/cases/bench-house/chart?" + whole.Encode())
		require.NoError(b, err)
		require.NoError(b, res.Body.Close())
		return res.StatusCode == http.StatusOK
	})
	for b.Loop() {
		cmd := exec.Command("node", "bench/chart.js", "/cases/bench-house/chart", from, until)
		cmd.Dir, cmd.Stderr = scripts, os.Stderr
		cmd.Env = append(os.Environ(), "DEWCASE_PAGES="+daemon.HTTP)
		figures, err := cmd.Output()
		require.NoError(b, err, "%s", figures)
		n := 0
		for line := range strings.Lines(string(figures)) {
			unit, figure, _ := strings.Cut(strings.TrimSpace(line), " ")
			x, err := strconv.ParseFloat(figure, 64)
			require.NoError(b, err, line)
			b.ReportMetric(x, unit)
			n++
		}
		require.Equal(b, 2*(1+4+2*3), n, "%s", figures)
	}
}
