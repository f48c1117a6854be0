package app_test

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/run/config"
	"dewcase/internal/testkit/browsertest"
	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/running"
)

// morning is when houses are told of.
var morning = time.Date(2026, 2, 10, 10, 7, 0, 0, time.UTC)

// dampHouse has everything that a household can be told of.
const dampHouse = `case: larch-3
property:
  label: 3 Larch Row
  timezone: Europe/London
roof: {covering: {material: fibre-cement slate}}
positions:
  - {id: room, place: indoor_air}
  - {id: loft, place: loft_air}
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
  - {id: outside, place: outdoor_air}
loggers:
  - {id: k0, interval_s: 900, accuracy: {temp_c: 0.3, rh_pct: 2}, fitted: [{position: room, from: 2026-01-01T00:00:00Z}]}
  - {id: k1, interval_s: 900, accuracy: {temp_c: 0.3, rh_pct: 2}, fitted: [{position: loft, from: 2026-01-01T00:00:00Z}]}
  - {id: k2, interval_s: 900, accuracy: {temp_c: 0.3, rh_pct: 2}, fitted: [{position: void, from: 2026-01-01T00:00:00Z}]}
  - {id: k3, interval_s: 900, accuracy: {temp_c: 0.3}, fitted: [{position: slate, from: 2026-01-01T00:00:00Z}]}
  - {id: k4, interval_s: 900, accuracy: {temp_c: 0.3, rh_pct: 2}, fitted: [{position: outside, from: 2026-01-01T00:00:00Z}]}
contacts:
  householder: [ann@example.org]
`

// dampRecord is some days of a leaky house in a cold snap, up to the minute:
// vapour of the loft far above outdoors, the slates wet every night and now.
func dampRecord(days int, until time.Time) string {
	var b strings.Builder
	b.WriteString("time,logger,temp_c,rh_pct\n")
	for at := until.Add(-time.Duration(days) * 24 * time.Hour).Truncate(15 * time.Minute); !at.After(until); at = at.Add(
		15 * time.Minute) {
		sun := math.Max(0, math.Sin(float64(at.Hour()-6)/12*math.Pi))
		if until.Sub(at) < 3*time.Hour {
			sun = 0
		}
		out := 2 + 3*sun
		stamp, lives := at.UTC().Format(time.RFC3339), at.Minute()/15 // no humidity stands still for hours
		fmt.Fprintf(&b, "%s,k0,19.%d,58.%d\n%s,k1,%.2f,88.%d\n%s,k2,%.2f,95.%d\n%s,k3,%.2f,\n%s,k4,%.2f,82.%d\n",
			stamp, at.Minute()/15, lives, stamp, out+2+sun, lives, stamp, out+1+2*sun, lives, stamp, out-1+6*sun, stamp, out,
			lives)
	}
	return b.String()
}

// receiver counts the messages of a webhook by key.
type receiver struct {
	*httptest.Server
	mu   sync.Mutex
	got  map[string][]string
	down bool
}

func newReceiver(t *testing.T) *receiver {
	r := &receiver{got: map[string][]string{}}
	r.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		body, _ := io.ReadAll(q.Body)
		r.mu.Lock()
		defer r.mu.Unlock()
		if r.down {
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		var m struct{ Key, To, Kind, Subject string }
		_ = json.Unmarshal(body, &m)
		r.got[m.Key] = append(r.got[m.Key], m.To+" "+m.Kind+" "+m.Subject)
	}))
	t.Cleanup(r.Close)
	return r
}

func (r *receiver) all() (keys int, lines []string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, l := range r.got {
		keys++
		lines = append(lines, l...)
	}
	return keys, lines
}

func withWebhook(t *testing.T, r *receiver, dir string) func(*config.Config) {
	secret := filepath.Join(dir, "secret")
	require.NoError(t, os.WriteFile(secret, []byte("a long enough secret"), 0o600))
	return func(c *config.Config) {
		c.Data = filepath.Join(dir, "data")
		c.Alerts.WebhookURL, c.Alerts.WebhookSecret, c.Alerts.WebhookPrivate = r.URL, secret, true
	}
}

func TestAWetRoofRingsOnceHoweverOftenTheDaemonRestarts(t *testing.T) {
	r := newReceiver(t)
	change := withWebhook(t, r, t.TempDir())
	now := running.Ticking(morning)
	d := running.StartAt(t, now, change)
	d.Ask("PUT", "/api/cases/larch-3/file", dampHouse)
	answer, body := d.Ask("POST", "/api/cases/larch-3/readings", dampRecord(12, now()), "Content-Type", "text/csv")
	require.Equal(t, 200, answer.StatusCode, body)
	d.Stop()
	rng := rand.New(rand.NewPCG(6, 12))
	for range 50 { // stopped at any moment of looking, planning and sending
		d = running.StartAt(t, now, change)
		select {
		case <-time.After(time.Duration(rng.IntN(250)) * time.Millisecond):
		case <-t.Context().Done():
		}
		d.Stop()
	}
	d = running.StartAt(t, now, change)
	patience.Until(t, "household and consultant are told", func() bool {
		_, body := d.Ask("GET", "/api/cases/larch-3/alerts", "")
		keys, _ := r.all()
		return strings.Contains(body, `"surface_wet"`) && keys > 1
	})
	d.Stop()
	_, lines := r.all()
	household := 0
	for key, l := range r.got {
		assert.Len(t, l, 1, "message %s went out once", key)
	}
	for _, l := range lines {
		if strings.HasPrefix(l, "household") {
			household++
		}
	}
	assert.Equal(t, 1, household, lines)
}

