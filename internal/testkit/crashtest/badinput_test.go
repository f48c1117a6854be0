package crashtest

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

// rejected adds up the daemon's rejects by reason.
func rejected(d *Daemon) (byReason map[string]int, total int) {
	byReason = map[string]int{}
	for _, m := range regexp.MustCompile(`(?m)^dewcase_readings_rejected_total\{reason="([a-z_0-9]+)"\} ([0-9.e+]+)$`).
		FindAllStringSubmatch(string(d.Do(http.MethodGet, "/metrics", nil, 200)), -1) {
		n, _ := strconv.ParseFloat(m[2], 64)
		byReason[m[1]] += int(n)
		total += int(n)
	}
	return byReason, total
}

// badMessages are one counted reject each, over either broker.
func badMessages() []Sent {
	native := "dewcase/" + caseID + "/k00"
	body := func(s string) []byte { return []byte(s) }
	var out []Sent
	for _, payload := range [][]byte{
		make([]byte, 10<<20),
		bytes.Repeat([]byte("["), 100000),
		body(strings.Repeat(`{"a":`, 100000) + "1" + strings.Repeat("}", 100000)),
		body(`{"temp_c":NaN}`), body(`{"temp_c":Infinity}`), body(`{"temp_c":1e400}`), body(`{"temp_c":"unavailable"}`),
		body(`{"temp_c":true}`), body(`{"temp_c":4.1,"temp_c":4.2}`), body("{\"temp_c\":4.1,\"note\":\"\xff\xfe\"}"),
		body(""), body("null"), body("{}"), body(`{"temp_c":null}`), body(`{"temp_c":-127}`), body(`{"temp_c":200}`),
		body(`{"rh_pct":127.5}`),
		body(`{"temp_c":4.1,"time":"1970-01-01T00:00:00Z"}`), body(`{"temp_c":4.1,"time":"2999-01-01T00:00:00Z"}`),
		body(`{"temp_c":4.1,"time":"yesterday"}`), body(`{"temp_c":4.1} {"temp_c":4.2}`),
	} {
		out = append(out, Sent{Topic: native, Payload: payload})
	}
	good := body(`{"temp_c":4.1}`)
	for _, topic := range []string{"dewcase/unknown-case/k00", "dewcase/../k00", "dewcase/" + caseID + "/../k00",
		"dewcase/" + caseID + "/<script>",
		"dewcase/" + caseID + "/k 1", "dewcase/" + caseID + "/🏠\u202e", "dewcase/" + caseID,
		"dewcase/" + strings.Repeat("x/", 150),
		"dewcase/" + strings.Repeat("y", 65000)} {
		out = append(out, Sent{Topic: topic, Payload: good})
	}
	return out
}

func badInput(t *testing.T, d *Daemon, addr string, more []Sent) {
	t.Helper()
	d.Do(http.MethodPut, "/api/cases/"+caseID+"/file", strings.NewReader(caseFile()), 200, 201, 204)
	p := NewPublisher(addr, "bad", 8)
	t.Cleanup(p.Close)
	bad := append(badMessages(), more...)
	for i, s := range bad {
		s.N = i
		require.NoError(t, p.Send(s))
		require.NoError(t, p.Send(message(1000+i))) // a good one beside each
	}
	require.NoError(t, p.Flush(), "what is rejected is acknowledged")
	require.Equal(t, 2*len(bad), p.AckedCount())
	require.Zero(t, p.Resent(), "no connection was lost over it")
	patience.Until(t, "the good ones are stored", func() bool {
		return d.Metric("dewcase_readings_stored_total") >= float64(
			len(bad))
	})
	var reasons map[string]int
	patience.Until(t, "the bad ones are counted", func() bool {
		var n int
		reasons, n = rejected(d)
		return n >= len(bad)
	})
	_, n := rejected(d)
	require.Equal(t, len(bad), n, "one count each: %v", reasons)
	require.Equal(t, 1, reasons["too_large"], "%v", reasons)
	require.Equal(t, 1, reasons["unknown_case"], "%v", reasons)
	require.Equal(t, float64(len(bad)), d.Metric("dewcase_readings_stored_total"))

	// Ten thousand names nobody knows: 200 are kept.
	for i := range 10000 {
		s := Sent{N: 10000 + i, Topic: fmt.Sprintf("dewcase/%s/new-%05d", caseID, i),
			Payload: []byte(`{"time":"2026-01-02T00:00:00Z","temp_c":4.1}`)}
		require.NoError(t, p.Send(s))
	}
	require.NoError(t, p.Flush())
	patience.Until(t, "all names judged", func() bool {
		reasons, _ = rejected(d)
		return reasons["too_many_loggers"] == 9800
	})
	require.Equal(t, float64(len(bad)+200), d.Metric("dewcase_readings_stored_total"))
	require.Less(t, d.PeakRSS(), int64(maxRSS))
	require.Zero(t, d.Stop(), d.Log())
}

