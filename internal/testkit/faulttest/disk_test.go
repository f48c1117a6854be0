package faulttest

import (
	"errors"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/patience"
)

// smallDisk is a folder on a disk of its own.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		if errors.Is(err, syscall.EPERM) {
			t.Skip("only root can mount a small disk to fill")
		}
		require.NoError(t, err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	return dir
}

// fill leaves so many bytes of the disk free.
func fill(t *testing.T, dir string, leave int64) (filler string) {
	t.Helper()
	var s unix.Statfs_t
	require.NoError(t, unix.Statfs(dir, &s))
	n := int64(s.Bavail)*int64(s.Bsize) - leave
	filler = filepath.Join(dir, "filler")
	f, err := os.Create(filler)
	require.NoError(t, err)
	defer f.Close()
	block := make([]byte, 4096)
	for ; n > 0; n -= int64(len(block)) {
		if _, err := f.Write(block); err != nil {
			require.ErrorIs(t, err, syscall.ENOSPC)
			return filler
		}
	}
	return filler
}

// Row 5, the daemon as a whole: with a full disk it acknowledges nothing, says so
// on every way it has, keeps its pages up, and goes on by itself.
func TestAFullDiskIsSaidAndIngestGoesOnWhenThereIsRoom(t *testing.T) {
	dir := smallDisk(t, "12m")
	data := filepath.Join(dir, "data")
	d := crashtest.Serve(t, data)
	newHouse(d)
	c, err := client(t, d.MQTT, "logger", "", "")
	require.NoError(t, err)
	require.True(t, send(c, "dewcase/larch-3/k1", body(0), patience.Long))
	filler := fill(t, dir, 0)

	acked := 1
	for n := 1; ; n++ { // what SQLite has room for already may still go in
		require.Less(t, n, 20000)
		// A message that cannot be stored costs the connection, so that it comes again.
		if !send(c, "dewcase/larch-3/k1", body(n), 5*time.Second) {
			break
		}
		acked++
	}
	patience.Until(t, "it says so", func() bool { return d.Status("/readyz") == http.StatusServiceUnavailable })
	require.Contains(t, string(d.Do(http.MethodGet, "/readyz", nil, 503)), "the disk is full")
	require.EqualValues(t, 1, d.Metric("dewcase_store_failing"))
	for _, page := range []string{"/", "/cases/larch-3", "/api/cases/larch-3/readings.csv", "/healthz"} {
		d.Do(http.MethodGet, page, nil, 200)
	}
	require.Contains(t, d.Log(), "nothing is acknowledged until it works again")

	require.NoError(t, os.Remove(filler))
	patience.Until(t, "it takes readings again without a restart", func() bool {
		c, err := client(t, d.MQTT, "logger", "", "")
		return err == nil && send(c, "dewcase/larch-3/k1", body(30000), 2*time.Second)
	})
	patience.Until(t, "and says so", func() bool { return d.Status("/readyz") == http.StatusOK })
	require.GreaterOrEqual(t, strings.Count(string(d.Do(http.MethodGet, "/api/cases/larch-3/readings.csv", nil, 200)),
		"\n")-1, acked+1)
	require.Zero(t, d.Stop(), d.Log())
	out, status := crashtest.Run(t, "check", "-data", data)
	require.Zero(t, status, out)
}

// Row 6: on a disk that is nearly full what could not be used is kept without its
// payload, so that the last room is left to readings.
func TestOnANearlyFullDiskPayloadsOfRejectsMakeRoomForReadings(t *testing.T) {
	dir := smallDisk(t, "32m")
	d := crashtest.Serve(t, filepath.Join(dir, "data"))
	newHouse(d)
	c, err := client(t, d.MQTT, "logger", "", "")
	require.NoError(t, err)
	junk := `{"temp_c":"` + strings.Repeat("x", 2000) + `"}`
	kept := func() (n, payloads int) {
		text := string(d.Do(http.MethodGet, "/api/cases/larch-3/rejects", nil, 200))
		return strings.Count(text, `"reason"`), strings.Count(text, "xxxxxxxx")
	}
	require.True(t, send(c, "dewcase/larch-3/k1", junk, patience.Long))
	patience.Until(t, "kept with its payload", func() bool { _, p := kept(); return p > 0 })
	_, before := kept()

	// People are told first, while everything is still kept.
	require.NotContains(t, string(d.Do(http.MethodGet, "/readyz", nil, 200)), "left on the disk")
	fill(t, dir, 5<<19)
	require.Contains(t, string(d.Do(http.MethodGet, "/readyz", nil, 200)), "MB are left on the disk")
	require.True(t, send(c, "dewcase/larch-3/k1", junk, patience.Long))
	patience.Until(t, "it is kept with its payload", func() bool { _, p := kept(); return p == 2*before })

	require.NoError(t, os.Remove(filepath.Join(dir, "filler")))
	fill(t, dir, 5<<18)
	patience.Until(t, "the next ones are kept without", func() bool {
		require.True(t, send(c, "dewcase/larch-3/k1", junk, patience.Long))
		n, p := kept()
		return n > 3 && p < before*n
	})
	require.Contains(t, string(d.Do(http.MethodGet, "/api/cases/larch-3/rejects", nil, 200)), "its bytes were not kept")
	for n := range 50 {
		require.True(t, send(c, "dewcase/larch-3/k1", body(n), patience.Long), "readings are not refused")
	}
	require.EqualValues(t, 50, d.Metric("dewcase_readings_stored_total"))
	require.Positive(t, rejected(d, "bad_value"), "and it is never silent")
}

