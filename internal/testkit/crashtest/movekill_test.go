package crashtest

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

// remarks are what people put into a case file beside the roof itself.
const remarks = `events: [{at: 2026-11-20T09:00:00Z, kind: note, what: family away}]
excluded: [{from: 2026-11-19T00:00:00Z, to: 2026-11-19T06:00:00Z, position: void, reason: taken out for a check}]
`

// instance is a daemon that keeps its address through kills.
type instance struct {
	*Daemon
	name, data, addr, config string
	start                    func() *Daemon
}

func freeAddr(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// again kills it and starts it anew.
func (i *instance) again() {
	i.Kill()
	i.Daemon = i.start()
}

// told is a receiver of messages that refuses them until it is opened.
type told struct {
	*bells
	open    atomic.Bool
	refused atomic.Int64
}

func newTold(t *testing.T) *told {
	x := &told{bells: &bells{got: map[string]int{}}}
	x.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		var m struct{ To, Kind, Subject string }
		body, _ := io.ReadAll(q.Body)
		_ = json.Unmarshal(body, &m)
		if !x.open.Load() {
			x.refused.Add(1)
			http.Error(w, "closed", http.StatusServiceUnavailable)
			return
		}
		x.mu.Lock()
		defer x.mu.Unlock()
		x.got[m.To+" "+m.Kind+" "+m.Subject]++
	}))
	t.Cleanup(x.Close)
	return x
}

