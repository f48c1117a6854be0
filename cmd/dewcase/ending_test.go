package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const house = `case: larch-3
property: {label: 3 Larch Row, timezone: Europe/London}
positions: [{id: loft, place: loft_air}]
loggers: [{id: k1, fitted: [{position: loft, from: 2026-01-01T00:00:00Z}]}]
`

// dewcase is the program itself, in a folder of its own.
func dewcase(t *testing.T, dir string, args ...string) (cmd *exec.Cmd, said *bytes.Buffer) {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	cmd = exec.CommandContext(t.Context(), self, args...)
	cmd.Args[0] = "dewcase" // testscript.Main makes this the command of that name
	cmd.Dir = dir
	said = &bytes.Buffer{}
	cmd.Stderr = said
	return cmd, said
}

func folder(t *testing.T) string {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "house.yaml"), []byte(house), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "readings.csv"),
		[]byte("time,logger,temp_c,rh_pct\n2026-11-20T06:00:00Z,k1,4,95\n"), 0o600))
	require.NoError(t, syscall.Mkfifo(filepath.Join(dir, "pipe"), 0o600))
	return dir
}

// endedBy sends a signal to a program that is reading, and says how it ended and
// after how long. One that had not yet begun to listen is begun again.
func endedBy(t *testing.T, s syscall.Signal, start func() (*exec.Cmd, *bytes.Buffer)) (status int, said string,
	took time.Duration) {
	for wait := 300 * time.Millisecond; ; wait *= 2 {
		cmd, stderr := start()
		require.NoError(t, cmd.Start())
		time.Sleep(wait)
		from := time.Now()
		require.NoError(t, cmd.Process.Signal(s))
		_ = cmd.Wait()
		took = time.Since(from)
		if w := cmd.ProcessState.Sys().(syscall.WaitStatus); !w.Signaled() || wait > 5*time.Second {
			return cmd.ProcessState.ExitCode(), stderr.String(), took
		}
	}
}

func TestASignalEndsACommandThatReads(t *testing.T) {
	for _, c := range []struct{ args, in string }{
		{"assess -case house.yaml -readings pipe", ""},
		{"assess -case pipe -readings readings.csv", ""},
		{"assess -case house.yaml -readings -", "open"},
		{"assess -case house.yaml -readings /dev/zero", ""},
		{"report -case house.yaml -readings - -to report.html", "open"},
		{"report -case house.yaml -readings pipe -to report.html", ""},
		{"import -case house.yaml -readings - -data data", "open"},
		{"import -case house.yaml -readings /dev/zero -data data", ""},
		{"import -strict -case house.yaml -readings - -data data", "open"},
		{"password", "open"},
	} {
		for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM} {
			t.Run(c.args+" "+s.String(), func(t *testing.T) {
				t.Parallel()
				dir := folder(t)
				status, said, took := endedBy(t, s, func() (*exec.Cmd, *bytes.Buffer) {
					cmd, said := dewcase(t, dir, strings.Fields(c.args)...)
					if c.in != "" {
						in, w, err := os.Pipe() // open, and nothing comes
						require.NoError(t, err)
						t.Cleanup(func() { in.Close(); w.Close() })
						cmd.Stdin = in
					}
					return cmd, said
				})
				assert.Equal(t, 128+int(s), status)
				assert.Equal(t, "dewcase: ended by a signal ("+s.String()+") before it was done\n", said)
				assert.Less(t, took, time.Second)
				assert.NoFileExists(t, filepath.Join(dir, "report.html"))
			})
		}
	}
}

func TestACaseFileWithoutAnEndIsRefused(t *testing.T) {
	dir := folder(t)
	for _, args := range []string{"assess -case /dev/zero -readings readings.csv",
		"report -case /dev/zero -readings readings.csv -to report.html",
		"import -case /dev/zero -readings readings.csv -data data"} {
		cmd, said := dewcase(t, dir, strings.Fields(args)...)
		require.Error(t, cmd.Run(), args)
		assert.Equal(t, 1, cmd.ProcessState.ExitCode())
		assert.Contains(t, said.String(), "/dev/zero:1: file: is over 1 MiB")
	}
}

func TestAnAnswerThatNobodyCanReadIsNoSuccess(t *testing.T) {
	for _, c := range []struct{ args, to, says string }{
		{"assess -case house.yaml -readings readings.csv", "", "standard output is closed"},
		{"report -case house.yaml -readings readings.csv -to report.html", "", "standard output is closed"},
		{"import -case house.yaml -readings readings.csv -data data", "", "standard output is closed"},
		{"password", "", "standard output is closed"},
		{"version", "", "standard output is closed"},
		{"about", "", "standard output is closed"},
		{"assess -case house.yaml -readings readings.csv", "/dev/full", "no space left"},
		{"report -case house.yaml -readings readings.csv -to report.html", "/dev/full", "no space left"},
		{"import -case house.yaml -readings readings.csv -data data", "/dev/full", "no space left"},
		{"password", "/dev/full", "no space left"},
		{"version", "/dev/full", "no space left"},
	} {
		t.Run(c.args+" "+c.to, func(t *testing.T) {
			dir := folder(t)
			line := `exec "$0" "$@" >&-` // closed, which only a shell does
			if c.to != "" {
				line = `exec "$0" "$@" > ` + c.to
			}
			require.NoError(t, os.Symlink(os.Args[0], filepath.Join(dir, "dewcase")))
			cmd := exec.CommandContext(t.Context(), "sh", append([]string{"-c", line, filepath.Join(dir, "dewcase")},
				strings.Fields(c.args)...)...)
			cmd.Dir, cmd.Stdin = dir, strings.NewReader("wet battens\n")
			var said bytes.Buffer
			cmd.Stderr = &said
			require.Error(t, cmd.Run())
			assert.Equal(t, 1, cmd.ProcessState.ExitCode())
			assert.Contains(t, said.String(), c.says)
		})
	}
	cmd, said := dewcase(t, folder(t), "assess", "-case", "house.yaml", "-readings", "readings.csv")
	require.NoError(t, cmd.Run(), "thrown away on purpose (> /dev/null) it is a success: %s", said)
}
