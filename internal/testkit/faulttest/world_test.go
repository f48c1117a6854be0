// Package faulttest treats the real daemon as the world does: full disks, scarce
// descriptors, idle and hostile clients, names meant to do harm, half-written
// configurations and clocks that jump. DEVELOPERS.md lists which test shows what.
package faulttest

import (
	"fmt"
	"net/http"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/patience"
)

func TestMain(m *testing.M) { crashtest.Main(m) }

const house = `case: larch-3
property: {label: 3 Larch Row, timezone: Europe/London, altitude_m: 60}
positions:
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
loggers:
  - {id: k1, interval_s: 300, accuracy: {temp_c: 0.3, rh_pct: 2}, fitted: [{position: void, from: 2026-01-01T00:00:00Z}]}
  - {id: k2, interval_s: 300, accuracy: {temp_c: 0.3}, fitted: [{position: slate, from: 2026-01-01T00:00:00Z}]}
`

// newHouse writes the case file.
func newHouse(d *crashtest.Daemon) {
	d.Do(http.MethodPut, "/api/cases/larch-3/file", strings.NewReader(house), 200, 201, 204)
}

var first = time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC)

// body is the n-th reading of a logger, five minutes apart.
func body(n int) string {
	return fmt.Sprintf(`{"time":%q,"temp_c":%.2f,"rh_pct":%d}`,
		first.Add(time.Duration(n)*5*time.Minute).Format(time.RFC3339), float64(n%700)/50-3, 60+n%41)
}

// winter is so many readings of both loggers as CSV.
func winter(n int) string {
	var b strings.Builder
	b.WriteString("time,logger,temp_c,rh_pct\n")
	for i := range n {
		at := first.Add(time.Duration(i) * 5 * time.Minute).Format(time.RFC3339)
		fmt.Fprintf(&b, "%s,k1,%.2f,%d\n%s,k2,%.2f,\n", at, float64(i%700)/50-3, 60+i%41, at, float64(i%650)/50-3.5)
	}
	return b.String()
}

// client is a logger on the usual library, with quality of service 1.
func client(t testing.TB, addr, id, user, password string) (paho.Client, error) {
	t.Helper()
	o := paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID(id).SetAutoReconnect(false).SetConnectTimeout(
		10 * time.Second)
	if user != "" {
		o.SetUsername(user).SetPassword(password)
	}
	c := paho.NewClient(o)
	tok := c.Connect()
	if !tok.WaitTimeout(patience.Long) {
		return nil, fmt.Errorf("no answer")
	}
	if tok.Error() == nil {
		t.Cleanup(func() { c.Disconnect(0) })
	}
	return c, tok.Error()
}

// send publishes and waits for the acknowledgement, so long.
func send(c paho.Client, topic, payload string, wait time.Duration) bool {
	tok := c.Publish(topic, 1, false, payload)
	return tok.WaitTimeout(wait) && tok.Error() == nil
}

// pid is the daemon's own, which it says in its log.
func pid(t testing.TB, d *crashtest.Daemon) int {
	t.Helper()
	var n int
	patience.Until(t, "the daemon says its pid", func() bool {
		m := regexp.MustCompile(`pid=(\d+)`).FindStringSubmatch(d.Log())
		if m == nil {
			return false
		}
		n, _ = strconv.Atoi(m[1])
		return true
	})
	return n
}

// cpuTime is the processor time that the process has used.
func cpuTime(t testing.TB, pid int) time.Duration {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	require.NoError(t, err)
	f := strings.Fields(string(b)[strings.LastIndexByte(string(b), ')')+2:])
	user, err := strconv.ParseInt(f[11], 10, 64)
	require.NoError(t, err)
	system, err := strconv.ParseInt(f[12], 10, 64)
	require.NoError(t, err)
	return time.Duration(user+system) * 10 * time.Millisecond // USER_HZ is 100
}

// rejected is the count of one reason.
func rejected(d *crashtest.Daemon, reason string) float64 {
	return d.Metric(`dewcase_readings_rejected_total{reason="` + reason + `"}`)
}

func itoa(n int) string { return strconv.Itoa(n) }
