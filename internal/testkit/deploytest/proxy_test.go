package deploytest

import (
	"io"
	"io/fs"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/run/config"
	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/mosquittotest"
)

// visitor comes to a daemon through a reverse proxy, as one address among many.
type visitor struct {
	t      *testing.T
	proxy  string
	client *http.Client
	from   string // what the proxy says of where he comes from
	claims string // what he says himself
	token  string
}

// through puts a reverse proxy before a daemon, on this machine.
func through(t *testing.T, daemon string) *visitor {
	t.Helper()
	to, err := url.Parse(daemon)
	require.NoError(t, err)
	to.Host = strings.Replace(to.Host, "0.0.0.0", "127.0.0.1", 1)
	v := &visitor{t: t, from: "203.0.113.9"}
	proxy := httptest.NewServer(&httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) {
		r.SetURL(to)
		r.Out.Host = r.In.Host // as people asked
		r.Out.Header["X-Forwarded-For"] = append(r.In.Header["X-Forwarded-For"], v.from)
		r.Out.Header.Set("X-Forwarded-Proto", "https")
	}})
	t.Cleanup(proxy.Close)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	v.proxy, v.client = proxy.URL, &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error {
		return http.ErrUseLastResponse
	}}
	return v
}

func (v *visitor) ask(method, path, body string) (status int, text string) {
	v.t.Helper()
	r, err := http.NewRequest(method, v.proxy+path, strings.NewReader(body))
	require.NoError(v.t, err)
	if v.token != "" {
		r.Header.Set("Authorization", "Bearer "+v.token)
	}
	if v.claims != "" {
		r.Header.Set("X-Forwarded-For", v.claims)
	}
	if strings.HasPrefix(path, "/login") {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	resp, err := v.client.Do(r)
	require.NoError(v.t, err)
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	require.NoError(v.t, err)
	return resp.StatusCode, string(b)
}

const adminToken = "0123456789abcdef0123456789abcdef"

// configurations are the daemon's configurations under deploy/, found rather
// than listed, each with its paths led into a folder of the test.
func configurations(t *testing.T, broker string) map[string]string {
	t.Helper()
	dir := t.TempDir()
	secret := func(name, text string) string {
		file := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(file, []byte(text+"\n"), 0o600))
		return file
	}
	token, password := secret("token", adminToken), secret("password", "unused")
	found := map[string]string{}
	require.NoError(t, filepath.WalkDir(deploy, func(path string, d fs.DirEntry, err error) error {
		require.NoError(t, err)
		name, err := filepath.Rel(deploy, path)
		require.NoError(t, err)
		if d.IsDir() || filepath.Base(path) != "dewcase.yaml" {
			return nil
		}
		text := read(t, name)
		text = regexp.MustCompile(`/run/(credentials/dewcase\.service|secrets)/admin-token`).ReplaceAllString(text, token)
		text = regexp.MustCompile(`/run/(credentials/dewcase\.service|secrets)/[a-z-]+`).ReplaceAllString(text, password)
		text = regexp.MustCompile(`mqtts://\S+`).ReplaceAllString(text, "mqtt://"+broker)
		text = regexp.MustCompile(`(?m)^ +ca_file: .*\n`).ReplaceAllString(text, "")
		text = regexp.MustCompile(`http://influxdb:8086`).ReplaceAllString(text, "http://127.0.0.1:1")
		_, faults := config.Parse(name, []byte(text))
		require.Empty(t, faults)
		file := filepath.Join(dir, strings.ReplaceAll(name, "/", "-"))
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		found[name] = file
		return nil
	}))
	return found
}

