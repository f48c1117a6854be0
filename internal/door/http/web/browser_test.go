package web_test

import (
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/browsertest"
)

// TestPagesInABrowser runs dashboards/test/browser against the invented house:
// axe, keyboard, zoom, phone width, policy.
func TestPagesInABrowser(t *testing.T) {
	h, f, err := newPages(false)
	require.NoError(t, err)
	f.AheadSoon("larch-end-4") // worked out once, before a browser waits for it
	srv := httptest.NewServer(withAPI(h, f))
	defer srv.Close()
	defer srv.CloseClientConnections() // live streams never end by themselves
	browsertest.Run(t, []string{"browser/pages.test.js", "browser/chart.test.js"}, "DEWCASE_PAGES="+srv.URL)
}
