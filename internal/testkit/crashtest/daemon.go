// Package crashtest runs the real daemon as its own process and mistreats it.
// It kills the daemon at random moments, floods it and restarts its broker,
// while a publisher records what was acknowledged.
package crashtest

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"dewcase/internal/testkit/patience"

	"github.com/stretchr/testify/require"
)

var build struct {
	sync.Once
	path string
	err  error
}

// Binary builds the daemon, once for all tests of the process.
func Binary(t testing.TB) string {
	t.Helper()
	build.Do(func() {
		dir, err := os.MkdirTemp("", "dewcase-crashtest-")
		if err != nil {
			build.err = err
			return
		}
		build.path = filepath.Join(dir, "dewcase")
		cmd := exec.Command("go", "build", "-o", build.path, "dewcase/cmd/dewcase")
		cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
		if out, err := cmd.CombinedOutput(); err != nil {
			build.err = fmt.Errorf("%w\n%s", err, out)
		}
	})
	require.NoError(t, build.err, "building the daemon")
	return build.path
}

// Main runs a room's tests and deletes what Binary built.
func Main(m *testing.M) {
	code := m.Run()
	if build.path != "" {
		_ = os.RemoveAll(filepath.Dir(build.path))
	}
	os.Exit(code)
}

// Daemon is one dewcase process.
type Daemon struct {
	t    testing.TB
	cmd  *exec.Cmd
	log  string
	done chan struct{}
	HTTP string // http://HOST:PORT
	MQTT string // HOST:PORT of the embedded broker; empty with an outside one
	Data string // its folder

	Token  string // the administrator's, where the daemon wants one
	Client http.Client
}

// Serve starts `dewcase serve` on a data folder and waits until it has printed
// its addresses. Pages get a free port unless args say otherwise.
func Serve(t testing.TB, data string, args ...string) *Daemon {
	t.Helper()
	d := &Daemon{t: t, Data: data, log: filepath.Join(t.TempDir(), "log"), done: make(chan struct{})}
	all := []string{"serve", "-data", data}
	if !contains(args, "-http") {
		all = append(all, "-http", "127.0.0.1:0")
	}
	want := 2
	if contains(args, "-broker") {
		want = 1
	} else if !contains(args, "-mqtt-listen") {
		all = append(all, "-mqtt-listen", "127.0.0.1:0")
	}
	d.cmd = exec.Command(Binary(t), append(all, args...)...)
	stdout, err := d.cmd.StdoutPipe()
	require.NoError(t, err)
	logs, err := os.Create(d.log)
	require.NoError(t, err)
	defer logs.Close()
	d.cmd.Stderr = logs
	require.NoError(t, d.cmd.Start())
	t.Cleanup(d.Kill)
	lines := make(chan string, 16)
	go func() {
		for s := bufio.NewScanner(stdout); s.Scan(); {
			lines <- s.Text()
		}
		close(lines)
		_ = d.cmd.Wait()
		close(d.done)
	}()
	late := time.After(patience.Long)
	for got := 0; got < want; {
		select {
		case line, ok := <-lines:
			require.True(t, ok, "the daemon ended before it was ready:\n%s", d.Log())
			switch {
			case strings.HasPrefix(line, "http://"), strings.HasPrefix(line, "https://"):
				d.HTTP = line
				got++
			case strings.HasPrefix(line, "mqtt://"):
				d.MQTT = strings.TrimPrefix(line, "mqtt://")
				got++
			}
		case <-late:
			require.FailNow(t, "the daemon did not become ready", d.Log())
		}
	}
	go func() {
		for range lines { // nothing may block the daemon's output
		}
	}()
	return d
}

func contains(args []string, flag string) bool {
	for _, a := range args {
		if a == flag || strings.HasPrefix(a, flag+"=") {
			return true
		}
	}
	return false
}

