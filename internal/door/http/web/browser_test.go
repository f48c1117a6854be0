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
	for _, file := range []string{"pages", "chart"} {
		t.Run(file, func(t *testing.T) {
			t.Parallel()
			h, f, err := newPages(false)
			require.NoError(t, err)
			if file == "pages" {
				f.AheadSoon("larch-end-4") // worked out once, before a browser waits for it
			}
			srv := httptest.NewServer(withAPI(h, f))
			defer srv.Close()
			defer srv.CloseClientConnections() // live streams never end by themselves
			browsertest.Run(t, []string{"browser/" + file + ".test.js"}, "DEWCASE_PAGES="+srv.URL)
		})
	}
}
