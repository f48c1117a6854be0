package gate_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/http/gate"
)

func guarded(t *testing.T, opt gate.Options) (*gate.Gate, http.Handler) {
	t.Helper()
	opt.Log = slog.New(slog.DiscardHandler)
	g := gate.New(opt)
	mux := http.NewServeMux()
	mux.HandleFunc("/login", func(w http.ResponseWriter, r *http.Request) {
		ok, tired := g.LogIn(r, r.FormValue("password"))
		switch {
		case tired:
			w.WriteHeader(http.StatusTooManyRequests)
		case !ok:
			w.WriteHeader(http.StatusUnauthorized)
		}
	})
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		_,
			_ = w.Write([]byte("in as " + gate.Who(r.Context())))
	})
	return g, gate.Headers(g.Wrap(mux))
}

func ask(h http.Handler, method, path string, change func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://127.0.0.1:8480"+path, nil)
	r.RemoteAddr = "203.0.113.5:999"
	if change != nil {
		change(r)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestForeignNamesAreRefusedAndOwnOnesAre(t *testing.T) {
	_, h := guarded(t, gate.Options{Hosts: []string{"roofs.example"}})
	for host, want := range map[string]int{"localhost:8480": 200, "127.0.0.1": 200, "[::1]:8480": 200,
		"192.168.1.7:8480": 200, "Roofs.Example": 200, "roofs.example.:80": 200,
		"evil.example": 421, "127.0.0.1.evil.example": 421, "": 421, "localhost.evil.example:8480": 421} {
		w := ask(h, "GET", "/", func(r *http.Request) { r.Host = host })
		assert.Equal(t, want, w.Code, "host %q", host)
	}
}

func TestWhereCredentialsAreDemandedNothingElseIsSaid(t *testing.T) {
	_, h := guarded(t, gate.Options{Demand: true, Token: "admin-token", Open: []string{"/healthz", "/assets/"}})
	w := ask(h, "GET", "/cases/larch-3/?night=1", nil)
	assert.Equal(t, http.StatusSeeOther, w.Code)
	next, err := url.Parse(w.Header().Get("Location"))
	require.NoError(t, err)
	assert.Equal(t, "/login", next.Path)
	assert.Contains(t, next.Query().Get("next"), "/cases/larch-3/?night=1", "and back to where one wanted to go")
	for _, path := range []string{"/api/cases", "/metrics"} {
		w := ask(h, "GET", path, nil)
		assert.Equal(t, http.StatusUnauthorized, w.Code)
		assert.Contains(t, w.Header().Get("WWW-Authenticate"), "Bearer")
	}
	assert.Equal(t, http.StatusUnauthorized, ask(h, "POST", "/cases/x", nil).Code)
	assert.Equal(t, http.StatusOK, ask(h, "GET", "/healthz", nil).Code)
	assert.Equal(t, http.StatusOK, ask(h, "GET", "/assets/main.css", nil).Code)
	assert.Equal(t, http.StatusSeeOther, ask(h, "GET", "/healthz2", nil).Code)
	w = ask(h, "GET", "/api/cases", func(r *http.Request) { r.Header.Set("Authorization", "Bearer admin-token") })
	assert.Equal(t, "in as administrator", w.Body.String())
}

func TestAPasswordOpensASession(t *testing.T) {
	hash, err := credentials.Hash("wet battens")
	require.NoError(t, err)
	_, h := guarded(t, gate.Options{Demand: true, PasswordHash: hash, Open: []string{"/login"}})
	w := ask(h, "POST", "/login?password=wrong", nil)
	assert.Equal(t, http.StatusUnauthorized, w.Code)
	w = ask(h, "POST", "/login?password=wet+battens", nil)
	require.Equal(t, http.StatusOK, w.Code)
	cookies := w.Result().Cookies()
	require.Len(t, cookies, 1)
	assert.True(t, cookies[0].HttpOnly)
	assert.Equal(t, http.SameSiteLaxMode, cookies[0].SameSite)
	w = ask(h, "GET", "/", func(r *http.Request) { r.AddCookie(cookies[0]) })
	assert.Equal(t, "in as consultant", w.Body.String())
}

// The limit is by address, this machine's own among them: behind a proxy on it
// everybody is.
func TestGuessingIsSlowedDown(t *testing.T) {
	_, h := guarded(t, gate.Options{Demand: true, Token: "admin-token", Proxies: []netip.Prefix{
		netip.MustParsePrefix("10.7.0.0/24"), netip.MustParsePrefix("::1/128")}})
	guess := func(from, hops, token string) int {
		return ask(h, "GET", "/api/cases", func(r *http.Request) {
			r.RemoteAddr = from
			if hops != "" {
				r.Header.Set("X-Forwarded-For", hops)
			}
			r.Header.Set("Authorization", "Bearer "+token)
		}).Code
	}
	for _, c := range []struct {
		name           string
		from, hops     func(i int) string
		others, oHops  string // whom it does not slow
		andItself, its string // the right token, too, from there
	}{
		{"an address", func(i int) string { return fmt.Sprintf("203.0.113.9:%d", i+1) }, nil, "198.51.100.1:1", "",
			"203.0.113.9:99", ""},
		{"an IPv6 network", func(i int) string { return fmt.Sprintf("[2001:db8:1:2::%x]:1", i) }, nil, "[2001:db8:1:3::1]:1",
			"", "[2001:db8:1:2::ffff]:1", ""},
		{"this machine", func(int) string { return "127.0.0.1:1" }, nil, "198.51.100.1:1", "", "127.0.0.1:2", ""},
		{"behind a named proxy", func(int) string { return "10.7.0.2:1" }, func(int) string { return "203.0.113.20" },
			"10.7.0.2:1", "203.0.113.21", "10.7.0.2:1", "203.0.113.20"},
		{"hops of his own invention before the last", func(int) string { return "[::1]:1" },
			func(i int) string { return fmt.Sprintf("192.0.2.%d, 203.0.113.30:4711, 10.7.0.9", i) },
			"[::1]:1", "203.0.113.31", "[::1]:1", "203.0.113.30"},
		{"a proxy that is not named", func(int) string { return "10.8.0.2:1" },
			func(i int) string { return fmt.Sprintf("203.0.113.%d", 100+i) }, "10.8.0.3:1", "203.0.113.40", "10.8.0.2:1",
			"203.0.113.41"},
	} {
		codes := map[int]int{}
		for i := range 50 {
			hops := ""
			if c.hops != nil {
				hops = c.hops(i)
			}
			codes[guess(c.from(i), hops, "wrong")]++
		}
		assert.Equal(t, map[int]int{http.StatusUnauthorized: 10, http.StatusTooManyRequests: 40}, codes, c.name)
		assert.Equal(t, http.StatusOK, guess(c.others, c.oHops, "admin-token"), c.name)
		assert.Equal(t, http.StatusTooManyRequests, guess(c.andItself, c.its, "admin-token"), c.name)
	}
}

// A proxy dresses everybody's request as one of this machine.
func TestWhatAProxyPassesOnIsRefusedWhereNobodyIsAsked(t *testing.T) {
	_, open := guarded(t, gate.Options{})
	_, asking := guarded(t, gate.Options{Demand: true, Token: "admin-token"})
	for _, header := range []string{"X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "Forwarded", "X-Real-IP",
		"Via"} {
		passed := func(r *http.Request) { r.Header.Set(header, "203.0.113.9") }
		for _, path := range []string{"/", "/api/cases", "/metrics"} {
			w := ask(open, "GET", path, passed)
			assert.Equal(t, http.StatusForbidden, w.Code, header)
			var p gate.Problem
			require.NoError(t, json.Unmarshal(w.Body.Bytes(), &p))
			assert.Contains(t, p.Detail, "http.password_file", "how to set them is said")
		}
		assert.Equal(t, http.StatusUnauthorized, ask(asking, "GET", "/api/cases", passed).Code)
	}
	assert.Equal(t, http.StatusOK, ask(open, "GET", "/api/cases", nil).Code)
}

func TestTheCodeSetsThePasswordOnce(t *testing.T) {
	kept := ""
	opt := gate.Options{Demand: true, SetUpCode: "ABCDEFGHIJKLMNOPQRSTUVWXYZ", Keep: func(hash string) error {
		if kept == "" {
			kept = "tried"
			return errors.New("the disk is full")
		}
		kept = hash
		return nil
	}, Open: []string{"/login"}, Log: slog.New(slog.DiscardHandler)}
	g := gate.New(opt)
	set := func(from, code string) (ok, tired bool, err error) {
		r := httptest.NewRequest("POST", "http://127.0.0.1/login", nil)
		r.RemoteAddr = from
		g.Wrap(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
			ok, tired, err = g.SetPassword(r, code, "wet battens")
		})).ServeHTTP(httptest.NewRecorder(), r)
		return ok, tired, err
	}
	require.True(t, g.SetUp())
	ok, _, err := set("203.0.113.1:1", "abcdefg hijklmn opqrstu vwxyz")
	require.Error(t, err)
	require.False(t, ok)
	require.True(t, g.SetUp(), "what could not be kept is not in force, and the code still holds")

	tries := map[bool]int{}
	for range 50 {
		ok, tired, err := set("203.0.113.2:1", "ABCDEFGHIJKLMNOPQRSTUVWXYY")
		require.NoError(t, err)
		require.False(t, ok)
		tries[tired]++
	}
	require.Equal(t, map[bool]int{false: 10, true: 40}, tries, "guesses at the code are slowed like others")

	var won atomic.Int32
	var all sync.WaitGroup
	for i := range 5 {
		all.Go(func() {
			if ok, _, _ := set(fmt.Sprintf("203.0.113.%d:1", 10+i), "abcdefg hijklmn opqrstu vwxyz"); ok {
				won.Add(1)
			}
		})
	}
	all.Wait()
	require.EqualValues(t, 1, won.Load(), "it holds for once")
	require.False(t, g.SetUp())
	good, err := credentials.Verify(kept, "wet battens")
	require.NoError(t, err)
	require.True(t, good)
	g.Change("", "token")
	require.False(t, g.SetUp(), "a code that was used does not come back")
}

