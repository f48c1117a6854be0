package main

//lint:file-ignore SA1019 the older form of a dashboard is the one that every Grafana in use imports

import (
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/grafana/grafana-foundation-sdk/go/cog/plugins"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

var update = flag.Bool("update", false, "write the dashboards")

const folder = "../../../../dashboards/grafana"

func TestMain(m *testing.M) {
	flag.Parse()
	crashtest.Main(m)
}

// The files are what the program writes, and the typed library reads them.
func TestTheDashboardsAreWhatIsWrittenHere(t *testing.T) {
	plugins.RegisterDefaultPlugins()
	files, err := Files()
	require.NoError(t, err)
	require.Len(t, files, 2)
	for name, text := range files {
		if *update {
			require.NoError(t, os.WriteFile(filepath.Join(folder, name), text, 0o644))
		}
		kept, err := os.ReadFile(filepath.Join(folder, name))
		require.NoError(t, err)
		assert.Equal(t, string(text), string(kept), "%s is old: make dashboards-grafana", name)
		var d dashboard.Dashboard
		require.NoError(t, json.Unmarshal(text, &d))
		require.NoError(t, d.Validate())
		require.NotEmpty(t, d.Panels)
	}
	seen := map[string]bool{}
	for _, p := range append(roofPanels(), daemonPanels()...) {
		assert.False(t, seen[p.title], p.title)
		seen[p.title] = true
		assert.Greater(t, len(p.serves), 40, "%s says which decision it serves", p.title)
	}
}

func freeAddr(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// run starts a server of the test's own and waits until it answers.
func run(t *testing.T, ready string, name string, args ...string) {
	t.Helper()
	_, err := exec.LookPath(name)
	require.NoError(t, err, "%s is needed: .ci/deps installs it", name)
	cmd := exec.Command(name, args...)
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	patience.Until(t, name+" answers", func() bool {
		res, err := http.Get(ready)
		if err != nil {
			return false
		}
		_ = res.Body.Close()
		return res.StatusCode < 300
	})
}

// influxDB starts a real one with a database, behind a proxy that speaks the v2
// write path, as 1.8 and later do by themselves.
func influxDB(t *testing.T) (addr, proxied string) {
	t.Helper()
	dir := t.TempDir()
	addr = freeAddr(t)
	conf := filepath.Join(dir, "influxdb.conf")
	require.NoError(t, os.WriteFile(conf, fmt.Appendf(nil, "reporting-disabled = true\nbind-address = %q\n[meta]\ndir "+
		"= %q\n[data]\ndir = %q\nwal-dir = %q\nquery-log-enabled = false\n[http]\nbind-address = %q\nlog-enabled = false\n",
		freeAddr(t), filepath.Join(dir, "meta"), filepath.Join(dir, "data"), filepath.Join(dir, "wal"), addr), 0o600))
	run(t, "http://"+addr+"/ping", "influxd", "-config", conf)
	res, err := http.PostForm("http://"+addr+"/query", url.Values{"q": {"CREATE DATABASE roofs"}})
	require.NoError(t, err)
	_ = res.Body.Close()
	target, err := url.Parse("http://" + addr)
	require.NoError(t, err)
	proxy := httptest.NewServer(&httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) {
		r.SetURL(target)
		if r.In.URL.Path == "/api/v2/write" {
			q := r.In.URL.Query()
			r.Out.URL.Path, r.Out.URL.RawQuery = "/write", url.Values{"db": q["bucket"], "precision": q["precision"]}.Encode()
		}
	}})
	t.Cleanup(proxy.Close)
	return addr, proxy.URL
}

const house = `case: larch-3
property: {label: 3 Larch Row, timezone: Europe/London, altitude_m: 60}
positions:
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
loggers:
  - {id: k1, interval_s: 300, accuracy: {temp_c: 0.3, rh_pct: 2}, fitted: [{position: void, from: 2026-01-01T00:00:00Z}]}
  - {id: k2, interval_s: 300, accuracy: {temp_c: 0.3}, fitted: [{position: slate, from: 2026-01-01T00:00:00Z}]}
`

// serve runs the real daemon with a few days of readings.
func serve(t *testing.T, conf string, args ...string) *crashtest.Daemon {
	t.Helper()
	file := filepath.Join(t.TempDir(), "dewcase.yaml")
	require.NoError(t, os.WriteFile(file, []byte(conf), 0o600))
	data := t.TempDir()
	csv, caseFile := filepath.Join(t.TempDir(), "r.csv"), filepath.Join(t.TempDir(), "c.yaml")
	var b strings.Builder
	b.WriteString("time,logger,temp_c,rh_pct,battery_pct\n")
	for i := range 4 * 288 {
		at := time.Date(2026, 1, 10, 0, 5*i, 0, 0, time.UTC).Format(time.RFC3339)
		temp := 4 + 3*float64(i%288)/288
		fmt.Fprintf(&b, "%s,k1,%.2f,%d,88\n%s,k2,%.2f,,77\n", at, temp, 75+i%25, at, temp-float64(i%40)/10)
	}
	require.NoError(t, os.WriteFile(csv, []byte(b.String()), 0o600))
	require.NoError(t, os.WriteFile(caseFile, []byte(house), 0o600))
	out, status := crashtest.Run(t, "import", "-case", caseFile, "-readings", csv, "-data", data)
	require.Zero(t, status, out)
	return crashtest.Serve(t, data, append([]string{"-config", file}, args...)...)
}