func TestBadMessagesCostThemselvesOnlyAtTheEmbeddedBroker(t *testing.T) {
	d := Serve(t, t.TempDir())
	good := []byte(`{"temp_c":4.1}`)
	// Topics that Mosquitto would not let through to us.
	badInput(t, d, d.MQTT, []Sent{{Topic: "dewcase/" + caseID + "/k\x00", Payload: good},
		{Topic: "dewcase/+/k00", Payload: good},
		{Topic: "$SYS/broker/uptime", Payload: good}, {Topic: "dewcase/" + caseID + "/\xff", Payload: good}})
}

func TestBadMessagesCostThemselvesOnlyBehindMosquitto(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	d := Serve(t, t.TempDir(), "-broker", "mqtt://"+b.Addr())
	patience.Until(t, "subscribed", func() bool { return d.Status("/readyz") == http.StatusOK })
	badInput(t, d, b.Addr(), nil)
}

func TestOfTwoContradictingReadingsTheFirstSentIsKept(t *testing.T) {
	d := Serve(t, t.TempDir())
	d.Do(http.MethodPut, "/api/cases/"+caseID+"/file", strings.NewReader(caseFile()), 201)
	p := NewPublisher(d.MQTT, "twice", 1000)
	defer p.Close()
	const n = 300
	for i := range n { // without waiting in between
		first := message(i)
		second := first
		second.Payload = fmt.Appendf(nil, `{"time":%q,"temp_c":99}`,
			firstReading.Add(time.Duration(i)*time.Second).Format(time.RFC3339))
		require.NoError(t, p.Send(first))
		require.NoError(t, p.Send(second))
		require.NoError(t, p.Send(first)) // once more: a duplicate
	}
	require.NoError(t, p.Flush())
	require.Len(t, stored(t, d), n) // compares the values
	require.EqualValues(t, n, d.Metric("dewcase_readings_conflict_total"))
	require.EqualValues(t, n, d.Metric("dewcase_readings_duplicate_total"))
}

func TestABacklogOutOfOrderGivesTheSameHours(t *testing.T) {
	const house = `case: order-1
property: {label: Order House, timezone: Europe/London, altitude_m: 60}
positions:
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
loggers:
  - {id: air, interval_s: 300, accuracy: {temp_c: 0.3, rh_pct: 2.0}, fitted: [{position: void, from: 2026-01-01T00:00:00Z}]}
  - {id: skin, interval_s: 300, accuracy: {temp_c: 0.3}, fitted: [{position: slate, from: 2026-01-01T00:00:00Z}]}
`
	var all []Sent
	for i := range 3 * 288 { // three days
		at := time.Date(2026, 1, 10, 0, 5*i, 0, 0, time.UTC).Format(time.RFC3339)
		temp := 4 + 3*float64(i%288)/288
		all = append(all, Sent{Topic: "dewcase/order-1/air",
			Payload: fmt.Appendf(nil, `{"time":%q,"temp_c":%.2f,"rh_pct":%d}`, at, temp, 75+i%25)},
			Sent{Topic: "dewcase/order-1/skin", Payload: fmt.Appendf(nil, `{"time":%q,"temp_c":%.2f}`, at,
				temp-float64(i%40)/10)})
	}
	answer := func(order []int) string {
		d := Serve(t, t.TempDir())
		d.Do(http.MethodPut, "/api/cases/order-1/file", strings.NewReader(house), 201)
		p := NewPublisher(d.MQTT, "backlog", 500)
		defer p.Close()
		for _, i := range order {
			s := all[i]
			s.N = i
			require.NoError(t, p.Send(s))
		}
		require.NoError(t, p.Flush())
		require.EqualValues(t, len(all), d.Metric("dewcase_readings_stored_total"))
		out := string(d.Do(http.MethodGet, "/api/cases/order-1/assessment", nil, 200)) +
			string(d.Do(http.MethodGet, "/api/cases/order-1/timeline?step=3600", nil, 200))
		require.Zero(t, d.Stop(), d.Log())
		return out
	}
	inOrder := make([]int, len(all))
	for i := range inOrder {
		inOrder[i] = i
	}
	require.Equal(t, answer(inOrder), answer(rand.Perm(len(all))))
}