// Wrong passwords are bounded in the log, wherever they come from.
func TestAFloodOfWrongPasswordsFillsNoLog(t *testing.T) {
	var logged bytes.Buffer
	g := gate.New(gate.Options{Demand: true, Log: slog.New(slog.NewTextHandler(&logged, nil))})
	for i := range 500 {
		r := httptest.NewRequest("POST", "/login", nil)
		r.RemoteAddr = fmt.Sprintf("203.0.%d.%d:999", i/250, i%250)
		ok, tired := g.LogIn(r, "wrong")
		assert.False(t, ok || tired)
	}
	lines := strings.Count(logged.String(), "a wrong password was tried")
	assert.Equal(t, 5, lines, "some are told, the rest of the minute is counted")
}

func TestAChangeAskedForByAnotherSiteIsRefused(t *testing.T) {
	_, h := guarded(t, gate.Options{})
	for _, c := range []struct {
		method, header, value string
		want                  int
	}{
		{"POST", "Origin", "http://evil.example", 403}, {"PUT", "Sec-Fetch-Site", "cross-site", 403},
		{"DELETE", "Origin", "null", 403},
		{"POST", "Origin", "http://127.0.0.1:8480", 200}, {"POST", "Sec-Fetch-Site", "same-origin", 200},
		{"POST", "X-None", "x", 200}, {"GET", "Origin", "http://evil.example", 200},
	} {
		w := ask(h, c.method, "/x", func(r *http.Request) { r.Header.Set(c.header, c.value) })
		assert.Equal(t, c.want, w.Code, "%s with %s: %s", c.method, c.header, c.value)
	}
}

func TestEveryAnswerCarriesThePolicy(t *testing.T) {
	_, h := guarded(t, gate.Options{})
	w := ask(h, "GET", "/", nil)
	assert.Contains(t, w.Header().Get("Content-Security-Policy"), "default-src 'none'")
	assert.NotContains(t, w.Header().Get("Content-Security-Policy"), "unsafe")
	assert.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
}
