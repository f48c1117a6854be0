// Package clicktest has people's errands done in a real browser against a running
// daemon.
package clicktest

import (
	"testing"

	"dewcase/internal/testkit/browsertest"
	"dewcase/internal/testkit/running"
)

// TestFilesByPageInABrowser runs dashboards/test/browser/files.test.js against a
// daemon: each shape of export, by page, gives the readings of its canonical
// form, with script and without.
func TestFilesByPageInABrowser(t *testing.T) {
	browsertest.Run(t, []string{"browser/files.test.js"}, "DEWCASE_PAGES="+running.Start(t, nil).HTTP,
		"DEWCASE_EXPORTS="+browsertest.Path(t, "testdata/exports"))
}
