package app_test

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestFilesByPageInABrowser runs dashboards/test/browser/files.test.js against a
// daemon: each shape of export, by page, gives the readings of its canonical
// form, with script and without.
func TestFilesByPageInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser; run without -short")
	}
	dir, err := filepath.Abs("../../../dashboards/test")
	require.NoError(t, err)
	for _, need := range []string{filepath.Join(dir, "node_modules", "playwright-core"), "/usr/bin/chromium"} {
		if _, err := os.Stat(need); err != nil {
			t.Skipf("%s is not installed (%v): make test installs it", need, err)
		}
	}
	shapes, err := filepath.Abs("../../../testdata/exports")
	require.NoError(t, err)
	base := start(t, nil).http
	ctx, cancel := context.WithTimeout(t.Context(), 8*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, "node", "--test", "--test-concurrency=1", "browser/files.test.js")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "DEWCASE_PAGES="+base, "DEWCASE_EXPORTS="+shapes)
	cmd.WaitDelay = 10 * time.Second
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
}
