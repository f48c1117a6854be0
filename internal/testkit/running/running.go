// Package running runs the daemon inside a test, on free ports and a folder of its
// own, by any clock, and asks it as people and loggers do.
package running

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/roof"
	"dewcase/internal/run/app"
	"dewcase/internal/run/config"
	"dewcase/internal/run/demo"
	"dewcase/internal/testkit/patience"
)

// Daemon runs until its test ends, or Stop.
type Daemon struct {
	T          testing.TB
	App        *app.App
	HTTP, MQTT string // URLs; MQTT is "" behind an outside broker
	Stop       func()
}

// Start runs a daemon; change may be nil.
func Start(t testing.TB, change func(*config.Config)) *Daemon {
	t.Helper()
	return StartAt(t, time.Now, change)
}

// StartAt runs it by a clock of the test's.
func StartAt(t testing.TB, now func() time.Time, change func(*config.Config)) *Daemon {
	t.Helper()
	c := config.Default()
	c.Data, c.HTTP.Listen, c.MQTT.Listen = t.TempDir(), "127.0.0.1:0", "127.0.0.1:0"
	if change != nil {
		change(&c)
	}
	a, err := app.New(t.Context(), app.Options{Config: c, Version: "test", Now: now, Log: slog.New(slog.DiscardHandler),
		Out: io.Discard})
	require.NoError(t, err)
	addresses := append(a.Addresses(), "")
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- a.Run(ctx) }()
	stop := sync.OnceFunc(func() {
		cancel()
		assert.NoError(t, <-done)
	})
	t.Cleanup(stop)
	return &Daemon{T: t, App: a, HTTP: addresses[0], MQTT: addresses[1], Stop: stop}
}

// Ticking is a clock that begins at a moment and goes on as fast as time does, so
// that no test depends on the hour at which it runs.
func Ticking(from time.Time) func() time.Time {
	began := time.Now()
	return func() time.Time { return from.Add(time.Since(began)) }
}

// loaded ends when the demo says that its history was published.
type loaded chan struct{}

func (l loaded) Write(b []byte) (int, error) {
	if bytes.Contains(b, []byte("are loaded")) {
		close(l)
	}
	return len(b), nil
}

// WithDemo runs a daemon with the demo's houses and their winter in it.
func WithDemo(t testing.TB) *Daemon {
	t.Helper()
	return WithDemoAt(t, time.Now, nil)
}

// WithDemoAt runs it by a clock of the test's; change may be nil.
func WithDemoAt(t testing.TB, now func() time.Time, change func(*config.Config)) *Daemon {
	t.Helper()
	d := StartAt(t, now, change)
	houses, err := demo.Invent(now())
	require.NoError(t, err)
	for _, f := range houses.CaseFiles() {
		resp, body := d.Ask("PUT", "/api/cases/"+f.ID+"/file", string(f.YAML))
		require.Equal(t, http.StatusCreated, resp.StatusCode, body)
	}
	ctx, stop := context.WithCancel(t.Context())
	done, in := make(chan error, 1), make(loaded)
	go func() { done <- houses.Run(ctx, demo.Options{Broker: d.MQTT, Progress: in, Now: now}) }()
	select {
	case <-in:
	case err := <-done:
		require.NoError(t, err)
	case <-time.After(5 * patience.Long):
		require.FailNow(t, "the demo's history did not load")
	}
	stop()
	require.NoError(t, <-done)
	return d
}

// Ask sends a request, following no redirect, and reads the answer; headers are
// name and value in turn.
func (d *Daemon) Ask(method, path, body string, header ...string) (*http.Response, string) {
	d.T.Helper()
	r, err := http.NewRequest(method, d.HTTP+path, strings.NewReader(body))
	require.NoError(d.T, err)
	for i := 0; i+1 < len(header); i += 2 {
		if header[i] == "Host" {
			r.Host = header[i+1]
			continue
		}
		r.Header.Set(header[i], header[i+1])
	}
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Do(r)
	require.NoError(d.T, err)
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	require.NoError(d.T, err)
	return resp, string(b)
}

// Patient gets a page that may still be being worked out, or whose seats are taken.
func (d *Daemon) Patient(path string) (page string) {
	d.T.Helper()
	patience.Until(d.T, path+" is answered", func() bool {
		resp, body := d.Ask("GET", path, "")
		page = body
		if busy := resp.StatusCode; busy == http.StatusServiceUnavailable || busy == http.StatusTooManyRequests {
			return false
		}
		require.Equal(d.T, http.StatusOK, resp.StatusCode, "%s: %.300s", path, body)
		return true
	})
	return page
}

// Publish sends a message as a logger and waits for its acknowledgement.
func (d *Daemon) Publish(topic, payload string, retained bool) {
	d.T.Helper()
	o := mqtt.NewClientOptions().AddBroker(strings.Replace(d.MQTT, "mqtt://", "tcp://", 1)).SetClientID(
		"t").SetAutoReconnect(false)
	c := mqtt.NewClient(o)
	require.NoError(d.T, Done(c.Connect()))
	defer c.Disconnect(100)
	require.NoError(d.T, Done(c.Publish(topic, 1, retained, payload)))
}

// Done waits until the broker has answered.
func Done(token mqtt.Token) error {
	if !token.WaitTimeout(patience.Long) {
		return fmt.Errorf("not acknowledged in %v", patience.Long)
	}
	return token.Error()
}

// Metric is a figure of /metrics, with its labels as they stand there.
func (d *Daemon) Metric(name string) float64 {
	d.T.Helper()
	_, body := d.Ask("GET", "/metrics", "")
	for line := range strings.Lines(body) {
		var v float64
		if rest, ok := strings.CutPrefix(line, name+" "); ok {
			_, err := fmt.Sscan(rest, &v)
			require.NoError(d.T, err)
			return v
		}
	}
	require.FailNow(d.T, "no metric "+name)
	return 0
}

// Put makes a house of a case and its readings, of which there may be none.
func (d *Daemon) Put(c *roof.Case, readings iter.Seq2[roof.Reading, error]) string {
	d.T.Helper()
	file, err := casefile.Format(c)
	require.NoError(d.T, err)
	resp, body := d.Ask("PUT", "/api/cases/"+c.ID+"/file", string(file))
	require.Equal(d.T, http.StatusCreated, resp.StatusCode, body)
	var rows bytes.Buffer
	n, err := csvreadings.Write(&rows, readings)
	require.NoError(d.T, err)
	if n == 0 {
		return c.ID // just made
	}
	resp, body = d.Ask("POST", "/api/cases/"+c.ID+"/readings", rows.String(), "Content-Type", "text/csv")
	require.Equal(d.T, http.StatusOK, resp.StatusCode, "%.400s", body)
	return c.ID
}
