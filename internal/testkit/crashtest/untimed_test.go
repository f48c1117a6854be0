package crashtest

import (
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

// Readings without a time of their own get that of their arrival. Each must be
// there once all the same, whatever came again after a kill.
const (
	untimedReadings = 1500
	untimedKills    = 8
)

func TestReadingsWithoutATimeAreStoredOnceThroughKillsOfTheDaemonWithItsOwnBroker(t *testing.T) {
	data, addr := t.TempDir(), freePort(t)
	untimed(t, addr, func() *Daemon { return Serve(t, data, "-mqtt-listen", addr) })
}

func TestReadingsWithoutATimeAreStoredOnceThroughKillsBehindMosquitto(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	data := t.TempDir()
	untimed(t, b.Addr(), func() *Daemon { return Serve(t, data, "-broker", "mqtt://"+b.Addr()) })
}

func untimed(t *testing.T, addr string, serve func() *Daemon) {
	d := serve()
	d.Do(http.MethodPut, "/api/cases/"+caseID+"/file", strings.NewReader(caseFile()), 201)
	patience.Until(t, "subscribed", func() bool { return d.Status("/readyz") == http.StatusOK })
	p := NewPublisher(addr, "gateway", 20)
	p.Pause = time.Millisecond
	t.Cleanup(p.Close)
	var done sync.WaitGroup
	done.Go(func() {
		for n := range untimedReadings {
			if err := p.Send(Sent{N: n, Topic: "dewcase/" + caseID + "/k00",
				Payload: fmt.Appendf(nil, `{"temp_c":%d.5,"rh_pct":%d}`, n/100, n%100)}); err != nil {
				t.Error(err)
				return
			}
		}
		if err := p.Flush(); err != nil {
			t.Error(err)
		}
	})
	for range untimedKills {
		time.Sleep(time.Duration(100+rand.IntN(300)) * time.Millisecond)
		d.Kill()
		d = serve()
	}
	done.Wait()
	times := map[string]int{}
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("%d of %d are there; the daemon says:\n%s", len(times), untimedReadings, d.Log())
		}
	})
	patience.Until(t, "every acknowledged reading is stored", func() bool {
		clear(times)
		table, err := csv.NewReader(strings.NewReader(
			string(d.Do(http.MethodGet, "/api/cases/"+caseID+"/readings.csv", nil, 200)))).ReadAll()
		require.NoError(t, err)
		for _, row := range table[1:] {
			times[row[2]+" "+row[3]]++
		}
		return len(times) == untimedReadings
	})
	for n := range untimedReadings {
		require.Equal(t, 1, times[strconv.Itoa(n/100)+".5 "+strconv.Itoa(n%100)], "reading %d", n)
	}
	t.Logf("%d readings, %d of them sent again by the publisher, all stored once", len(times), p.Resent())
	require.Zero(t, d.Stop(), d.Log())
}