func TestTheHouseholdersPageOpensByItsLinkAlone(t *testing.T) {
	r := newReceiver(t)
	now := running.Ticking(morning)
	d := running.StartAt(t, now, withWebhook(t, r, t.TempDir()))
	d.Ask("PUT", "/api/cases/larch-3/file", dampHouse)
	d.Ask("POST", "/api/cases/larch-3/readings", dampRecord(12, now()), "Content-Type", "text/csv")
	answer, page := d.Ask("POST", "/cases/larch-3/alerts/link", "")
	require.Equal(t, 200, answer.StatusCode)
	link := regexp.MustCompile(`/home/[A-Za-z0-9_-]{43}`).FindString(page)
	require.NotEmpty(t, link)
	answer, page = d.Ask("GET", link, "")
	require.Equal(t, 200, answer.StatusCode, page)
	assert.Contains(t, page, "3 Larch Row")
	assert.Contains(t, page, "What we record")
	assert.Contains(t, page, "Damp air in a room can show when people are at home.")
	assert.Equal(t, "no-referrer", answer.Header.Get("Referrer-Policy"))
	answer, body := d.Ask("GET", link+"/app.webmanifest", "")
	assert.Equal(t, 200, answer.StatusCode)
	assert.Contains(t, body, link)
	answer, _ = d.Ask("GET", link+"/worker.js", "")
	assert.Equal(t, link, answer.Header.Get("Service-Worker-Allowed"))

	answer, _ = d.Ask("POST", link+"/seen", "alert=x", "Content-Type", "application/x-www-form-urlencoded", "Origin",
		"https://evil.example", "Sec-Fetch-Site", "cross-site")
	assert.Equal(t, 403, answer.StatusCode, "a foreign page cannot press the button")
	answer, _ = d.Ask("GET", link[:len(link)-1]+"A", "")
	if link[len(link)-1] != 'A' {
		assert.Equal(t, 404, answer.StatusCode)
	}
	answer, _ = d.Ask("PUT", "/api/cases/larch-3/forecast", `{"min_c": -6, "until": "`+
		now().Add(12*time.Hour).UTC().Format(time.RFC3339)+`"}`)
	assert.Equal(t, 204, answer.StatusCode)
	answer, body = d.Ask("PUT", "/api/cases/larch-3/forecast", `{"min_c": "cold"}`)
	assert.Equal(t, 422, answer.StatusCode)
	assert.Contains(t, body, "min_c")
	d.Ask("POST", "/cases/larch-3/alerts/unlink", "")
	answer, page = d.Ask("GET", link, "")
	assert.Equal(t, 404, answer.StatusCode)
	assert.Contains(t, page, "This link does not work.")
	answer, page = d.Ask("GET", "/cases/larch-3/people", "")
	assert.Equal(t, 200, answer.StatusCode)
	assert.Contains(t, page, "No link is in force")
	answer, _ = d.Ask("GET", "/alerts", "")
	assert.Equal(t, 200, answer.StatusCode)
}

// A proxy passes on the name that a link of a mail was opened under.
func TestPagesAreServedUnderThePublicName(t *testing.T) {
	d := running.Start(t, func(c *config.Config) { c.Data, c.HTTP.PublicURL = t.TempDir(), "https://roof.example.org/" })
	for host, want := range map[string]int{"roof.example.org": 404, "elsewhere.example.org": 421} {
		answer, _ := d.Ask("GET", "/home/"+strings.Repeat("x", 43), "", "Host", host)
		assert.Equal(t, want, answer.StatusCode, host)
	}
}

// TestHouseholdersPageInABrowser runs dashboards/test/home: axe, phone width, no
// scrolling sideways, the page again without the network. It needs what
// make test puts in place.
func TestHouseholdersPageInABrowser(t *testing.T) {
	r := newReceiver(t)
	d := running.Start(t, withWebhook(t, r, t.TempDir()))
	d.Ask("PUT", "/api/cases/larch-3/file", dampHouse)
	d.Ask("POST", "/api/cases/larch-3/readings", dampRecord(18, time.Now()), "Content-Type", "text/csv")
	_, page := d.Ask("POST", "/cases/larch-3/alerts/link", "")
	link := regexp.MustCompile(`/home/[A-Za-z0-9_-]{43}`).FindString(page)
	d.Ask("GET", link, "") // a page looks at its house itself
	patience.Until(t, "somebody is told", func() bool { keys, _ := r.all(); return keys > 0 })
	browsertest.Run(t, []string{"home/home.test.js"}, "DEWCASE_PAGES="+d.HTTP, "DEWCASE_HOME="+link)
}
