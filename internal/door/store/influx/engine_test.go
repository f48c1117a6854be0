package influx

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/testkit/patience"
)

// engine is a real influxd 1.x of this test run, with a small proxy before it
// that speaks the v2 write path and can be told to misbehave.
type engine struct {
	dir, addr string
	cmd       *exec.Cmd
	proxy     *httptest.Server
	mode      atomic.Int32
	writes    atomic.Int64 // requests that reached the engine
}

// What the proxy can do to a write.
const (
	passOn        = iota
	refuseAll     // 503, as an engine that starts up
	loseTheAnswer // written, but the answer never comes
	beSlow
)

// newEngine starts an engine on a free port.
func newEngine(t testing.TB) *engine {
	t.Helper()
	_, err := exec.LookPath("influxd")
	require.NoError(t, err, "influxd (Debian package influxdb) is needed")
	e := &engine{dir: t.TempDir(), addr: freeAddr(t)}
	rpc := freeAddr(t)
	config := fmt.Sprintf("reporting-disabled = true\nbind-address = %q\n[meta]\ndir = %q\n[data]\ndir = %q\nwal-dir = "+
		"%q\nquery-log-enabled = false\n[http]\nbind-address = %q\nlog-enabled = false\n[logging]\nlevel = \"error\"\n",
		rpc, filepath.Join(e.dir, "meta"), filepath.Join(e.dir, "data"), filepath.Join(e.dir, "wal"), e.addr)
	require.NoError(t, os.WriteFile(filepath.Join(e.dir, "influxdb.conf"), []byte(config), 0o600))
	e.start(t)
	t.Cleanup(func() { e.stop() })

	target, err := url.Parse("http://" + e.addr)
	require.NoError(t, err)
	forward := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) {
			r.SetURL(target)
			if r.In.URL.Path == "/api/v2/write" { // the v2 write API, as 1.8 and later have it
				q := r.In.URL.Query()
				r.Out.URL.Path = "/write"
				r.Out.URL.RawQuery = url.Values{"db": q["bucket"], "precision": q["precision"]}.Encode()
			}
		},
		ModifyResponse: func(r *http.Response) error { // and says so
			r.Header.Set("X-Influxdb-Version", "1.8.10")
			return nil
		},
		ErrorHandler: func(w http.ResponseWriter, _ *http.Request, err error) {
			http.Error(w, err.Error(), http.StatusBadGateway)
		},
	}
	e.proxy = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/api/v2/write" {
			forward.ServeHTTP(w, r)
			return
		}
		switch e.mode.Load() {
		case refuseAll:
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(http.StatusServiceUnavailable)
			_, _ = io.WriteString(w, `{"code":"unavailable","message":"starting"}`)
			return
		case loseTheAnswer:
			e.writes.Add(1)
			forward.ServeHTTP(httptest.NewRecorder(), r)
			panic(http.ErrAbortHandler)
		case beSlow:
			select {
			case <-time.After(30 * time.Millisecond):
			case <-r.Context().Done():
			}
		}
		e.writes.Add(1)
		forward.ServeHTTP(w, r)
	}))
	t.Cleanup(e.proxy.Close)
	return e
}

func freeAddr(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

func (e *engine) start(t testing.TB) {
	t.Helper()
	e.cmd = exec.Command("influxd", "-config", filepath.Join(e.dir, "influxdb.conf"))
	e.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	log, err := os.Create(filepath.Join(e.dir, "log"))
	require.NoError(t, err)
	e.cmd.Stderr = log
	require.NoError(t, e.cmd.Start())
	patience.Until(t, "influxd answers", func() bool {
		res, err := http.Get("http://" + e.addr + "/ping")
		if err != nil {
			return false
		}
		res.Body.Close()
		return res.StatusCode == http.StatusNoContent
	})
}

// stop kills the engine as a power cut would.
func (e *engine) stop() {
	if e.cmd != nil {
		_ = e.cmd.Process.Kill()
		_ = e.cmd.Wait()
		e.cmd = nil
	}
}

// bucket makes a database of its own, written to through the proxy.
func (e *engine) bucket(t testing.TB, name string) *Client { return e.bucketAt(t, e.proxy.URL, name) }

// bucketAt makes a database of its own behind an address.
func (e *engine) bucketAt(t testing.TB, at, name string) *Client {
	t.Helper()
	name = strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			return r
		}
		return '_'
	}, name)
	res, err := http.PostForm("http://"+e.addr+"/query", url.Values{"q": {`CREATE DATABASE "` + name + `"`}})
	require.NoError(t, err)
	res.Body.Close()
	require.Equal(t, http.StatusOK, res.StatusCode)
	c, err := NewClient(Server{URL: at, Bucket: name})
	require.NoError(t, err)
	t.Cleanup(c.Close)
	return c
}

// ways are the addresses at which the engine is tried: one that speaks the v2
// write API, as InfluxDB from 1.8 on, and Debian's InfluxDB 1.6 itself.
func (e *engine) ways() map[string]string {
	return map[string]string{"v2 write API": e.proxy.URL, "InfluxDB 1.6 itself": "http://" + e.addr}
}

// until waits for something to become true.
// old makes a local store for which every reading is old enough to be sealed
// and released at once.
func old(t testing.TB) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(context.Background(), t.TempDir(),
		sqlite.Options{Now: wayAhead, SealAfter: time.Millisecond, SealQuiet: -1, Outbox: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

func wayAhead() time.Time { return time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC) }

// quick are pauses for tests.
var quick = DrainOptions{MinPause: 5 * time.Millisecond, MaxPause: 50 * time.Millisecond,
	Regular: 20 * time.Millisecond}
