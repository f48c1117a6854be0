package crashtest

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

// Two instances write into one bucket of InfluxDB, where a house's record lies alone
// when it moves, while readings of those very days still come in. Neither spoils what
// the other rests on: every day agrees with its digest on both sides, there and back.
func TestAHouseMovesBetweenInstancesThatShareABucket(t *testing.T) {
	broker, engine := mosquittotest.Start(t, mosquittotest.Quick), influxd(t)
	serve := func(name string) *instance {
		i := &instance{name: name, data: t.TempDir(), addr: freeAddr(t), config: filepath.Join(t.TempDir(), "dewcase.yaml")}
		require.NoError(t, os.WriteFile(i.config, fmt.Appendf(nil, "cases: [%q]\nstore: influxdb\n"+
			"influxdb: {url: %q, bucket: roofs}\nmqtt: {client_id: %s, topics: [dewcase/#]}\n", name+"-*", engine, name), 0o600))
		i.start = func() *Daemon {
			d := Serve(t, i.data, "-config", i.config, "-http", i.addr, "-broker", "mqtt://"+broker.Addr())
			patience.Until(t, "subscribed", func() bool { return d.Status("/readyz") == http.StatusOK })
			return d
		}
		i.Daemon = i.start()
		return i
	}
	// migrate moves readings while the instance rests, or compares them.
	migrate := func(i *instance, to string) string {
		out, status := Run(t, "migrate", "-config", i.config, "-data", i.data, "-to", to)
		require.Zero(t, status, "%s, -to %s: %s", i.name, to, out)
		return out
	}
	move := func(from, to *instance, more ...string) {
		out, status := Run(t, append([]string{"move", "-case", "north-1", "-from", from.HTTP, "-to", to.HTTP}, more...)...)
		require.Zero(t, status, out+from.Log()+to.Log())
	}
	north, south := serve("north"), serve("south")
	north.Do(http.MethodPut, "/api/cases/north-1/file", strings.NewReader(dampHouse), 201)
	old := time.Now().AddDate(0, 0, -40).UTC()
	north.Do(http.MethodPost, "/api/cases/north-1/readings", strings.NewReader(dampRecord(old)), 200)
	all := rows(north.Daemon, "k")
	require.Zero(t, north.Stop(), north.Log())
	require.NotContains(t, migrate(north, "influxdb"), "0 logger days")
	north.Daemon = north.start()

	// Readings of days that lie in InfluxDB alone come in while the house moves.
	p := NewPublisher(broker.Addr(), "gateway", 10)
	defer p.Close()
	stop, sent := make(chan struct{}), make(chan []string, 1)
	go func() {
		var lines []string
		day := old.AddDate(0, 0, -3).Truncate(24 * time.Hour)
		for n := 0; ; n++ {
			at := day.Add(time.Duration(n)*30*time.Second + 7*time.Second)
			body := fmt.Sprintf(`{"time":%q,"temp_c":%d.5,"rh_pct":80}`, at.Format(time.RFC3339), n%10)
			if err := p.Send(Sent{Topic: "dewcase/north-1/k1", Payload: []byte(body)}); err != nil {
				t.Error(err)
			}
			lines = append(lines, fmt.Sprintf("%s,k1,%d.5,80", at.Format(time.RFC3339), n%10))
			select {
			case <-stop:
				if err := p.Flush(); err != nil {
					t.Error(err)
				}
				sent <- lines
				return
			case <-time.After(100 * time.Millisecond):
			}
		}
	}()
	patience.Until(t, "some are taken", func() bool { return len(rows(north.Daemon, "k")) > len(all)+5 })
	move(north, south)
	close(stop)
	late := <-sent
	patience.Until(t, "all have come", func() bool { return len(rows(south.Daemon, "k")) >= len(all)+len(late) })
	want := slices.Sorted(slices.Values(rows(south.Daemon, "k")))
	assert.Len(t, want, len(all)+len(late))

	// Each gives to InfluxDB what it would; then each compares.
	south.Do(http.MethodPost, "/api/cases/north-1/readings", strings.NewReader("time,logger,temp_c,rh_pct\n"+
		old.AddDate(0, 0, -5).Format("2006-01-02")+"T03:33:33Z,k2,1.25,90\n"), 200)
	for range 2 {
		for _, i := range []*instance{south, north} {
			require.Zero(t, i.Stop(), i.Log())
			migrate(i, "influxdb")
			migrate(i, "verify")
			i.Daemon = i.start()
		}
	}
	require.Len(t, rows(south.Daemon, "k"), len(want)+1, "read from InfluxDB")

	move(south, north, "-blind")
	assert.Len(t, rows(north.Daemon, "k"), len(want)+1)
	for _, i := range []*instance{south, north} {
		require.Zero(t, i.Stop(), i.Log())
	}
	for range 2 {
		for _, i := range []*instance{south, north} {
			migrate(i, "influxdb")
		}
	}
	for _, i := range []*instance{south, north} {
		migrate(i, "verify")
		out, status := Run(t, "check", "-data", i.data)
		assert.Zero(t, status, out)
	}
}
