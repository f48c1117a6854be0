// Package mosquittotest starts a real Mosquitto broker for tests, on a free
// port and with its own folder, and stops, kills, pauses and restarts it on
// request. On a machine without Mosquitto the test fails rather than appearing
// to pass.
package mosquittotest

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"dewcase/internal/testkit/patience"

	"github.com/stretchr/testify/require"
)

// Broker is a Mosquitto of the test's own.
type Broker struct {
	t    testing.TB
	Dir  string // its folder, for persistence, password and access files
	Port int
	conf string
	cmd  *exec.Cmd
	done chan struct{}
}

// Quick are lines for most tests: anonymous clients and a queue that holds
// whatever a test sends.
const Quick = `allow_anonymous true
max_inflight_messages 500
max_queued_messages 0
persistence true
autosave_interval 1
autosave_on_changes false
`

// Start runs a broker with the lines given; "{port}" and "{dir}" in them stand
// for its own. Without a listener line it listens on loopback.
func Start(t testing.TB, lines string) *Broker {
	t.Helper()
	b := New(t, lines)
	b.Restart()
	return b
}

// New prepares a broker without starting it.
func New(t testing.TB, lines string) *Broker {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	b := &Broker{t: t, Dir: t.TempDir(), Port: l.Addr().(*net.TCPAddr).Port}
	require.NoError(t, l.Close())
	if !strings.Contains(lines, "listener ") {
		lines = "listener {port} 127.0.0.1\n" + lines
	}
	lines = strings.NewReplacer("{port}", fmt.Sprint(b.Port), "{dir}", b.Dir).Replace(lines)
	if strings.Contains(lines, "persistence true") && !strings.Contains(lines, "persistence_location") {
		lines += "persistence_location " + b.Dir + "/\n"
	}
	if os.Geteuid() == 0 && !strings.Contains("\n"+lines, "\nuser ") {
		lines += "user root\n" // else it drops to a user that may not write its own test folder
	}
	b.conf = filepath.Join(b.Dir, "mosquitto.conf")
	require.NoError(t, os.WriteFile(b.conf, []byte(lines), 0o600))
	t.Cleanup(b.Kill)
	return b
}

// Addr is where plain clients connect, HOST:PORT.
func (b *Broker) Addr() string { return fmt.Sprintf("127.0.0.1:%d", b.Port) }

// Restart starts it, again if it ran before, and waits until it answers.
func (b *Broker) Restart() {
	b.t.Helper()
	b.Stop()
	path, err := exec.LookPath("mosquitto")
	if err != nil {
		path = "/usr/sbin/mosquitto" // Debian keeps it out of users' path
	}
	logs, err := os.OpenFile(filepath.Join(b.Dir, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(b.t, err)
	defer logs.Close()
	b.cmd = exec.Command(path, "-c", b.conf)
	b.cmd.Stdout, b.cmd.Stderr = logs, logs
	require.NoError(b.t, b.cmd.Start(), "Mosquitto is needed for this test: apt-get install mosquitto")
	done := make(chan struct{})
	b.done = done
	go func(cmd *exec.Cmd) { _ = cmd.Wait(); close(done) }(b.cmd)
	for end := time.Now().Add(patience.Long); ; time.Sleep(10 * time.Millisecond) {
		conn, err := net.DialTimeout("tcp", b.Addr(), time.Second)
		if err == nil {
			_ = conn.Close()
			return
		}
		select {
		case <-done:
			require.FailNow(b.t, "Mosquitto did not start", b.Log())
		default:
		}
		if time.Now().After(end) {
			require.FailNow(b.t, "Mosquitto does not answer", b.Log())
		}
	}
}

// Stop ends it in good order, so that it saves its queues.
func (b *Broker) Stop() { b.end(syscall.SIGTERM) }

// Kill ends it at once.
func (b *Broker) Kill() { b.end(syscall.SIGKILL) }

func (b *Broker) end(sig syscall.Signal) {
	if b.cmd == nil {
		return
	}
	_ = b.cmd.Process.Signal(syscall.SIGCONT) // in case it is paused
	_ = b.cmd.Process.Signal(sig)
	<-b.done
	b.cmd = nil
}

// Signal sends SIGSTOP, SIGCONT, SIGHUP and the like.
func (b *Broker) Signal(sig syscall.Signal) {
	b.t.Helper()
	require.NoError(b.t, b.cmd.Process.Signal(sig))
}

// Log is what it said so far.
func (b *Broker) Log() string {
	out, _ := os.ReadFile(filepath.Join(b.Dir, "log"))
	return string(out)
}

// Write puts a file into its folder and returns the path.
func (b *Broker) Write(name, content string) string {
	b.t.Helper()
	path := filepath.Join(b.Dir, name)
	require.NoError(b.t, os.WriteFile(path, []byte(content), 0o600))
	return path
}

// Passwords makes a password file with mosquitto_passwd.
func (b *Broker) Passwords(users map[string]string) string {
	b.t.Helper()
	path := b.Write("passwords", "")
	for user, password := range users {
		out, err := exec.Command("mosquitto_passwd", "-b", path, user, password).CombinedOutput()
		require.NoError(b.t, err, string(out))
	}
	return path
}
