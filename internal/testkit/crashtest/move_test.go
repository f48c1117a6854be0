package crashtest

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

// dampHouse is a house of whose roof the household is told; the loggers live and
// plain are fitted nowhere, so that no answer changes with them.
const dampHouse = `case: north-1
property: {label: 1 North Row, timezone: Europe/London}
roof: {covering: {material: fibre-cement slate}}
positions:
  - {id: room, place: indoor_air}
  - {id: loft, place: loft_air}
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
  - {id: outside, place: outdoor_air}
loggers:
  - {id: k0, interval_s: 900, fitted: [{position: room, from: 2020-01-01T00:00:00Z}]}
  - {id: k1, interval_s: 900, fitted: [{position: loft, from: 2020-01-01T00:00:00Z}]}
  - {id: k2, interval_s: 900, fitted: [{position: void, from: 2020-01-01T00:00:00Z}]}
  - {id: k3, interval_s: 900, fitted: [{position: slate, from: 2020-01-01T00:00:00Z}]}
  - {id: k4, interval_s: 900, fitted: [{position: outside, from: 2020-01-01T00:00:00Z}]}
  - {id: live}
  - {id: plain}
contacts: {householder: [ann@example.org]}
`

// dampRecord is some days of its readings, wet every night and now.
func dampRecord(until time.Time) string {
	var b strings.Builder
	b.WriteString("time,logger,temp_c,rh_pct\n")
	for at := until.AddDate(0, 0, -12).Truncate(15 * time.Minute); !at.After(until); at = at.Add(15 * time.Minute) {
		sun := math.Max(0, math.Sin(float64(at.Hour()-6)/12*math.Pi))
		if until.Sub(at) < 3*time.Hour {
			sun = 0
		}
		out, stamp, lives := 2+3*sun, at.UTC().Format(time.RFC3339), at.Minute()/15
		fmt.Fprintf(&b, "%s,k0,19.%d,58.%d\n%s,k1,%.2f,88.%d\n%s,k2,%.2f,95.%d\n%s,k3,%.2f,\n%s,k4,%.2f,82.%d\n",
			stamp, lives, lives, stamp, out+2+sun, lives, stamp, out+1+2*sun, lives, stamp, out-1+6*sun, stamp, out, lives)
	}
	return b.String()
}

// bells counts the messages of a webhook by what they say and to whom.
type bells struct {
	*httptest.Server
	mu  sync.Mutex
	got map[string]int
}

func newBells(t *testing.T) *bells {
	b := &bells{got: map[string]int{}}
	b.Server = httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, q *http.Request) {
		var m struct{ To, Kind, Subject string }
		body, _ := io.ReadAll(q.Body)
		_ = json.Unmarshal(body, &m)
		b.mu.Lock()
		defer b.mu.Unlock()
		b.got[m.To+" "+m.Kind+" "+m.Subject]++
	}))
	t.Cleanup(b.Close)
	return b
}

func (b *bells) all() map[string]int {
	b.mu.Lock()
	defer b.mu.Unlock()
	out := map[string]int{}
	for k, n := range b.got {
		out[k] = n
	}
	return out
}

