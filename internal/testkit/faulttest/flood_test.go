package faulttest

import (
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/crashtest"
)

// Row 24: while one gateway floods one topic, another logger's readings are taken
// within seconds, memory holds, and the sums come out even.
func TestAFloodOnOneTopicHoldsNobodyElseUp(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	newHouse(d)
	c, err := client(t, d.MQTT, "quiet", "", "")
	require.NoError(t, err)
	flood := crashtest.NewPublisher(d.MQTT, "flood", 5000)
	defer flood.Close()
	var over atomic.Bool
	ended := make(chan error, 1)
	const least = 50000
	go func() {
		n := 0
		for ; n < least || !over.Load(); n++ {
			at := first.Add(time.Duration(n) * time.Second).Format(time.RFC3339)
			if err := flood.Send(crashtest.Sent{N: n, Topic: "dewcase/larch-3/k1",
				Payload: fmt.Appendf(nil, `{"time":%q,"temp_c":4}`, at)}); err != nil {
				ended <- err
				return
			}
		}
		ended <- flood.Flush()
	}()
	quiet := 0
	for n := range 100 {
		// Row 24 allows 5 s; three times that, since tests share the machine.
		require.True(t, send(c, "dewcase/larch-3/k2",
			fmt.Sprintf(`{"time":%q,"temp_c":3}`, first.Add(time.Duration(n)*time.Minute).Format(time.RFC3339)), 15*time.Second))
		quiet++
	}
	over.Store(true)
	require.NoError(t, <-ended)
	require.GreaterOrEqual(t, flood.AckedCount(), least)
	require.EqualValues(t, flood.AckedCount()+quiet, d.Metric("dewcase_readings_stored_total"))
	require.Less(t, d.PeakRSS(), int64(256<<20))
	require.Zero(t, d.Stop(), d.Log())
}

func sizeOf(t *testing.T, dir string) (sum int64) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(dir, func(_ string, e fs.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			i, err := e.Info()
			if err != nil {
				return err
			}
			sum += i.Size()
		}
		return err
	}))
	return sum
}

// Row 57: a hundred thousand bad messages and a thousand wrong logins are counted
// to the last, and neither the log nor the disk grows with them.
func TestAFloodOfBadMessagesFillsNeitherLogNorDisk(t *testing.T) {
	dir := t.TempDir()
	conf := filepath.Join(dir, "dewcase.yaml")
	require.NoError(t, os.WriteFile(conf, []byte("rejects: {max_mb: 2}\n"), 0o600))
	data := filepath.Join(dir, "data")
	d := crashtest.Serve(t, data, "-config", conf)
	newHouse(d)
	p := crashtest.NewPublisher(d.MQTT, "bad", 2000)
	defer p.Close()
	junk := []byte(`{"temp_c":"` + strings.Repeat("junk ", 200) + `"}`)
	const n = 100000
	for i := range n {
		require.NoError(t, p.Send(crashtest.Sent{N: i, Topic: "dewcase/larch-3/k1", Payload: junk}))
	}
	require.NoError(t, p.Flush())
	for range 1000 {
		resp, err := http.Post(d.HTTP+"/login", "application/x-www-form-urlencoded", strings.NewReader("password=wrong"))
		require.NoError(t, err)
		_ = resp.Body.Close()
		if len(d.Log()) > 1<<20 {
			break
		}
	}
	for i := range 200 { // and logins to the broker that are none
		conn, err := client(t, d.MQTT, fmt.Sprint("wrong", i), "somebody", "wrong")
		require.True(t, err != nil || conn != nil)
	}
	_, total := 0, 0.0
	for line := range strings.Lines(string(d.Do(http.MethodGet, "/metrics", nil, 200))) {
		var v float64
		if strings.HasPrefix(line, "dewcase_readings_rejected_total{") {
			_, err := fmt.Sscan(line[strings.LastIndexByte(line, ' ')+1:], &v)
			require.NoError(t, err)
			total += v
		}
	}
	require.EqualValues(t, n, total, "each is counted")
	require.Less(t, len(d.Log()), 256<<10, "the log: %.2000s", d.Log())
	require.Zero(t, d.Stop(), d.Log())
	size := sizeOf(t, data)
	t.Logf("log %d bytes, data folder %d KiB, after %d MiB of junk", len(d.Log()), size>>10, int64(n)*int64(len(junk))>>20)
	require.Less(t, size, int64(16<<20))
	out, status := crashtest.Run(t, "check", "-data", data)
	require.Zero(t, status, out)
}