// Whatever stands under deploy/ may be put behind a reverse proxy: who brings no
// credentials gets nothing, guesses are slowed by who makes them, and a person
// gets in by the code that only the machine's owner can read.
func TestEveryConfigurationAsksEverybodyForCredentialsBehindAProxy(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	all := configurations(t, b.Addr())
	require.GreaterOrEqual(t, len(all), 3)
	for name, file := range all {
		t.Run(name, func(t *testing.T) {
			c, faults, err := config.Load(file)
			require.NoError(t, err)
			require.Empty(t, faults)
			data := filepath.Join(t.TempDir(), "data")
			host := strings.TrimSuffix(c.HTTP.Listen, ":8480")
			// A proxy on this machine stands where the container's gateway stands.
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			text = regexp.MustCompile(`trusted_proxies: \[172[^\]]*\]`).ReplaceAll(text, []byte("trusted_proxies: [127.0.0.1]"))
			require.NoError(t, os.WriteFile(file, text, 0o600))
			d := crashtest.Serve(t, data, "-config", file, "-http", host+":0", "-broker", "mqtt://"+b.Addr())
			v := through(t, d.HTTP)
			if !c.Demands("", c.HTTP.TokenFile) { // the package's own, as a daemon comes
				for _, path := range []string{"/", "/api/cases", "/metrics", "/login"} {
					status, body := v.ask("GET", path, "")
					require.Equal(t, 403, status, "%s: %s", path, body)
				}
				return
			}

			for _, ask := range []struct {
				method, path string
				want         int
			}{{"GET", "/api/cases", 401}, {"GET", "/metrics", 401}, {"GET", "/", 303}, {"GET", "/cases/house-1", 303},
				{"PUT", "/api/cases/house-1/file", 401}, {"POST", "/api/cases/house-1/readings", 401},
				{"POST", "/cases/house-1/alerts/link", 401}, {"GET", "/healthz", 200}} {
				for _, v.token = range []string{"", "wrong"} {
					v.from = "203.0.113." + map[string]string{"": "1", "wrong": "2"}[v.token]
					status, body := v.ask(ask.method, ask.path, house)
					want := ask.want
					if v.token != "" {
						want = 401
					}
					require.Equal(t, want, status, "%s %s with token %q: %s", ask.method, ask.path, v.token, body)
				}
			}
			v.token, v.from = adminToken, "203.0.113.3"
			status, body := v.ask("PUT", "/api/cases/house-1/file", house)
			require.Equal(t, 201, status, body)

			v.from = "203.0.113.66"
			codes := map[int]int{}
			for i := range 50 {
				v.token, v.claims = "guess", "198.51.100."+string(rune('0'+i%10))
				status, _ := v.ask("GET", "/api/cases", "")
				codes[status]++
			}
			require.Equal(t, map[int]int{401: 10, 429: 40}, codes, "by who asks, whatever he claims")
			v.from, v.token, v.claims = "203.0.113.3", adminToken, ""
			status, _ = v.ask("GET", "/api/cases", "")
			require.Equal(t, 200, status, "and nobody else is slowed")

			v.token = ""
			info, err := os.Stat(filepath.Join(data, "set-up-code"))
			require.NoError(t, err)
			require.Equal(t, fs.FileMode(0o600), info.Mode())
			code, err := os.ReadFile(filepath.Join(data, "set-up-code"))
			require.NoError(t, err)
			require.NotContains(t, d.Log(), strings.TrimSpace(string(code)), "the log names the file and not the code")
			require.Contains(t, d.Log(), filepath.Join(data, "set-up-code"))
			status, body = v.ask("GET", "/login", "")
			require.Equal(t, 200, status)
			require.Contains(t, body, `name="code"`)
			form := func(code, password, again string) string {
				return url.Values{"code": {code}, "password": {password}, "again": {again}}.Encode()
			}
			status, _ = v.ask("POST", "/login", form("ABCDEFGH", "wet battens", "wet battens"))
			require.Equal(t, 403, status)
			status, _ = v.ask("POST", "/login", form(string(code), "short", "short"))
			require.Equal(t, 422, status)
			status, body = v.ask("POST", "/login", form(string(code), "wet battens", "wet battens"))
			require.Equal(t, 303, status, body)
			status, _ = v.ask("GET", "/cases/house-1", "")
			if c.HTTP.PublicURL == "" { // else the cookie is for HTTPS alone
				require.Equal(t, 200, status, "who set it is in")
			}
			_, err = os.Stat(filepath.Join(data, "set-up-code"))
			require.ErrorIs(t, err, fs.ErrNotExist)
			info, err = os.Stat(filepath.Join(data, "password-hash"))
			require.NoError(t, err)
			require.Equal(t, fs.FileMode(0o600), info.Mode())

			v.client.Jar, err = cookiejar.New(nil)
			require.NoError(t, err)
			status, _ = v.ask("POST", "/login", form(string(code), "wet battens 2", "wet battens 2"))
			require.Equal(t, 403, status, "the code holds for once")
			require.Zero(t, d.Stop(), d.Log())

			d = crashtest.Serve(t, data, "-config", file, "-http", host+":0", "-broker", "mqtt://"+b.Addr())
			v = through(t, d.HTTP)
			status, body = v.ask("GET", "/login", "")
			require.Equal(t, 200, status)
			require.NotContains(t, body, `name="code"`)
			status, _ = v.ask("POST", "/login", url.Values{"password": {"wet battens"}}.Encode())
			require.Equal(t, 303, status, "the password is kept")
			_, err = os.Stat(filepath.Join(data, "set-up-code"))
			require.ErrorIs(t, err, fs.ErrNotExist)
		})
	}
}

// A daemon as it comes, on loopback and without credentials, takes nothing from
// a proxy, and says what to do.
func TestADaemonWithoutCredentialsTakesNothingFromAProxy(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	d.Do(http.MethodPut, "/api/cases/house-1/file", strings.NewReader(house), 201)
	v := through(t, d.HTTP)
	for _, path := range []string{"/", "/api/cases", "/api/cases/house-1/file", "/metrics"} {
		status, body := v.ask("GET", path, "")
		require.Equal(t, 403, status)
		require.Contains(t, body, "http.password_file")
	}
	for _, key := range []string{`public_url: "https://roof.example.org"`, "hosts: [roof.example.org]"} {
		file := filepath.Join(t.TempDir(), "dewcase.yaml")
		require.NoError(t, os.WriteFile(file, []byte("http: {"+key+"}\n"), 0o600))
		d := crashtest.Serve(t, t.TempDir(), "-config", file)
		status, _ := through(t, d.HTTP).ask("GET", "/api/cases", "")
		require.Equal(t, 401, status, key)
		require.Equal(t, 401, d.Status("/api/cases"), "and without one")
	}
}
