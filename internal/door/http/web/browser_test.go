package web_test

import (
	"context"
	"io/fs"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/dashboards"
)

// TestPagesInABrowser runs dashboards/test/browser against the invented house:
// axe, keyboard, zoom, phone width, policy. It needs node, chromium, the npm
// packages and the bundle, all of which make test puts in place.
func TestPagesInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser; run without -short")
	}
	dir, err := filepath.Abs("../../../../dashboards/test")
	require.NoError(t, err)
	for _, need := range []struct{ what, path string }{{"the npm packages",
		filepath.Join(dir, "node_modules", "playwright-core")}, {"chromium", "/usr/bin/chromium"}} {
		if _, err := os.Stat(need.path); err != nil {
			t.Skipf("%s are not installed (%v): make test installs them", need.what, err)
		}
	}
	if _, err := fs.Stat(dashboards.Bundle(), "main.js"); err != nil {
		t.Skip("the script was not bundled: make pages does it")
	}
	h, f, err := newPages(false)
	require.NoError(t, err)
	f.AheadSoon("larch-end-4") // worked out once, before a browser waits for it
	srv := httptest.NewServer(withAPI(h, f))
	defer srv.Close()
	defer srv.CloseClientConnections() // live streams never end by themselves
	ctx, cancel := context.WithTimeout(t.Context(), 8*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, "node", "--test", "--test-concurrency=1", "browser/pages.test.js",
		"browser/chart.test.js")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "DEWCASE_PAGES="+srv.URL)
	cmd.WaitDelay = 10 * time.Second
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
}
