package app_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/run/config"
)

// A mirror that is down must not be felt by loggers; the engine itself is
// tried for real in package influx.
func TestIngestGoesOnWhileTheMirrorIsDown(t *testing.T) {
	var mu sync.Mutex
	down, written := true, 0
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		defer mu.Unlock()
		if down {
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		if strings.HasSuffix(r.URL.Path, "/write") {
			written++
		}
		w.WriteHeader(http.StatusNoContent)
	}))
	defer server.Close()
	d := start(t, func(c *config.Config) {
		c.Store.Mirror, c.Store.Influx.URL, c.Store.Influx.Bucket = true, server.URL, "roofs"
	})
	_, _ = d.ask("PUT", "/api/cases/larch-3/file", house)
	for i := range 20 {
		d.publish("dewcase/larch-3/k1", fmt.Sprintf(`{"time":"2026-11-20T06:%02d:00Z","temp_c":4,"rh_pct":90}`, i), false)
	}
	assert.Equal(t, 20.0, d.metric("dewcase_readings_stored_total"))
	assert.Equal(t, 20.0, d.metric("dewcase_outbox_readings"))
	resp, body := d.ask("GET", "/readyz", "")
	assert.Equal(t, http.StatusOK, resp.StatusCode, body)
	require.Eventually(t, func() bool {
		_, body := d.ask("GET", "/readyz", "")
		return strings.HasPrefix(body, "ready\n") && strings.Contains(body, "InfluxDB takes no readings") &&
			strings.Contains(body, "20 wait for it")
	}, 10*time.Second, 100*time.Millisecond, "it is told, though readings are taken")
	mu.Lock()
	down = false
	mu.Unlock()
	require.Eventually(t, func() bool { return d.metric("dewcase_outbox_readings") == 0 }, 30*time.Second,
		200*time.Millisecond)
	mu.Lock()
	defer mu.Unlock()
	assert.Positive(t, written)
}
