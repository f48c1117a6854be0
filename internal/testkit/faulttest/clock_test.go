package faulttest

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/run/app"
	"dewcase/internal/run/config"
	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/patience"
)

// Row 35: what a logger's clock says is bounded, what is doubtful is flagged and
// kept, and the hour that an autumn night has twice is two hours.
func TestWrongClocksOfLoggersAreBoundedAndFlagged(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	newHouse(d)
	c, err := client(t, d.MQTT, "logger", "", "")
	require.NoError(t, err)
	now := time.Now().UTC().Truncate(time.Second)
	say := func(at string) {
		require.True(t, send(c, "dewcase/larch-3/k1", fmt.Sprintf(`{"time":%q,"temp_c":4,"rh_pct":80}`, at), patience.Long))
	}
	stored := func() float64 { return d.Metric("dewcase_readings_stored_total") }
	say("1970-01-01T00:00:00Z")
	say(now.AddDate(1, 0, 0).Format(time.RFC3339))
	say(now.Add(25 * time.Hour).Format(time.RFC3339))
	require.Zero(t, stored())
	require.EqualValues(t, 3, rejected(d, "time_too_old")+rejected(d, "time_ahead"), "%s",
		d.Do(http.MethodGet, "/metrics", nil, 200))
	say(now.Add(5 * time.Minute).Format(time.RFC3339))
	say("2025-10-26T01:30:00+01:00") // summer time
	say("2025-10-26T01:30:00Z")      // the same by the kitchen clock, an hour later
	require.True(t, send(c, "dewcase/larch-3/k1", `{"temp_c":4.5,"rh_pct":81}`, patience.Long))
	require.EqualValues(t, 4, stored())
	rows := string(d.Do(http.MethodGet, "/api/cases/larch-3/readings.csv", nil, 200))
	require.Contains(t, rows, "2025-10-26T00:30:00")
	require.Contains(t, rows, "2025-10-26T01:30:00")
	require.Zero(t, d.Stop(), d.Log())
}

// Row 36: the host's clock jumps a day ahead and back, as where it has none of its
// own and hears the time late. The daemon's clock is injected, since a static
// program's cannot be shifted from outside.
func TestAHostClockThatJumpsLosesAndInventsNothing(t *testing.T) {
	var shift atomic.Int64
	real := time.Now().UTC().Truncate(time.Second)
	began := time.Now()
	now := func() time.Time { return real.Add(time.Since(began) + time.Duration(shift.Load())).UTC() }
	c := config.Default()
	c.Data, c.HTTP.Listen, c.MQTT.Listen = t.TempDir(), "127.0.0.1:0", "127.0.0.1:0"
	var out bytes.Buffer
	a, err := app.New(t.Context(), app.Options{Config: c, Version: "test", Log: slog.New(slog.DiscardHandler), Out: &out,
		Now: now})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- a.Run(ctx) }()
	defer func() { stop(); require.NoError(t, <-ended) }()
	require.NoError(t, a.PutCase(t.Context(), "larch-3", []byte(house), "test"))
	at := a.Addresses()[0]
	get := func(path string) string {
		resp, err := http.Get(at + path)
		require.NoError(t, err)
		defer resp.Body.Close()
		b, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		require.Equal(t, http.StatusOK, resp.StatusCode, "%s: %s", path, b)
		return string(b)
	}
	l, err := client(t, a.MQTTAddr(), "logger", "", "")
	require.NoError(t, err)
	sent := 0
	say := func(payload string) {
		require.True(t, send(l, "dewcase/larch-3/k1", payload, patience.Long))
		sent++
	}
	own := func(back time.Duration) string {
		return fmt.Sprintf(`{"time":%q,"temp_c":5,"rh_pct":80}`, real.Add(-back).Format(time.RFC3339))
	}
	for i, jump := range []time.Duration{0, 24 * time.Hour, 0, -24 * time.Hour, 0, 23 * time.Hour} {
		shift.Store(int64(jump))
		say(fmt.Sprintf(`{"temp_c":%d,"rh_pct":70}`, i)) // without a time: that of arrival, flagged
		say(own(time.Duration(i+1) * 30 * time.Minute))  // with its own, which does not move
		for _, path := range []string{"/readyz", "/metrics", "/", "/cases/larch-3", "/api/cases/larch-3/assessment",
			"/api/cases/larch-3/alerts"} {
			get(path)
		}
	}
	require.Equal(t, sent, strings.Count(get("/api/cases/larch-3/readings.csv"), "\n")-1, "each is there once")
	var line struct {
		Time      []time.Time
		Positions []struct {
			Position string
			Coverage []*float64
		}
	}
	require.NoError(t, json.Unmarshal([]byte(get("/api/cases/larch-3/timeline?step=3600")), &line))
	require.NotEmpty(t, line.Time)
	for i := 1; i < len(line.Time); i++ {
		require.Equal(t, time.Hour, line.Time[i].Sub(line.Time[i-1]), "time runs forward")
	}
	for _, p := range line.Positions {
		for _, x := range p.Coverage {
			require.True(t, x == nil || *x >= 0 && *x <= 1, "no negative interval")
		}
	}
	// Set back by more than the day allowed, a good clock seems to run ahead: refused and counted, not re-dated.
	shift.Store(int64(-48 * time.Hour))
	say(own(0))
	require.Equal(t, sent-1, strings.Count(get("/api/cases/larch-3/readings.csv"), "\n")-1)
	require.Contains(t, get("/metrics"), `dewcase_readings_rejected_total{reason="time_ahead"} 1`)
}