// A house moves from one instance to another while its loggers go on sending, with
// and without times of their own: no reading is lost or doubled, every answer is the
// same, and nobody is told anything twice. The instance that it left says where it
// is, on every page and to programs.
func TestAHouseMovesToAnotherInstanceWhileItsLoggersSend(t *testing.T) {
	broker, engine, told := mosquittotest.Start(t, mosquittotest.Quick), influxd(t), newBells(t)
	secret := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(secret, []byte("a long enough secret"), 0o600))
	dirs := map[string]string{"north": t.TempDir(), "south": t.TempDir()}
	serve := func(name string) *Daemon {
		file := filepath.Join(t.TempDir(), "dewcase.yaml")
		require.NoError(t, os.WriteFile(file, fmt.Appendf(nil, "cases: [%q]\nstore: influxdb\n"+
			"influxdb: {url: %q, bucket: roofs}\nmqtt: {client_id: %s, topics: [dewcase/#]}\n"+
			"alerts: {webhook: {url: %q, secret_file: %q, allow_private: yes}}\n", name+"-*", engine, name, told.URL, secret),
			0o600))
		d := Serve(t, dirs[name], "-config", file, "-broker", "mqtt://"+broker.Addr())
		patience.Until(t, "subscribed", func() bool { return d.Status("/readyz") == http.StatusOK })
		return d
	}
	north, south := serve("north"), serve("south")
	north.Do(http.MethodPut, "/api/cases/north-1/file", strings.NewReader(dampHouse), 201)
	north.Do(http.MethodPut, "/api/cases/north-1/file",
		strings.NewReader(strings.Replace(dampHouse, "1 North Row", "1 North Road", 1)), 204)
	north.Do(http.MethodPost, "/api/cases/north-1/readings", strings.NewReader(dampRecord(time.Now())), 200)
	patience.Until(t, "the household was told", func() bool {
		return strings.Contains(string(north.Do(http.MethodGet, "/api/cases/north-1/alerts", nil, 200)), `"surface_wet"`) &&
			len(told.all()) > 0
	})
	link := string(north.Do(http.MethodGet, "/cases/north-1/alerts", nil, 200))
	require.Contains(t, link, "North Road")

	// From now on readings come until the house is at its new place.
	p := NewPublisher(broker.Addr(), "gateway", 100)
	defer p.Close()
	began := time.Now().Add(-48 * time.Hour).Truncate(time.Second).UTC()
	stop, sent := make(chan struct{}), make(chan int)
	go func() {
		n := 0
		for {
			at := began.Add(time.Duration(n) * time.Second).Format(time.RFC3339)
			for _, s := range []Sent{{Topic: "dewcase/north-1/live", Payload: fmt.Appendf(nil,
				`{"time":%q,"temp_c":%.2f,"rh_pct":80}`, at, float64(n%5000)/100)},
				{Topic: "dewcase/north-1/plain", Payload: fmt.Appendf(nil, `{"temp_c":%.1f}`, float64(n%60)/10)}} {
				if err := p.Send(s); err != nil {
					t.Error(err)
				}
			}
			n++
			select {
			case <-stop:
				sent <- n
				return
			case <-time.After(30 * time.Millisecond):
			}
		}
	}()
	until := func(what string, d *Daemon, logger string, n int) {
		patience.Until(t, fmt.Sprintf("%s: %d of %s", what, n, logger), func() bool { return rowsOf(d, logger) >= n })
	}
	until("readings come", north, "plain", 30)
	assessed := string(north.Do(http.MethodGet, "/api/cases/north-1/assessment", nil, 200))
	alerts := string(north.Do(http.MethodGet, "/api/cases/north-1/alerts", nil, 200))
	fitted := rows(north, "k")

	out, status := Run(t, "move", "-case", "north-1", "-from", north.HTTP, "-to", south.HTTP, "-wait", "1m")
	require.Zero(t, status, out+north.Log()+south.Log())
	assert.Contains(t, out, "is kept at "+south.HTTP)
	seen := rowsOf(south, "live")
	until("readings go on coming", south, "live", seen+20)
	close(stop)
	all := <-sent
	require.NoError(t, p.Flush())
	until("the last has come", south, "live", all)
	until("the last has come", south, "plain", all)
	time.Sleep(time.Second) // what would come twice would come now
	assert.Equal(t, all, rowsOf(south, "live"))
	assert.Equal(t, all, rowsOf(south, "plain"), "messages without a time: one each")
	assert.Equal(t, fitted, rows(south, "k"))
	assert.JSONEq(t, assessed, string(south.Do(http.MethodGet, "/api/cases/north-1/assessment", nil, 200)))
	assert.JSONEq(t, alerts, string(south.Do(http.MethodGet, "/api/cases/north-1/alerts", nil, 200)))
	var versions []struct{ By string }
	require.NoError(t, json.Unmarshal(south.Do(http.MethodGet, "/api/cases/north-1/file/history", nil, 200), &versions))
	assert.Len(t, versions, 2)

	// Whoever asks at the old place is told where it is, and never sees an empty house.
	for _, path := range []string{"/cases/north-1", "/cases/north-1/chart", "/api/cases/north-1/assessment",
		"/api/cases/north-1/readings.csv"} {
		assert.Contains(t, string(north.Do(http.MethodGet, path, nil, http.StatusGone)), "kept at "+south.HTTP, path)
	}
	assert.Contains(t, string(north.Do(http.MethodGet, "/all", nil, 200)), south.HTTP+"/cases/north-1")
	assert.NotContains(t, string(north.Do(http.MethodGet, "/api/cases", nil, 200)), "north-1")
	said := north.Do(http.MethodPut, "/api/cases/north-1/file", strings.NewReader(dampHouse), http.StatusGone)
	assert.Contains(t, string(said), "kept at "+south.HTTP)

	// The same again changes nothing; both stand after a restart, and their stores
	// are sound.
	out, status = Run(t, "move", "-case", "north-1", "-from", north.HTTP, "-to", south.HTTP)
	assert.Zero(t, status, out)
	assert.Contains(t, out, "already")
	require.Zero(t, north.Stop(), north.Log())
	require.Zero(t, south.Stop(), south.Log())
	north, south = serve("north"), serve("south")
	assert.Equal(t, http.StatusGone, north.Status("/cases/north-1"))
	assert.Equal(t, all, rowsOf(south, "live"))
	for line, n := range told.all() {
		assert.Equal(t, 1, n, line)
	}

	// And back, after a move that was broken off once it had been let go.
	south.Do(http.MethodPost, "/api/cases/north-1/move", strings.NewReader(`{"to":"`+north.HTTP+`"}`), 200)
	out, status = Run(t, "move", "-case", "north-1", "-from", south.HTTP, "-to", north.HTTP)
	require.Zero(t, status, out)
	assert.Equal(t, all, rowsOf(north, "live"))
	assert.Equal(t, all, rowsOf(north, "plain"))
	assert.JSONEq(t, assessed, string(north.Do(http.MethodGet, "/api/cases/north-1/assessment", nil, 200)))
	assert.Equal(t, http.StatusGone, south.Status("/cases/north-1"))
	require.Zero(t, north.Stop(), north.Log())
	require.Zero(t, south.Stop(), south.Log())
	for line, n := range told.all() {
		assert.Equal(t, 1, n, line)
	}
	for _, dir := range dirs {
		out, status := Run(t, "check", "-data", dir)
		assert.Zero(t, status, out)
	}
}

// rows are the readings of loggers whose names begin so.
func rows(d *Daemon, logger string) (out []string) {
	for _, l := range strings.Split(string(d.Do(http.MethodGet, "/api/cases/north-1/readings.csv", nil, 200)), "\n") {
		if _, rest, ok := strings.Cut(l, ","); ok && strings.HasPrefix(rest, logger) {
			out = append(out, l)
		}
	}
	return out
}

func rowsOf(d *Daemon, logger string) int { return len(rows(d, logger+",")) }
