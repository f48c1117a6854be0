package crashtest

import (
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

func TestMain(m *testing.M) { Main(m) }

// The stream: so many readings at least, from so many loggers on so many
// connections, while the daemon is killed so many times.
const (
	readings  = 20000
	kills     = 22
	loggers   = 20
	gateways  = 4
	window    = 200
	caseID    = "crash-1"
	crashPace = 250 * time.Microsecond // a gateway's readings; the stream outlasts the kills
)

var firstReading = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// reading is the n-th reading of the stream. Its temperature says which it is,
// so a mixed-up record would be seen.
func reading(n int) (logger string, at time.Time, tempC float64) {
	return fmt.Sprintf("k%02d", n%loggers), firstReading.Add(time.Duration(n) * time.Second), float64(n%9000)/100 - 40
}

func message(n int) Sent {
	logger, at, temp := reading(n)
	return Sent{N: n, Topic: "dewcase/" + caseID + "/" + logger,
		Payload: fmt.Appendf(nil, `{"time":%q,"temp_c":%.2f,"rh_pct":%d}`, at.Format(time.RFC3339), temp, n%100)}
}

// caseFile knows all the loggers.
func caseFile() string {
	var b strings.Builder
	b.WriteString("case: " + caseID + "\nproperty: {label: Crash House, timezone: Europe/London, altitude_m: 60}\n")
	b.WriteString("positions:\n  - {id: loft, place: loft_air}\nloggers:\n")
	for i := range loggers {
		fmt.Fprintf(&b, "  - {id: k%02d, interval_s: 60}\n", i)
	}
	return b.String()
}

// freePort finds a port that stays the same over the daemon's lives.
func freePort(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// stream publishes until both enough readings were sent and enough is told.
func stream(t *testing.T, addr string, enough *atomic.Bool) (*[gateways]*Publisher, *sync.WaitGroup) {
	var pubs [gateways]*Publisher
	var done sync.WaitGroup
	for g := range gateways {
		p := NewPublisher(addr, fmt.Sprint("gateway-", g), window)
		p.Pause = crashPace
		pubs[g] = p
		done.Go(func() {
			for n := g; n < readings || !enough.Load(); n += gateways {
				if err := p.Send(message(n)); err != nil {
					t.Error(err)
					return
				}
			}
			if err := p.Flush(); err != nil {
				t.Error(err)
			}
		})
		t.Cleanup(p.Close)
	}
	return &pubs, &done
}

// check compares the publishers' books with what the daemon hands out.
func check(t *testing.T, d *Daemon, pubs *[gateways]*Publisher) {
	t.Helper()
	acked := map[int]bool{}
	resent := 0
	for _, p := range pubs {
		for _, n := range p.Acked() {
			require.False(t, acked[n])
			acked[n] = true
		}
		resent += p.Resent()
	}
	require.GreaterOrEqual(t, len(acked), readings)
	var rows map[int]int
	patience.Until(t, "every acknowledged reading is stored", func() bool {
		rows = stored(t, d)
		for n := range acked {
			if rows[n] == 0 {
				return false
			}
		}
		return true
	})
	for n, times := range rows {
		require.Equal(t, 1, times, "reading %d is stored more than once", n)
		require.True(t, acked[n], "reading %d was never sent", n)
	}
	t.Logf("%d readings acknowledged, %d of them sent again, all stored once", len(acked), resent)
}

// stored counts the rows of each reading and compares their values.
func stored(t *testing.T, d *Daemon) map[int]int {
	t.Helper()
	table, err := csv.NewReader(strings.NewReader(
		string(d.Do(http.MethodGet, "/api/cases/"+caseID+"/readings.csv", nil, 200)))).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"time", "logger", "temp_c", "rh_pct"}, table[0][:4])
	rows := map[int]int{}
	for _, row := range table[1:] {
		at, err := time.Parse(time.RFC3339, row[0])
		require.NoError(t, err)
		n := int(at.Sub(firstReading) / time.Second)
		logger, _, want := reading(n)
		temp, err := strconv.ParseFloat(row[2], 64)
		require.NoError(t, err)
		require.Equal(t, logger, row[1])
		require.InDelta(t, want, temp, 1e-9)
		require.Equal(t, strconv.Itoa(n%100), row[3])
		rows[n]++
	}
	return rows
}

// killAtRandom lets the daemon live for a moment and kills it, again and again.
// between is called after each kill.
func killAtRandom(t *testing.T, serve func() *Daemon, between func(kill int)) {
	for k := range kills {
		d := serve()
		time.Sleep(time.Duration(50+rand.IntN(400)) * time.Millisecond) // the random moment
		d.Kill()
		if between != nil {
			between(k)
		}
	}
}

func TestNothingAcknowledgedIsLostWhenTheDaemonIsKilledBehindMosquitto(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	data := t.TempDir()
	serve := func() *Daemon { return Serve(t, data, "-broker", "mqtt://"+b.Addr()) }
	d := serve()
	d.Do(http.MethodPut, "/api/cases/"+caseID+"/file", strings.NewReader(caseFile()), 201)
	patience.Until(t, "subscribed", func() bool { return d.Status("/readyz") == http.StatusOK })
	d.Kill()
	var enough atomic.Bool
	pubs, done := stream(t, b.Addr(), &enough)
	killAtRandom(t, serve, func(k int) {
		if k == kills/2 {
			b.Restart() // in good order, with its queue on disk
		}
	})
	enough.Store(true)
	d = serve()
	done.Wait()
	check(t, d, pubs)
	require.Zero(t, d.Stop(), d.Log())
	out, status := Run(t, "check", "-data", data)
	require.Zero(t, status, out)
}

func TestNothingAcknowledgedIsLostWhenTheDaemonIsKilledWithItsOwnBroker(t *testing.T) {
	data, addr := t.TempDir(), freePort(t)
	serve := func() *Daemon { return Serve(t, data, "-mqtt-listen", addr) }
	d := serve()
	d.Do(http.MethodPut, "/api/cases/"+caseID+"/file", strings.NewReader(caseFile()), 201)
	d.Kill()
	var enough atomic.Bool
	pubs, done := stream(t, addr, &enough)
	underWay := 0
	killAtRandom(t, serve, func(int) {
		for _, p := range pubs {
			if p.Pending() > 0 {
				underWay++
				break
			}
		}
	})
	require.Positive(t, underWay, "the kills hit messages under way")
	enough.Store(true)
	d = serve()
	done.Wait()
	check(t, d, pubs)
	require.Zero(t, d.Stop(), d.Log())
	out, status := Run(t, "check", "-data", data)
	require.Zero(t, status, out)
}
