package gate_test

import (
	"bytes"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

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

// The limit is by address; this machine itself is never locked out.
func TestGuessingIsSlowedDown(t *testing.T) {
	_, h := guarded(t, gate.Options{Demand: true, Token: "admin-token"})
	guess := func(from, token string) int {
		return ask(h, "GET", "/api/cases", func(r *http.Request) {
			r.RemoteAddr = from
			r.Header.Set("Authorization", "Bearer "+token)
		}).Code
	}
	codes := map[int]int{}
	for range 50 {
		codes[guess("203.0.113.9:1", "wrong")]++
	}
	assert.Equal(t, 10, codes[http.StatusUnauthorized])
	assert.Equal(t, 40, codes[http.StatusTooManyRequests])
	assert.Equal(t, http.StatusTooManyRequests, guess("203.0.113.9:2", "admin-token"), "the right one too, from there")
	assert.Equal(t, http.StatusOK, guess("198.51.100.1:1", "admin-token"))
	clear(codes)
	for i := range 50 {
		codes[guess(fmt.Sprintf("[2001:db8:1:2::%x]:1", i), "wrong")]++
	}
	assert.Equal(t, map[int]int{http.StatusUnauthorized: 10, http.StatusTooManyRequests: 40}, codes,
		"an IPv6 network has more addresses than anybody can count")
	assert.Equal(t, http.StatusOK, guess("[2001:db8:1:3::1]:1", "admin-token"))
	for _, here := range []string{"127.0.0.1:1", "[::1]:1"} {
		for range 50 {
			assert.Equal(t, http.StatusUnauthorized, guess(here, "wrong"))
		}
	}
	assert.Equal(t, http.StatusOK, guess("127.0.0.1:1", "admin-token"))
}

// Loopback is never locked out, so its wrong passwords are bounded in the log.
func TestAFloodOfWrongPasswordsFillsNoLog(t *testing.T) {
	var logged bytes.Buffer
	g := gate.New(gate.Options{Demand: true, Log: slog.New(slog.NewTextHandler(&logged, nil))})
	for range 500 {
		r := httptest.NewRequest("POST", "/login", nil)
		r.RemoteAddr = "127.0.0.1:999"
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

func TestCostlyRequestsBeyondTheSeatsAreTurnedAway(t *testing.T) {
	hold, entered := make(chan struct{}), make(chan struct{}, 10)
	h := gate.Costly(2, 10*time.Millisecond, time.Minute)(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		entered <- struct{}{}
		<-hold
	}))
	done := make(chan int, 2)
	for range 2 {
		go func() { done <- ask(h, "GET", "/", nil).Code }()
	}
	<-entered
	<-entered
	w := ask(h, "GET", "/", nil)
	assert.Equal(t, http.StatusTooManyRequests, w.Code)
	assert.NotEmpty(t, w.Header().Get("Retry-After"))
	close(hold)
	assert.Equal(t, http.StatusOK, <-done)
	assert.Equal(t, http.StatusOK, <-done)
}

func TestEveryAnswerCarriesThePolicy(t *testing.T) {
	_, h := guarded(t, gate.Options{})
	w := ask(h, "GET", "/", nil)
	assert.Contains(t, w.Header().Get("Content-Security-Policy"), "default-src 'none'")
	assert.NotContains(t, w.Header().Get("Content-Security-Policy"), "unsafe")
	assert.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
}