// A move goes through however often the receiving instance, the giving one and the
// command itself are killed, at ever later moments up to the last one: everything
// that is kept of the house is at its new place once, and what was withdrawn there is
// not in force again when it moves back.
func TestAHouseThatMovesThroughKillsIsWhole(t *testing.T) {
	broker, people := mosquittotest.Start(t, mosquittotest.Quick), newTold(t)
	secret := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(secret, []byte("a long enough secret"), 0o600))
	serve := func(name string) *instance {
		i := &instance{name: name, data: t.TempDir(), addr: freeAddr(t)}
		file := filepath.Join(t.TempDir(), "dewcase.yaml")
		require.NoError(t, os.WriteFile(file, fmt.Appendf(nil, "cases: [%q]\n"+
			"mqtt: {client_id: %s, topics: [dewcase/#, mesh/#]}\nalerts: {webhook: {url: %q, secret_file: %q, "+
			"allow_private: yes}}\n", name+"-*", name, people.URL, secret), 0o600))
		i.start = func() *Daemon {
			d := Serve(t, i.data, "-config", file, "-http", i.addr, "-broker", "mqtt://"+broker.Addr())
			patience.Until(t, "subscribed", func() bool { return d.Status("/readyz") == http.StatusOK })
			return d
		}
		return i
	}
	north, south := serve("north"), serve("south")
	putIn := importFiles(t, north.data, 8)
	north.Daemon, south.Daemon = north.start(), south.start()
	north.Do(http.MethodPut, "/api/cases/north-1/file", strings.NewReader(dampHouse+remarks), 200, 204)
	north.Do(http.MethodPost, "/api/cases/north-1/readings", strings.NewReader(dampRecord(time.Now())), 200)
	for _, bad := range []string{
		"2026-11-01T00:00:00Z,k1,300,50\n2026-11-01T00:10:00Z,k1,3,500\n2026-11-01T00:15:00Z,k1,3,50",
		"2026-11-01T00:20:00Z,k1,4,50", "2026-11-01T00:20:00Z,k1,5,50"} {
		body := "time,logger,temp_c,rh_pct\n" + bad + "\n"
		north.Do(http.MethodPost, "/api/cases/north-1/readings", strings.NewReader(body), 200)
	}
	form := func(d *instance, path string, keys url.Values) string {
		resp, err := d.Client.PostForm(d.HTTP+path, keys)
		require.NoError(t, err)
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		require.Equal(t, 200, resp.StatusCode, "%s: %s", path, body)
		if strings.HasSuffix(path, "/mappings") {
			require.Contains(t, resp.Request.URL.String(), "saved=1", "%s", body)
		}
		return string(body)
	}
	form(north, "/cases/north-1/mappings", url.Values{"version": {"0"}, "text": {
		`- {topic: "mesh/{logger}", case: north-1, fields: [{quantity: temp_c, pointer: /t, unit: C}]}` + "\n"}})
	link := func(d *instance) string {
		found := regexp.MustCompile(`http://[0-9.:]+(/home/[A-Za-z0-9_-]+)`).FindStringSubmatch(
			form(d, "/cases/north-1/alerts/link", nil))
		require.NotEmpty(t, found)
		return found[1]
	}
	household := link(north)
	patience.Until(t, "the household is to be told", func() bool {
		return strings.Contains(string(north.Do(http.MethodGet, "/api/cases/north-1/alerts", nil, 200)), `"surface_wet"`) &&
			people.refused.Load() > 0
	})
	kept := func(d *instance) map[string]string {
		out := map[string]string{}
		for _, path := range []string{"file", "rejects", "conflicts", "assessment", "alerts"} {
			out[path] = string(d.Do(http.MethodGet, "/api/cases/north-1/"+path, nil, 200))
		}
		var history []map[string]any
		require.NoError(t, json.Unmarshal(d.Do(http.MethodGet, "/api/cases/north-1/file/history", nil, 200), &history))
		out["versions"] = fmt.Sprint(len(history))
		for _, path := range []string{"rejects", "conflicts"} { // their numbers are the store's own
			out[path] = regexp.MustCompile(`"id":[0-9]+,?`).ReplaceAllString(out[path], "")
		}
		out["fitted"] = strings.Join(rows(d.Daemon, "k"), "\n")
		_, written, _ := strings.Cut(string(d.Do(http.MethodGet, "/cases/north-1/mappings", nil, 200)), "<textarea")
		written, _, _ = strings.Cut(written, "</textarea>")
		out["mapping"] = fmt.Sprint(strings.Contains(written, "mesh/{logger}"))
		for _, sum := range putIn {
			out[sum] = string(d.Do(http.MethodGet, "/cases/north-1/files/original/"+sum, nil, 200))
		}
		return out
	}
	before := kept(north)
	require.Equal(t, "true", before["mapping"])
	require.Contains(t, before["rejects"], "temp_out_of_range")
	require.Contains(t, before["conflicts"], "k1")

	stop, sent := sendOn(t, broker.Addr())
	patience.Until(t, "readings come", func() bool { return rowsOf(north.Daemon, "plain") >= 30 })
	hit := moveThroughKills(t, north, south)
	assert.GreaterOrEqual(t, hit, 3, "the move was interrupted")
	seen := rowsOf(south.Daemon, "live")
	patience.Until(t, "readings go on coming", func() bool { return rowsOf(south.Daemon, "live") >= seen+20 })
	close(stop)
	all := <-sent
	for _, logger := range []string{"live", "plain"} {
		patience.Until(t, fmt.Sprintf("all %d of %s have come", all, logger), func() bool {
			return rowsOf(south.Daemon, logger) >= all
		})
	}
	time.Sleep(time.Second) // what would come twice would come now
	assert.Equal(t, all, rowsOf(south.Daemon, "live"))
	assert.Equal(t, all, rowsOf(south.Daemon, "plain"), "messages without a time: one each")
	for what, was := range before {
		assert.Equal(t, was, kept(south)[what], what)
	}
	assert.Equal(t, http.StatusOK, south.Status(household))

	// The letters that waited go out once, from the new place alone.
	assert.Empty(t, people.all())
	people.open.Store(true)
	patience.Until(t, "the household is told", func() bool {
		return slices.ContainsFunc(slices.Collect(maps.Keys(people.all())), func(l string) bool {
			return strings.HasPrefix(l, "household ")
		})
	})
	time.Sleep(2 * time.Second)
	for line, n := range people.all() {
		assert.Equal(t, 1, n, line)
	}

	// Withdrawn there, and moved back: not in force again.
	form(south, "/cases/north-1/alerts/unlink", nil)
	form(south, "/cases/north-1/mappings", url.Values{"version": {"1"}, "text": {""}})
	newer := link(south)
	out, status := Run(t, "move", "-case", "north-1", "-from", south.HTTP, "-to", north.HTTP, "-blind")
	require.Zero(t, status, out)
	assert.Equal(t, http.StatusNotFound, north.Status(household), "a link that was withdrawn")
	assert.Equal(t, http.StatusOK, north.Status(newer))
	back := kept(north)
	assert.Equal(t, "false", back["mapping"])
	assert.Equal(t, before["rejects"], back["rejects"])
	assert.Equal(t, before["conflicts"], back["conflicts"])
	assert.Equal(t, all, rowsOf(north.Daemon, "plain"))
	for line, n := range people.all() {
		assert.Equal(t, 1, n, line)
	}
	for _, d := range []*instance{north, south} {
		require.Zero(t, d.Stop(), d.Log())
		out, status := Run(t, "check", "-data", d.data)
		assert.Zero(t, status, out)
	}
}

