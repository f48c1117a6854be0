package app_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"html"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/running"
)

// The digests on the first page are of bytes that anyone can ask for again.
func TestTheReportsDigestsAreOfWhatTheDaemonGives(t *testing.T) {
	d := running.Start(t, nil)
	resp, _ := d.Ask("PUT", "/api/cases/larch-3/file", house)
	require.Equal(t, 201, resp.StatusCode)
	rows := []string{"time,logger,temp_c,rh_pct"}
	for i := range 3 * 288 {
		at := time.Date(2026, 11, 1, 0, i*5, 0, 0, time.UTC).Format(time.RFC3339)
		rows = append(rows, fmt.Sprintf("%s,k1,%.2f,95", at, 5+float64(i%7)/10),
			fmt.Sprintf("%s,k2,%.2f,", at, 4+float64(i%5)/10))
	}
	rows = append(rows, "2026-11-02T00:00:00Z,k1,5.5,120", "2026-11-01T00:00:00Z,k1,9.9,95")
	resp, _ = d.Ask("POST", "/api/cases/larch-3/readings", strings.Join(rows, "\n"))
	require.Equal(t, 200, resp.StatusCode)
	// Rejects are written behind ingest's back, a moment later.
	patience.Until(t, "rejects are written", func() bool {
		_, rejects := d.Ask("GET", "/api/cases/larch-3/rejects", "")
		return strings.Contains(rejects, "rh_out_of_range")
	})

	resp, body := d.Ask("GET", "/cases/larch-3/report", "")
	require.Equal(t, 200, resp.StatusCode)
	body = html.UnescapeString(strings.ReplaceAll(body, "<wbr>", ""))
	given := func(path string) string {
		_, data := d.Ask("GET", path, "")
		sum := sha256.Sum256([]byte(data))
		return hex.EncodeToString(sum[:])
	}
	first, annex, cut := strings.Cut(body, "The same bytes of")
	require.True(t, cut)
	assert.NotContains(t, first, "GET /", "the first page is for people")
	request := func(path string) string {
		m := regexp.MustCompile(`GET (` + path + `)`).FindStringSubmatch(annex)
		require.NotNil(t, m, "the report's annex does not name the request of %s", path)
		return m[1]
	}
	readings, file := request(`/api/cases/larch-3/readings\.csv[^<\s]*`), request(`/api/cases/larch-3/file/history/[0-9a-f]{64}`)
	m := regexp.MustCompile(`<code>([0-9a-f]{64})</code> of all readings`).FindStringSubmatch(first)
	require.NotNil(t, m, "the report has no digest of the readings")
	assert.Equal(t, m[1], given(readings))
	m = regexp.MustCompile(`<code>([0-9a-f]{64})</code> of the version kept on \d+ [A-Z][a-z]+ \d{4} \d\d:\d\d [A-Z]+`).
		FindStringSubmatch(first)
	require.NotNil(t, m, "the report has no digest of the case file")
	assert.Equal(t, m[1], given("/api/cases/larch-3/file"))
	_, problem := d.Ask("PUT", "/api/cases/larch-3/file", house+"# looked at again\n")
	require.Empty(t, problem)
	assert.NotEqual(t, m[1], given("/api/cases/larch-3/file"))
	assert.Equal(t, m[1], given(file), "the version that the report rests on can still be had")
	assert.True(t, strings.Contains(body, "Rejected: 1."), "the report counts the rejected row")
	assert.Contains(t, body, "the other kept aside): 1.")

	resp, pdf := d.Ask("GET", "/cases/larch-3/report.pdf?paper=letter", "")
	assert.Equal(t, 200, resp.StatusCode)
	assert.Equal(t, "application/pdf", resp.Header.Get("Content-Type"))
	assert.True(t, strings.HasPrefix(pdf, "%PDF-") && strings.Contains(pdf, "612.00 792.00"))
	for _, path := range []string{"/cases/nobody-1/report", "/cases/nobody-1/report.pdf"} {
		resp, _ = d.Ask("GET", path, "")
		assert.Equal(t, 404, resp.StatusCode, path)
	}
}

// While readings stream, the report that was made stands: one state, which can be
// asked for again. What bears on it makes a new one.
func TestAReportStandsWhileReadingsStream(t *testing.T) {
	var now atomic.Int64
	start := time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
	now.Store(start.AddDate(0, 0, 4).UnixMilli())
	d := running.StartAt(t, func() time.Time { return time.UnixMilli(now.Load()) }, nil)
	resp, _ := d.Ask("PUT", "/api/cases/larch-3/file", house)
	require.Equal(t, 201, resp.StatusCode)
	send := func(from, n int) {
		rows := []string{"time,logger,temp_c,rh_pct"}
		for i := range n {
			at := start.Add(time.Duration(from+i) * 5 * time.Minute).Format(time.RFC3339)
			rows = append(rows, fmt.Sprintf("%s,k1,%.2f,95", at, 5+float64(i%7)/10),
				fmt.Sprintf("%s,k2,%.2f,", at, 4+float64(i%5)/10))
		}
		resp, body := d.Ask("POST", "/api/cases/larch-3/readings", strings.Join(rows, "\n"))
		require.Equal(t, 200, resp.StatusCode, body)
	}
	facts := regexp.MustCompile(`(?s)<dl.*?</dl>`)
	report := func() string {
		_, body := d.Ask("GET", "/cases/larch-3/report", "")
		body = html.UnescapeString(strings.ReplaceAll(body, "<wbr>", ""))
		digest := regexp.MustCompile(`<code>([0-9a-f]{64})</code> of all readings`).FindStringSubmatch(body)
		get := regexp.MustCompile(`GET (/api/cases/larch-3/readings\.csv[^<\s]*)`).FindStringSubmatch(body)
		require.NotNil(t, digest)
		require.NotNil(t, get)
		_, data := d.Ask("GET", get[1], "")
		assert.Equal(t, digest[1], fmt.Sprintf("%x", sha256.Sum256([]byte(data))), "what it rests on can be had")
		return facts.FindString(body)
	}
	send(0, 3*288)
	first := report()
	require.Contains(t, first, "from what had come in by then")
	send(3*288, 2)
	now.Add(time.Minute.Milliseconds())
	assert.Equal(t, first, report(), "a minute later it stands")
	now.Add(time.Hour.Milliseconds())
	assert.Equal(t, first, report(), "an hour later it is given at once")
	var second string
	patience.Until(t, "a newer one is made meanwhile", func() bool { second = report(); return second != first })
	assert.Equal(t, second, report())

	// Put in between: a reading of before its end.
	rows := "time,logger,temp_c,rh_pct\n" + start.Add(7*time.Minute).Format(time.RFC3339) + ",k1,5.5,95"
	resp, _ = d.Ask("POST", "/api/cases/larch-3/readings", rows)
	require.Equal(t, 200, resp.StatusCode)
	third := report()
	assert.NotEqual(t, second, third, "one of before its end makes it anew")
	send(3*288+2, 288)
	fourth := report()
	assert.NotEqual(t, third, fourth, "an import does")
	resp, _ = d.Ask("PUT", "/api/cases/larch-3/file", house+"# looked at again\n")
	require.Less(t, resp.StatusCode, 300)
	assert.NotEqual(t, fourth, report(), "another case file does")
}
