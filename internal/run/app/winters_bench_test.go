package app_test

import (
	"fmt"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/run/config"
	"dewcase/internal/testkit/benchwinter"
	"dewcase/internal/testkit/running"
)

// processor is the time that this process has worked, daemon and client together.
func processor(b *testing.B) time.Duration {
	var u syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// What grows with the readings of a case, and what is the same however old it is; a
// start takes out the last assessment, which lists every night: some 5 ms a winter.
var (
	growing = []string{"import", "scan", "assess"}
	flat    = []string{"start", "first timeline", "timeline after a start", "timeline again", "round"}
)

// Processor time at 1, 2, 4 and 8 winters of six loggers, a reading in ten
// minutes each. Reported is a reading's, or a case's, at so many winters over that
// at one: 1 is linear in readings, or flat in the age of the case.
func BenchmarkWinters(b *testing.B) {
	for b.Loop() {
		one := map[string]time.Duration{}
		for _, winters := range []int{1, 2, 4, 8} {
			costs := costsOf(b, winters)
			if winters == 1 {
				one = costs
			}
			line := fmt.Sprintf("%d winters:", winters)
			report := func(names []string, times float64) {
				for _, name := range names {
					ratio := costs[name].Seconds() / one[name].Seconds() / times
					line += fmt.Sprintf(" %s %v (%.2f)", name, costs[name].Round(10*time.Microsecond), ratio)
					if winters > 1 {
						b.ReportMetric(ratio, fmt.Sprintf("x-%s-%d", strings.ReplaceAll(name, " ", "-"), winters))
					}
				}
			}
			report(growing, float64(winters))
			report(flat, 1)
			b.Log(line)
		}
	}
}

// costsOf is the processor time of each kind of work on so many winters.
func costsOf(b *testing.B, winters int) map[string]time.Duration {
	const everyMinutes, rounds, again = 10, 40, 10
	days := winters * benchwinter.Days
	end := benchwinter.Begin.AddDate(0, 0, days)
	var rows strings.Builder
	rows.WriteString("time,logger,temp_c,rh_pct\n")
	n := 0
	for r := range benchwinter.Interleaved(days) {
		if n++; (n-1)/benchwinter.Loggers%everyMinutes == 0 {
			t, _ := r.Values.Get(roof.TempC)
			rh, _ := r.Values.Get(roof.RHPct)
			fmt.Fprintf(&rows, "%s,%s,%g,%g\n", r.At.Format("2006-01-02T15:04:05.000Z"), r.Logger, t, rh)
		}
	}
	file := strings.ReplaceAll(benchwinter.CaseFile, "interval_s: 60", fmt.Sprint("interval_s: ", everyMinutes*60))
	data := b.TempDir()
	start := func() *running.Daemon {
		return running.StartAt(b, running.Ticking(end), func(c *config.Config) { c.Data, c.HTTP.MaxBodyMB = data, 1024 })
	}
	costs := map[string]time.Duration{}
	spent := func(name string, times int, work func()) {
		began := processor(b)
		for range times {
			work()
		}
		costs[name] = (processor(b) - began) / time.Duration(times)
	}
	d := start()
	asked := 0
	get := func(path string) string {
		asked++ // another address each time: nothing is given again as it was
		resp, body := d.Ask("GET", "/api/cases/bench-house/"+path+"&n="+fmt.Sprint(asked), "")
		require.Equal(b, http.StatusOK, resp.StatusCode, "%.300s", body)
		return body
	}
	newest := fmt.Sprintf("timeline?from=%s&to=%s", end.AddDate(0, 0, -benchwinter.Days).Format(time.RFC3339),
		end.Format(time.RFC3339))
	d.Ask("PUT", "/api/cases/bench-house/file", file)
	spent("import", 1, func() {
		resp, body := d.Ask("POST", "/api/cases/bench-house/readings", rows.String(), "Content-Type", "text/csv")
		require.Equal(b, http.StatusOK, resp.StatusCode, body)
	})
	d.Stop()
	d = start()
	spent("scan", 1, func() { require.Greater(b, len(get("readings.csv?")), rows.Len()) })
	spent("assess", 1, func() { get("assessment?") })
	spent("first timeline", 1, func() { get(newest) })
	d.Stop()
	spent("start", 1, func() {
		d = start()
		time.Sleep(5 * time.Second) // for what a start has done beside it
	})
	spent("timeline after a start", 1, func() { get(newest) })
	spent("timeline again", again, func() { get(newest) })

	client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(strings.Replace(d.MQTT, "mqtt://", "tcp://", 1)).
		SetClientID("bench").SetAutoReconnect(false))
	require.NoError(b, running.Done(client.Connect()))
	at := end
	spent("round", rounds, func() {
		at = at.Add(time.Second)
		for i := range benchwinter.Loggers {
			require.NoError(b, running.Done(client.Publish("dewcase/bench-house/"+benchwinter.Name(i), 1, false,
				fmt.Sprintf(`{"time":%q,"temp_c":4.5,"rh_pct":91}`, at.Format(time.RFC3339)))))
		}
		get(fmt.Sprintf("timeline?from=%s&to=%s", end.AddDate(0, 0, -2).Format(time.RFC3339),
			end.Add(time.Hour).Format(time.RFC3339)))
	})
	client.Disconnect(100)
	d.Stop()
	return costs
}