// moveThroughKills moves the house, and kills one side or the command ever later after
// it began until it gets through; it gives how often that was.
func moveThroughKills(t *testing.T, north, south *instance) (hit int) {
	for after := 20 * time.Millisecond; ; after = after * 5 / 4 {
		cmd := exec.Command(Binary(t), "move", "-case", "north-1", "-from", "http://"+north.addr, "-to",
			"http://"+south.addr, "-wait", "1m")
		var out strings.Builder
		cmd.Stdout, cmd.Stderr = &out, &out
		require.NoError(t, cmd.Start())
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		select {
		case err := <-ended:
			if err == nil {
				return hit
			}
			t.Logf("the command ended by itself: %s", &out)
			continue
		case <-time.After(after):
		}
		switch hit % 5 {
		default:
			south.again()
		case 1:
			north.again()
		case 3:
			_ = cmd.Process.Kill()
		}
		hit++
		if err := <-ended; err == nil {
			return hit
		}
		require.Less(t, after, 2*time.Minute, out.String())
	}
}

// importFiles puts some exports of a logger into a data folder and gives their
// digests.
func importFiles(t *testing.T, data string, n int) (sums []string) {
	dir := t.TempDir()
	file := filepath.Join(dir, "case.yaml")
	require.NoError(t, os.WriteFile(file, []byte(dampHouse), 0o600))
	args := []string{"import", "-case", file, "-data", data, "-as", "auto", "-zone", "Europe/London", "-logger", "k0"}
	for k := range n {
		export := filepath.Join(dir, fmt.Sprintf("k0-%02d.csv", k))
		var b strings.Builder
		b.WriteString("Date/Time,Temperature (°C),Humidity (%RH)\n")
		at := time.Date(2026, 9, 1+k, 0, 0, 0, 0, time.UTC)
		for m := range 24 * 60 {
			fmt.Fprintf(&b, "%s,%.2f,%.1f\n", at.Add(time.Duration(m)*time.Minute).Format("2006-01-02 15:04:05"),
				18+float64(m%60)/50, 50+float64(m%40)/10)
		}
		require.NoError(t, os.WriteFile(export, []byte(b.String()), 0o600))
		args = append(args, "-readings", export)
	}
	out, status := Run(t, args...)
	require.Zero(t, status, out)
	found, err := filepath.Glob(filepath.Join(data, "files", "originals", "*"))
	require.NoError(t, err)
	require.Len(t, found, n, out)
	for _, f := range found {
		sums = append(sums, strings.TrimSuffix(filepath.Base(f), filepath.Ext(f)))
	}
	return sums
}

// sendOn sends readings of two loggers, with and without a time, until stop is closed.
// Values do not come again within the moments in which a daemon that was killed takes
// equal ones for the same message.
func sendOn(t *testing.T, broker string) (stop chan struct{}, sent chan int) {
	p := NewPublisher(broker, "gateway", 100)
	t.Cleanup(p.Close)
	stop, sent = make(chan struct{}), make(chan int, 1)
	began := time.Now().Add(-48 * time.Hour).Truncate(time.Second).UTC()
	var sending sync.WaitGroup
	sending.Go(func() {
		for n := 0; ; n++ {
			at := began.Add(time.Duration(n) * time.Second).Format(time.RFC3339)
			for _, s := range []Sent{{Topic: "dewcase/north-1/live", Payload: fmt.Appendf(nil,
				`{"time":%q,"temp_c":%.2f,"rh_pct":80}`, at, float64(n%5000)/100)},
				{Topic: "dewcase/north-1/plain", Payload: fmt.Appendf(nil, `{"temp_c":%.2f}`, float64(n%5000)/100)}} {
				if err := p.Send(s); err != nil {
					t.Error(err)
				}
			}
			select {
			case <-stop:
				if err := p.Flush(); err != nil {
					t.Error(err)
				}
				sent <- n + 1
				return
			case <-time.After(60 * time.Millisecond):
			}
		}
	})
	return stop, sent
}
