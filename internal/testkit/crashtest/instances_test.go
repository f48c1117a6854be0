package crashtest

import (
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

// influxd starts a real InfluxDB 1 and returns its URL.
func influxd(t *testing.T) string {
	t.Helper()
	free := func() string {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		defer l.Close()
		return l.Addr().String()
	}
	dir, addr := t.TempDir(), free()
	config := fmt.Sprintf("reporting-disabled = true\nbind-address = %q\n[meta]\ndir = %q\n[data]\ndir = %q\n"+
		"wal-dir = %q\n[http]\nbind-address = %q\nlog-enabled = false\n[logging]\nlevel = \"error\"\n", free(),
		filepath.Join(dir, "meta"), filepath.Join(dir, "data"), filepath.Join(dir, "wal"), addr)
	file := filepath.Join(dir, "influxdb.conf")
	require.NoError(t, os.WriteFile(file, []byte(config), 0o600))
	cmd := exec.Command("influxd", "-config", file)
	require.NoError(t, cmd.Start(), "influxd (Debian package influxdb) is needed")
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	patience.Until(t, "InfluxDB answers", func() bool {
		resp, err := http.Post("http://"+addr+"/query?q=CREATE+DATABASE+roofs", "", nil)
		if err == nil {
			_ = resp.Body.Close()
		}
		return err == nil && resp.StatusCode == http.StatusOK
	})
	return "http://" + addr
}

// Two instances behind one broker, their readings in one InfluxDB, divide the
// houses: each keeps those that its configuration names and no other, whichever
// of them is away meanwhile, and a message that is sent twice is one reading.
func TestTwoInstancesDivideTheHouses(t *testing.T) {
	broker, engine := mosquittotest.Start(t, mosquittotest.Quick), influxd(t)
	serve := func(name, pattern, data string) *Daemon {
		file := filepath.Join(t.TempDir(), "dewcase.yaml")
		require.NoError(t, os.WriteFile(file, []byte(fmt.Sprintf("cases: [%q]\nstore: influxdb\n"+
			"influxdb: {url: %q, bucket: roofs}\nmqtt: {client_id: %s, topics: [dewcase/#]}\n", pattern, engine, name)), 0o600))
		d := Serve(t, data, "-config", file, "-broker", "mqtt://"+broker.Addr())
		patience.Until(t, "subscribed", func() bool { return d.Status("/readyz") == http.StatusOK })
		return d
	}
	northData := t.TempDir()
	north, south := serve("north", "north-*", northData), serve("south", "south-*", t.TempDir())
	houses := map[string]*Daemon{"north-1": north, "north-2": north, "south-1": south}
	file := func(house string) string { return strings.Replace(caseFile(), "case: "+caseID, "case: "+house, 1) }
	for house, d := range houses {
		d.Do(http.MethodPut, "/api/cases/"+house+"/file", strings.NewReader(file(house)), 200, 201, 204)
	}
	said := north.Do(http.MethodPut, "/api/cases/south-1/file", strings.NewReader(file("south-1")), 400)
	assert.Contains(t, string(said), "is not served by this instance")

	p := NewPublisher(broker.Addr(), "gateway", 100)
	defer p.Close()
	const each = 300
	began := time.Now().Add(-each * time.Minute).Truncate(time.Second).UTC()
	send := func(from, to int) {
		for n := from; n < to; n++ {
			for _, house := range []string{"north-1", "north-2", "south-1"} {
				at := began.Add(time.Duration(n) * time.Minute).Format(time.RFC3339)
				body := fmt.Sprintf(`{"time":%q,"temp_c":%.2f,"rh_pct":80}`, at, float64(n)/100)
				for range 1 + n%2 { // some twice
					require.NoError(t, p.Send(Sent{Topic: "dewcase/" + house + "/k00", Payload: []byte(body)}))
				}
			}
		}
		require.NoError(t, p.Flush())
	}
	send(0, each/3)
	north.Kill() // the broker keeps what comes meanwhile
	send(each/3, 2*each/3)
	north = serve("north", "north-*", northData)
	houses["north-1"], houses["north-2"] = north, north
	send(2*each/3, each)
	for house, d := range houses {
		export := func() int {
			return strings.Count(string(d.Do(http.MethodGet, "/api/cases/"+house+"/readings.csv", nil, 200)), "\n") - 1
		}
		patience.Until(t, house+" has all", func() bool { return export() >= each })
		assert.Equal(t, each, export(), house)
	}
	assert.Zero(t, south.Metric(`dewcase_readings_rejected_total{reason="unknown_case"}`))
	assert.Zero(t, north.Metric(`dewcase_readings_rejected_total{reason="unknown_case"}`))
	assert.EqualValues(t, each, south.Metric("dewcase_readings_stored_total"))
	assert.Equal(t, http.StatusNotFound, north.Status("/api/cases/south-1/file"))
	require.Zero(t, north.Stop(), north.Log())
	require.Zero(t, south.Stop(), south.Log())
}