// ask runs a query and returns how many rows it gave.
func ask(t *testing.T, addr, q string) (rows int) {
	t.Helper()
	res, err := http.Get("http://" + addr + "/query?" + url.Values{"db": {"roofs"}, "q": {q}}.Encode())
	require.NoError(t, err)
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, res.StatusCode, "%s: %s", q, body)
	var answer struct {
		Results []struct {
			Error  string
			Series []struct{ Values [][]any }
		}
	}
	require.NoError(t, json.Unmarshal(body, &answer))
	for _, r := range answer.Results {
		require.Empty(t, r.Error, q)
		for _, s := range r.Series {
			rows += len(s.Values)
		}
	}
	return rows
}

// Every query of the roof's dashboard finds what the real daemon copied to a real
// InfluxDB.
func TestEveryQueryOfTheRoofFindsWhatTheDaemonCopied(t *testing.T) {
	addr, proxied := influxDB(t)
	serve(t, "influxdb: {url: \""+proxied+"\", bucket: roofs, mirror: yes}\n")
	ready := func() bool {
		return ask(t, addr, `SELECT "condensing_min" FROM "night_surface"`) >= 4 &&
			ask(t, addr, `SELECT "temp_c" FROM "reading"`) >= 8*288
	}
	patience.Until(t, "all is copied", ready)
	require.Equal(t, 1, ask(t, addr, casesQuery))
	asGrafana := strings.NewReplacer("$timeFilter", "time >= '2026-01-10T00:00:00Z' AND time < '2026-01-14T00:00:00Z'",
		"$__interval", "1h", "$case", "larch-3")
	otherwise := strings.NewReplacer("$timeFilter", "time >= '2026-01-10T00:00:00Z' AND time < '2026-01-14T00:00:00Z'",
		"$__interval", "1h", "$case", "larch-33")
	for _, p := range roofPanels() {
		for _, q := range p.queries {
			assert.Positive(t, ask(t, addr, asGrafana.Replace(q.text)), "%s: %s", p.title, q.text)
			assert.Zero(t, ask(t, addr, otherwise.Replace(q.text)), "%s: another house's", p.title)
			tag := regexp.MustCompile(`\$tag_([a-z]+)`).FindStringSubmatch(q.legend)
			require.NotNil(t, tag, p.title)
			assert.Contains(t, q.text, `"`+tag[1]+`"`, "the legend speaks of a tag that is grouped by")
		}
	}
}

// Every metric that the daemon's dashboard speaks of is on /metrics, and every
// expression is one that a real PromQL engine takes.
func TestEveryMetricOfTheDaemonIsThereAndEveryExpressionHolds(t *testing.T) {
	_, proxied := influxDB(t)
	secret := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(secret, []byte("0123456789abcdef0123456789\n"), 0o600))
	conf := "influxdb: {url: \"" + proxied + "\", bucket: roofs, mirror: yes}\nalerts: {webhook: {url: " +
		"\"http://127.0.0.1:9/\", secret_file: \"" + secret + "\", allow_private: yes}}\n"
	b := mosquittotest.Start(t, mosquittotest.Quick)
	metrics := string(serve(t, conf).Do(http.MethodGet, "/metrics", nil, 200)) +
		string(serve(t, conf, "-broker", "mqtt://"+b.Addr()).Do(http.MethodGet, "/metrics", nil, 200))
	engine := freeAddr(t)
	run(t, "http://"+engine+"/health", "victoria-metrics", "-storageDataPath="+t.TempDir(), "-httpListenAddr="+engine,
		"-loggerLevel=ERROR")
	res, err := http.Post("http://"+engine+"/api/v1/import/prometheus?extra_label=job=dewcase", "text/plain",
		strings.NewReader(metrics))
	require.NoError(t, err)
	_ = res.Body.Close()
	require.Less(t, res.StatusCode, 300)
	names := regexp.MustCompile(`\b(?:dewcase|process|go)_[a-z0-9_]+`)
	for _, p := range daemonPanels() {
		for _, q := range p.queries {
			found := names.FindAllString(q.text, -1)
			require.NotEmpty(t, found, q.text)
			for _, name := range found {
				assert.Regexp(t, `(?m)^# TYPE `+name+` `, metrics, p.title)
				kind := regexp.MustCompile(`(?m)^# TYPE ` + name + ` (\w+)$`).FindStringSubmatch(metrics)
				counted := strings.Contains(q.text, "rate("+name) || strings.Contains(q.text, "increase("+name)
				assert.Equal(t, kind != nil && kind[1] == "counter", counted, "%s: a counter's rise is shown, a gauge's value",
					name)
			}
			res, err := http.Get("http://" + engine + "/api/v1/query?" + url.Values{"query": {q.text}}.Encode())
			require.NoError(t, err)
			text, err := io.ReadAll(res.Body)
			require.NoError(t, err)
			_ = res.Body.Close()
			assert.Equal(t, http.StatusOK, res.StatusCode, "%s: %s", q.text, text)
		}
	}
}
