package web_test

import (
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// differing are the lines that a version's page shows, with their marks.
func differing(page string) (out []string) {
	for _, m := range regexp.MustCompile(`<(?:ins|del|b)>([^<]*)</`).FindAllStringSubmatch(
		page[strings.Index(page, `id="made"`):], -1) {
		out = append(out, html.UnescapeString(m[1]))
	}
	return out
}

func TestWhoeverDisputesACaseFileSeesWhoChangedItWhenAndWhat(t *testing.T) {
	h, _ := ownHouse(t)
	const path = "/cases/larch-end-4/file"
	changed := strings.Replace(houseFile, "treats: [slate], changes: [void_ventilation]", "treats: [slate, felt]", 1)
	changed = strings.Replace(changed, "  span_m: 8.5\n", "  # <script>alert(1)</script>\n", 1)
	for _, file := range []string{changed, houseFile} {
		code, body, _ := post(t, h, path, url.Values{"file": {file}})
		require.Equal(t, http.StatusSeeOther, code, body)
	}

	_, body, _ := get(t, h, path)
	assert.Regexp(t, `(?s)history/3">Version 3</a>, in force.*history/2">Version 2</a></th>.*<time datetime="2027-03-01T07:12:00Z">Mon 1 Mar 2027 07:12</time></td><td>web page</td>.*history/1">Version 1</a></th>.*Fri 2 Oct 2026 08:12</time></td><td>consultant</td>`, body,
		"newest first, in the house's time (summer time in October)")
	assert.Contains(t, body, "the verdict on each repair")

	code, body, _ := get(t, h, path+"/history/2")
	require.Equal(t, http.StatusOK, code)
	assert.NotContains(t, body, "<script>alert")
	event := `  - {at: 2026-12-20T12:00:00Z, kind: repair, what: "counter-battens and eaves vents fitted, ridge opened", `
	made := []string{"line 5", "-   span_m: 8.5", "+   # <script>alert(1)</script>", "line 28",
		"- " + event + "treats: [slate], changes: [void_ventilation]}", "+ " + event + "treats: [slate, felt]}"}
	undone := []string{"line 5", "-   # <script>alert(1)</script>", "+   span_m: 8.5", "line 28",
		"- " + event + "treats: [slate, felt]}", "+ " + event + "treats: [slate], changes: [void_ventilation]}"}
	assert.Equal(t, append(made, undone...), differing(body), "what it changed, and what was changed since")

	_, body, _ = get(t, h, path+"/history/1")
	assert.Empty(t, differing(body))
	assert.Contains(t, body, "version 3, which is in force, says the same")
	_, body, _ = get(t, h, path+"/history/3")
	assert.Equal(t, undone, differing(body))
	assert.NotContains(t, body, "What was changed since")
	for _, version := range []string{"0", "4", "-1", "x", "99999999999999999999"} {
		code, _, _ = get(t, h, path+"/history/"+version)
		assert.Equal(t, http.StatusNotFound, code, version)
	}
}

func TestALongHistoryIsShownPageByPage(t *testing.T) {
	h, _ := ownHouse(t)
	for i := range 24 {
		code, _, _ := post(t, h, "/cases/orchard-row-2/file",
			url.Values{"file": {quietFile + fmt.Sprintf("# change %d\n", i)}})
		require.Equal(t, http.StatusSeeOther, code)
	}
	var seen []string
	path := "/cases/orchard-row-2/file"
	for range 3 {
		_, body, _ := get(t, h, path)
		for _, m := range regexp.MustCompile(`">(Version \d+)</a>`).FindAllStringSubmatch(body, -1) {
			seen = append(seen, m[1])
		}
		next := regexp.MustCompile(`href="([^"#]*)#versions">Older`).FindStringSubmatch(body)
		if next == nil {
			path = ""
			break
		}
		path = next[1]
	}
	assert.Empty(t, path, "the last page leads no further")
	var want []string
	for n := 25; n > 0; n-- {
		want = append(want, fmt.Sprint("Version ", n))
	}
	assert.Equal(t, want, seen)
}

func TestAComparisonOfHugeFilesIsCutAndSaysSo(t *testing.T) {
	h, _ := ownHouse(t)
	code, _, _ := post(t, h, "/cases/orchard-row-2/file", url.Values{"file": {quietFile + strings.Repeat("# \n", 5_000)}})
	require.Equal(t, http.StatusSeeOther, code)
	_, body, _ := get(t, h, "/cases/orchard-row-2/file/history/2")
	assert.Contains(t, body, "There is more: this page shows the first 2000 lines of it.")
	assert.Equal(t, 2000-1-3, strings.Count(body, "<ins>"), "one line for the place, three that stayed")
}
