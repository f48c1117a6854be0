package crashtest

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/benchwinter"
)

// keptRounds is how often the daemon is killed while it keeps what it works out.
const keptRounds = 5

const keptDays = 8

// answersOf are what rests on kept values: hours, columns of a chart, assessment.
func answersOf() []string {
	from, until := benchwinter.Begin, benchwinter.Begin.AddDate(0, 0, keptDays)
	span := url.Values{"from": {from.Format(time.RFC3339)}, "to": {until.Format(time.RFC3339)}}.Encode()
	return []string{"/api/cases/bench-house/timeline?step=3600&" + span,
		"/cases/bench-house/chart/data?step=3600&show=loft.vapour_pressure,void.vapour_excess,slate.margin&" + span,
		"/api/cases/bench-house/assessment"}
}

// Killed at any moment while hours, columns and assessments are being kept, with
// late readings coming meanwhile, the next start answers what one answers that
// keeps nothing.
func TestNoKeptValueIsStaleWhenTheDaemonIsKilledWhileKeeping(t *testing.T) {
	data, dir := t.TempDir(), t.TempDir()
	house, csv := filepath.Join(dir, "house.yaml"), filepath.Join(dir, "readings.csv")
	require.NoError(t, os.WriteFile(house, []byte(benchwinter.CaseFile), 0o600))
	f, err := os.Create(csv)
	require.NoError(t, err)
	out := bufio.NewWriter(f)
	require.NoError(t, benchwinter.WriteCSV(out, keptDays))
	require.NoError(t, out.Flush())
	require.NoError(t, f.Close())
	said, status := Run(t, "import", "-case", house, "-readings", csv, "-data", data)
	require.Zero(t, status, said)
	late := func(n int) []byte {
		at := benchwinter.Begin.Add(time.Duration(rand.IntN(keptDays*24*60))*time.Minute + time.Duration(20+n)*time.Second)
		return fmt.Appendf(nil, "time,logger,temp_c,rh_pct\n%s,%s,%.2f,91.5\n", at.Format(time.RFC3339),
			benchwinter.Name(n%benchwinter.Loggers), 3+float64(n)/10)
	}
	exact := func(d *Daemon) (all [][]byte) {
		for _, path := range answersOf() {
			all = append(all, d.Do(http.MethodGet, path, nil, http.StatusOK))
		}
		return all
	}
	var taken atomic.Int64 // late readings
	for k := range keptRounds {
		d := Serve(t, data, "-drop-derived") // all of it is worked out, and kept as it comes
		var asking sync.WaitGroup
		ask := func(method, path string, body []byte) {
			req, err := http.NewRequest(method, d.HTTP+path, bytes.NewReader(body))
			require.NoError(t, err)
			res, err := http.DefaultClient.Do(req)
			if err != nil {
				return // it was killed
			}
			_, _ = io.Copy(io.Discard, res.Body)
			_ = res.Body.Close()
			if method == http.MethodPost && res.StatusCode == http.StatusOK {
				taken.Add(1)
			}
		}
		for _, path := range answersOf() {
			asking.Go(func() { ask(http.MethodGet, path, nil) })
		}
		asking.Go(func() {
			for n := range 20 {
				ask(http.MethodPost, "/api/cases/bench-house/readings", late(k*20+n))
			}
		})
		time.Sleep(time.Duration(rand.IntN(1200)) * time.Millisecond) // the random moment
		d.Kill()
		asking.Wait()

		d = Serve(t, data)
		got := exact(d)
		require.NotContains(t, d.Log(), "cannot be used", "a kill leaves the file whole")
		require.Zero(t, d.Stop(), d.Log())
		d = Serve(t, data, "-drop-derived")
		want := exact(d)
		require.Zero(t, d.Stop(), d.Log())
		for i := range want {
			require.True(t, bytes.Equal(want[i], got[i]), "round %d: %s\n%s", k, answersOf()[i],
				firstDifference(want[i], got[i]))
		}
	}
	require.NotZero(t, taken.Load())
	said, status = Run(t, "check", "-data", data)
	require.Zero(t, status, said)
}

func firstDifference(a, b []byte) string {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return fmt.Sprintf("anew %.60q, kept %.60q", a[max(i-20, 0):], b[max(i-20, 0):])
		}
	}
	return fmt.Sprintf("%d and %d bytes", len(a), len(b))
}