// Row 7: without descriptors left nobody new comes in, the daemon does not spin,
// and it takes them again once there are some.
func TestWithoutDescriptorsTheDaemonWaits(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	newHouse(d)
	p := pid(t, d)
	c, err := client(t, d.MQTT, "logger", "", "")
	require.NoError(t, err)
	require.True(t, send(c, "dewcase/larch-3/k1", body(0), patience.Long))
	open, err := os.ReadDir("/proc/" + itoa(p) + "/fd")
	require.NoError(t, err)
	var was unix.Rlimit
	require.NoError(t, unix.Prlimit(p, unix.RLIMIT_NOFILE, nil, &was))
	require.NoError(t, unix.Prlimit(p, unix.RLIMIT_NOFILE, &unix.Rlimit{Cur: uint64(len(open) + 8), Max: was.Max}, nil))
	var all []net.Conn
	defer func() {
		for _, c := range all {
			_ = c.Close()
		}
	}()
	for range 64 {
		for _, addr := range []string{strings.TrimPrefix(d.HTTP, "http://"), d.MQTT} {
			conn, err := net.DialTimeout("tcp", addr, 5*time.Second)
			if err == nil {
				all = append(all, conn)
			}
		}
	}
	require.NotEmpty(t, all)
	for n := 1; n <= 20; n++ {
		require.True(t, send(c, "dewcase/larch-3/k1", body(n), patience.Long), "who is connected is served")
	}
	patience.Until(t, "it idles for a second", func() bool {
		used := cpuTime(t, p)
		time.Sleep(time.Second)
		return cpuTime(t, p)-used < 100*time.Millisecond
	})
	for _, conn := range all {
		_ = conn.Close()
	}
	all = nil
	patience.Until(t, "people come in again", func() bool {
		resp, err := (&http.Client{Timeout: 5 * time.Second}).Get(d.HTTP + "/healthz")
		if err != nil {
			return false
		}
		_ = resp.Body.Close()
		return resp.StatusCode == http.StatusOK
	})
	require.EqualValues(t, 21, d.Metric("dewcase_readings_stored_total"))
	require.Zero(t, d.Stop(), d.Log())
}

// Row 7: a limit on the size of files is a disk that cannot be written.
func TestALimitOnFileSizesIsAFailingDiskAndNoCrash(t *testing.T) {
	data := t.TempDir()
	d := crashtest.Serve(t, data)
	newHouse(d)
	p := pid(t, d)
	var was unix.Rlimit
	require.NoError(t, unix.Prlimit(p, unix.RLIMIT_FSIZE, nil, &was))
	require.NoError(t, unix.Prlimit(p, unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: 64 << 10, Max: was.Max}, nil))
	acked := map[int]bool{}
	failed := false
	for n := 0; n < 5000 && !failed; n++ {
		c, err := client(t, d.MQTT, "logger", "", "")
		require.NoError(t, err, d.Log())
		for ; n < 5000; n++ {
			if !send(c, "dewcase/larch-3/k1", body(n), 5*time.Second) {
				failed = true
				break
			}
			acked[n] = true
		}
	}
	require.True(t, failed, "the limit was met")
	patience.Until(t, "it says so", func() bool { return d.Status("/readyz") == http.StatusServiceUnavailable })
	require.NoError(t, unix.Prlimit(p, unix.RLIMIT_FSIZE, &was, nil))
	patience.Until(t, "it takes readings again", func() bool {
		c, err := client(t, d.MQTT, "logger", "", "")
		return err == nil && send(c, "dewcase/larch-3/k1", body(6000), 2*time.Second)
	})
	rows := string(d.Do(http.MethodGet, "/api/cases/larch-3/readings.csv", nil, 200))
	for n := range acked {
		require.Equal(t, 1, strings.Count(rows, first.Add(time.Duration(n)*5*time.Minute).Format("2006-01-02T15:04:05")),
			"reading %d is there once", n)
	}
	require.Zero(t, d.Stop(), d.Log())
	out, status := crashtest.Run(t, "check", "-data", data)
	require.Zero(t, status, out)
}
