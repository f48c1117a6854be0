// Package browsertest runs the tests of dashboards/test, which drive a real
// browser with Node's test runner, against pages that a Go test serves.
package browsertest

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Run runs test files, named from dashboards/test; settings are NAME=VALUE, as the
// file's head names them. It needs node, chromium, the npm packages and the
// bundle, all of which make test puts in place.
func Run(t *testing.T, files []string, settings ...string) {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser; run without -short")
	}
	dir := Path(t, "dashboards/test")
	for what, path := range map[string]string{"the npm packages": filepath.Join(dir, "node_modules", "playwright-core"),
		"chromium": "/usr/bin/chromium", "the bundle (make pages)": filepath.Join(dir, "../dist/main.js")} {
		if _, err := os.Stat(path); err != nil {
			t.Skipf("not installed: %s (%v): make test installs it", what, err)
		}
	}
	cmd := exec.CommandContext(t.Context(), "node", append([]string{"--test", "--test-concurrency=1"}, files...)...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), settings...)
	cmd.WaitDelay = 10 * time.Second
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
}

// Path is a path of the repository, which a test may run anywhere below.
func Path(t testing.TB, path string) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for ; ; dir = filepath.Dir(dir) {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return filepath.Join(dir, path)
		}
		require.NotEqual(t, dir, filepath.Dir(dir), "no go.mod above the test")
	}
}
