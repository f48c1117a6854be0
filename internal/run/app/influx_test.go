package app_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/run/config"
	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/running"
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
	d := running.Start(t, func(c *config.Config) {
		c.Store.Mirror, c.Store.Influx.URL, c.Store.Influx.Bucket = true, server.URL, "roofs"
	})
	_, _ = d.Ask("PUT", "/api/cases/larch-3/file", house)
	for i := range 20 {
		d.Publish("dewcase/larch-3/k1", fmt.Sprintf(`{"time":"2026-11-20T06:%02d:00Z","temp_c":4,"rh_pct":90}`, i), false)
	}
	assert.Equal(t, 20.0, d.Metric("dewcase_readings_stored_total"))
	assert.Equal(t, 20.0, d.Metric("dewcase_outbox_readings"))
	resp, body := d.Ask("GET", "/readyz", "")
	assert.Equal(t, http.StatusOK, resp.StatusCode, body)
	patience.Until(t, "it is told, though readings are taken", func() bool {
		_, body := d.Ask("GET", "/readyz", "")
		return strings.HasPrefix(body, "ready\n") && strings.Contains(body, "InfluxDB takes no readings") &&
			strings.Contains(body, "20 wait for it")
	})
	mu.Lock()
	down = false
	mu.Unlock()
	patience.Until(t, "none waits", func() bool { return d.Metric("dewcase_outbox_readings") == 0 })
	mu.Lock()
	defer mu.Unlock()
	assert.Positive(t, written)
}