// Signal sends it a signal that does not end it.
func (d *Daemon) Signal(sig syscall.Signal) {
	d.t.Helper()
	require.NoError(d.t, d.cmd.Process.Signal(sig))
}

// Kill ends it with SIGKILL, as a power cut would end the process.
func (d *Daemon) Kill() { d.end(syscall.SIGKILL) }

// Stop ends it with SIGTERM and returns its exit status.
func (d *Daemon) Stop() int {
	d.end(syscall.SIGTERM)
	return d.cmd.ProcessState.ExitCode()
}

func (d *Daemon) end(sig syscall.Signal) {
	select {
	case <-d.done:
		return
	default:
	}
	_ = d.cmd.Process.Signal(sig)
	select {
	case <-d.done:
	case <-time.After(patience.Long):
		_ = d.cmd.Process.Kill()
		<-d.done
		d.t.Errorf("the daemon did not end after %v:\n%s", sig, d.Log())
	}
}

// Log is what it wrote to standard error.
func (d *Daemon) Log() string {
	b, _ := os.ReadFile(d.log)
	return string(b)
}

// PeakRSS is the largest resident memory it has had, in bytes.
func (d *Daemon) PeakRSS() int64 {
	d.t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", d.cmd.Process.Pid))
	require.NoError(d.t, err)
	for line := range strings.Lines(string(b)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kb, err := strconv.ParseInt(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(rest), "kB")), 10, 64)
			require.NoError(d.t, err)
			return kb << 10
		}
	}
	require.FailNow(d.t, "no VmHWM")
	return 0
}

// Do sends a request and wants one of the statuses; the body is returned.
func (d *Daemon) Do(method, path string, body io.Reader, statuses ...int) []byte {
	d.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience.Long)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, method, d.HTTP+path, body)
	require.NoError(d.t, err)
	if d.Token != "" {
		req.Header.Set("Authorization", "Bearer "+d.Token)
	}
	resp, err := d.Client.Do(req)
	require.NoError(d.t, err, d.Log())
	defer resp.Body.Close()
	out, err := io.ReadAll(resp.Body)
	require.NoError(d.t, err)
	require.Contains(d.t, statuses, resp.StatusCode, "%s %s: %s", method, path, out)
	return out
}

// Status is the answer's status alone.
func (d *Daemon) Status(path string) int {
	d.t.Helper()
	resp, err := d.Client.Get(d.HTTP + path)
	require.NoError(d.t, err)
	_ = resp.Body.Close()
	return resp.StatusCode
}

// Metric reads one sample of /metrics, by its name with labels.
func (d *Daemon) Metric(name string) float64 {
	d.t.Helper()
	for line := range bytes.Lines(d.Do(http.MethodGet, "/metrics", nil, 200)) {
		if rest, ok := strings.CutPrefix(string(line), name+" "); ok {
			v, err := strconv.ParseFloat(strings.TrimSpace(rest), 64)
			require.NoError(d.t, err)
			return v
		}
	}
	return 0
}

// Run runs another of the daemon's commands and returns its output and status.
func Run(t testing.TB, args ...string) (out string, status int) {
	t.Helper()
	return RunAs(t, uint32(os.Geteuid()), args...)
}

// RunAs is Run by another user; the test is root's then.
func RunAs(t testing.TB, uid uint32, args ...string) (out string, status int) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience.Long)
	defer cancel()
	cmd := exec.CommandContext(ctx, Binary(t), args...)
	if uid != uint32(os.Geteuid()) {
		require.NoError(t, os.Chmod(filepath.Dir(build.path), 0o755))
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uid, Gid: uid}}
	}
	b, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	if err != nil && !asExit(err, &exit) {
		require.NoError(t, err)
	}
	if exit != nil {
		return string(b), exit.ExitCode()
	}
	return string(b), 0
}

func asExit(err error, to **exec.ExitError) bool {
	e, ok := err.(*exec.ExitError)
	*to = e
	return ok
}
