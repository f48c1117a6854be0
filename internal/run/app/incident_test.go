package app_test

import (
	"bytes"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/run/app"
	"dewcase/internal/run/config"
	"dewcase/internal/testkit/running"
)

// once runs a daemon on a folder for as long as do takes.
func once(t *testing.T, data string, do func(d *running.Daemon)) {
	t.Helper()
	t.Run("on the folder", func(t *testing.T) { do(running.Start(t, func(c *config.Config) { c.Data = data })) })
}

// An older copy of the database, put back while the daemon was stopped, is shown
// wherever somebody looks until a person confirms it, over restarts.
func TestAnOlderCopyOfTheStoreStandsUntilAPersonConfirmsIt(t *testing.T) {
	data := t.TempDir()
	file := filepath.Join(data, "dewcase.db")
	once(t, data, func(d *running.Daemon) { _, _ = d.Ask("PUT", "/api/cases/larch-3/file", house) })
	older, err := os.ReadFile(file)
	require.NoError(t, err)
	once(t, data, func(d *running.Daemon) {
		d.Publish("dewcase/larch-3/k1", `{"time":"2026-11-20T06:00:00Z","temp_c":4,"rh_pct":90}`, false)
		resp, _ := d.Ask("GET", "/readyz", "")
		assert.Equal(t, http.StatusOK, resp.StatusCode)
	})
	require.NoError(t, os.WriteFile(file, older, 0o600))
	const words = "replaced by an older copy"
	for range 2 {
		once(t, data, func(d *running.Daemon) {
			resp, body := d.Ask("GET", "/readyz", "")
			assert.Equal(t, http.StatusServiceUnavailable, resp.StatusCode)
			assert.Contains(t, body, words)
			assert.Equal(t, 1.0, d.Metric("dewcase_store_incidents"))
			_, page := d.Ask("GET", "/alerts", "")
			assert.Contains(t, page, words)
			assert.Contains(t, page, "nobody has confirmed it")
			d.Publish("dewcase/larch-3/k1", `{"time":"2026-11-20T07:00:00Z","temp_c":4,"rh_pct":90}`, false)
		})
	}
	once(t, data, func(d *running.Daemon) {
		_, page := d.Ask("GET", "/alerts", "")
		form := regexp.MustCompile(`(?s)<form method="post" action="(/alerts/confirm)"><input type="hidden" name="until" ` +
			`value="([^"]+)"`).FindStringSubmatch(page)
		require.Len(t, form, 3, page)
		resp, err := http.PostForm(d.HTTP+form[1], url.Values{"until": {form[2]}})
		require.NoError(t, err)
		shown, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		require.NoError(t, resp.Body.Close())
		require.Equal(t, http.StatusOK, resp.StatusCode)
		assert.Contains(t, string(shown), words)
		assert.Contains(t, string(shown), "confirmed by consultant")
		assert.NotContains(t, string(shown), "nobody has confirmed it")
		ready, body := d.Ask("GET", "/readyz", "")
		assert.Equal(t, http.StatusOK, ready.StatusCode, body)
		assert.Zero(t, d.Metric("dewcase_store_incidents"))
	})
	once(t, data, func(d *running.Daemon) {
		resp, _ := d.Ask("GET", "/readyz", "")
		assert.Equal(t, http.StatusOK, resp.StatusCode, "what is known stays known")
	})
}

// With the database gone and its mark there, an empty store would acknowledge
// and reject the readings of a house it knew yesterday.
func TestADaemonDoesNotBeginWithAnEmptyStoreWhereOneWasInUse(t *testing.T) {
	data := t.TempDir()
	once(t, data, func(d *running.Daemon) { _, _ = d.Ask("PUT", "/api/cases/larch-3/file", house) })
	require.NoError(t, os.Remove(filepath.Join(data, "dewcase.db")))
	c := config.Default()
	c.Data, c.HTTP.Listen, c.MQTT.Listen = data, "127.0.0.1:0", "127.0.0.1:0"
	opt := app.Options{Config: c, Log: slog.New(slog.DiscardHandler), Out: &bytes.Buffer{}}
	_, err := app.New(t.Context(), opt)
	require.ErrorContains(t, err, data)
	require.ErrorContains(t, err, "dewcase.db is missing")
	require.ErrorContains(t, err, "-new-store")
	opt.NewStore = true
	a, err := app.New(t.Context(), opt)
	require.NoError(t, err)
	require.NoError(t, a.Stop())
}
