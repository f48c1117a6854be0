package app_test

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/credentials"
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
	"dewcase/internal/run/config"
	"dewcase/internal/testkit/running"
)

// A push token appends readings on its topics and does nothing else.
func TestAPushTokenAppendsReadingsAndDoesNothingElse(t *testing.T) {
	dir := t.TempDir()
	own, line := credentials.NewPushToken("larch-3/k1", nil)
	gateway, second := credentials.NewPushToken("gateway", []string{"node/#"})
	file := filepath.Join(dir, "tokens")
	require.NoError(t, os.WriteFile(file, []byte(line+"\n"+second+"\n"), 0o600))
	admin := filepath.Join(dir, "admin")
	require.NoError(t, os.WriteFile(admin, []byte("administrator"), 0o600))
	d := running.Start(t, func(c *config.Config) {
		c.HTTP.PushFile, c.HTTP.TokenFile, c.MQTT.MaxPayloadKB = file, admin, 1
		c.MQTT.Mappings = []payload.Mapping{{Topic: "node/{logger}", Case: "larch-3",
			Fields: []payload.Field{{Quantity: roof.TempC, Pointer: "/t1", Unit: payload.Celsius}},
			Probes: []payload.Probe{{Suffix: "-2",
				Fields: []payload.Field{{Quantity: roof.WoodPct, Pointer: "/m", Unit: payload.Percent}}}}}}
	})
	all := []string{"Authorization", "Bearer administrator"}
	d.Ask("PUT", "/api/cases/larch-3/file", house, append(all, "Content-Type", "application/yaml")...)
	const reading = `{"time":"2026-11-25T06:10:00Z","temp_c":4.31}`
	for name, c := range map[string]struct {
		method, path, token, body string
		want                      int
		says                      string
	}{
		"its own topic":   {"POST", "/api/push/dewcase/larch-3/k1", own, reading, 200, `{"readings":1,"rejected":[]}`},
		"by a mapping":    {"POST", "/api/push/node/k7", gateway, `{"t1":4,"m":18.5}`, 200, `"readings":2`},
		"another logger":  {"POST", "/api/push/dewcase/larch-3/k2", own, reading, 403, "larch-3/k1 may not send on"},
		"a wrong token":   {"POST", "/api/push/dewcase/larch-3/k1", "x", reading, 401, ""},
		"no token":        {"POST", "/api/push/dewcase/larch-3/k1", "", reading, 401, ""},
		"nothing in it":   {"POST", "/api/push/node/k7", gateway, `{"x":1}`, 422, "no_quantity: none of the mapping's"},
		"too large":       {"POST", "/api/push/node/k7", gateway, strings.Repeat(" ", 1025), 413, ""},
		"a filter":        {"POST", "/api/push/node/%23", gateway, `{"t1":4}`, 401, ""},
		"to read":         {"GET", "/api/cases/larch-3/readings.csv", own, "", 401, ""},
		"to import":       {"POST", "/api/cases/larch-3/readings", own, "time,logger,temp_c,rh_pct\n", 401, ""},
		"to change":       {"PUT", "/api/cases/larch-3/file", own, house, 401, ""},
		"another method":  {"GET", "/api/push/dewcase/larch-3/k1", own, "", 401, ""},
		"administrator":   {"POST", "/api/push/dewcase/larch-3/k2", "administrator", reading, 200, `"readings":1`},
		"up and away":     {"POST", "/api/push/dewcase/larch-3/../k1", own, reading, 403, ""},
		"the broker's":    {"POST", "/api/push/$SYS/x", gateway, "1", 401, ""},
		"no topic":        {"POST", "/api/push/", "administrator", reading, 400, "names no topic"},
		"a house unknown": {"POST", "/api/push/dewcase/nowhere/k1", "administrator", reading, 422, "unknown_case"},
	} {
		t.Run(name, func(t *testing.T) {
			var header []string
			if c.token != "" {
				header = []string{"Authorization", "Bearer " + c.token}
			}
			answer, body := d.Ask(c.method, c.path, c.body, header...)
			assert.Equal(t, c.want, answer.StatusCode, body)
			assert.Contains(t, body, c.says)
		})
	}
	_, csv := d.Ask("GET", "/api/cases/larch-3/readings.csv", "", all...)
	assert.Contains(t, csv, "2026-11-25T06:10:00Z,k1,4.31,")
	assert.Contains(t, csv, "2026-11-25T06:10:00Z,k2,4.31,")
	assert.Contains(t, csv, ",k7,4,")
	assert.Regexp(t, `,k7-2,,,.*18\.5`, csv)
}

// While mappings that are kept with the houses come and go, 1,000 messages a second
// on topics that the configuration maps are taken each once, and of those on a topic
// that is mapped now and then each is a reading or a reject, never both.
func TestMappingsChangedUnderLoadLoseAndDoubleNothing(t *testing.T) {
	field := []payload.Field{{Quantity: roof.TempC, Pointer: "/t", Unit: payload.Celsius}}
	d := running.Start(t, func(c *config.Config) {
		c.MQTT.Mappings = []payload.Mapping{{Topic: "fixed/{logger}", Case: "larch-3", Fields: field,
			Time: &payload.Clock{Pointer: "/s", Form: "s"}}}
	})
	d.Ask("PUT", "/api/cases/larch-3/file", house, "Content-Type", "application/yaml")
	coming := []payload.Mapping{{Topic: "coming/{logger}", Case: "larch-3", Fields: field,
		Time: &payload.Clock{Pointer: "/s", Form: "s"}}}
	const clients, each = 4, 1000
	began := time.Now().Add(-24 * time.Hour).Unix()
	var done atomic.Bool
	var work, changes sync.WaitGroup
	changes.Go(func() {
		for i := 0; !done.Load(); i++ {
			assert.NoError(t, d.App.Remap([][]payload.Mapping{coming, nil}[i%2]))
			time.Sleep(2 * time.Millisecond)
		}
	})
	for n := range clients {
		work.Go(func() {
			c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(strings.Replace(d.MQTT, "mqtt://", "tcp://", 1)).
				SetClientID(fmt.Sprintf("c%d", n)).SetAutoReconnect(false))
			if !assert.NoError(t, running.Done(c.Connect())) {
				return
			}
			defer c.Disconnect(100)
			var sent []mqtt.Token
			for i := range each {
				body := fmt.Sprintf(`{"t":4,"s":%d}`, began+int64(i))
				sent = append(sent, c.Publish(fmt.Sprintf("fixed/f%d-%d", n, i%10), 1, false, body),
					c.Publish(fmt.Sprintf("coming/c%d", n), 1, false, body))
				time.Sleep(2 * time.Millisecond)
			}
			for _, s := range sent {
				assert.NoError(t, running.Done(s))
			}
		})
	}
	work.Wait()
	done.Store(true)
	changes.Wait()
	_, csv := d.Ask("GET", "/api/cases/larch-3/readings.csv", "")
	assert.Equal(t, clients*each, strings.Count(csv, ",f"), "0 lost, 0 doubled")
	taken := strings.Count(csv, ",c")
	refused := d.Metric(`dewcase_readings_rejected_total{reason="bad_topic"}`)
	assert.EqualValues(t, clients*each, float64(taken)+refused)
	assert.Positive(t, taken)
	assert.Positive(t, refused)
	answer, _ := d.Ask("GET", "/readyz", "")
	assert.Equal(t, http.StatusOK, answer.StatusCode)
}

// A second probe that no mapping names is listed on the page, beside the mapping
// that an earlier one shadows.
func TestWhatIsNotReadIsListed(t *testing.T) {
	field := []payload.Field{{Quantity: roof.TempC, Pointer: "/t1", Unit: payload.Celsius}}
	d := running.Start(t, func(c *config.Config) {
		c.MQTT.Mappings = []payload.Mapping{{Topic: "node/{logger}", Case: "larch-3", Fields: field},
			{Topic: "node/k9", Case: "larch-3", Logger: "k9", Fields: field}}
	})
	d.Ask("PUT", "/api/cases/larch-3/file", house, "Content-Type", "application/yaml")
	d.Publish("node/k1", `{"t1":4.3,"t2":1.56}`, false)
	d.Publish("dewcase/larch-3/k1", `{"temp_c":4.3,"slate_temp":2.1}`, false)
	_, page := d.Ask("GET", "/messages", "")
	assert.Regexp(t, `<code>node/k1</code></th><td><code>/t2</code></td><td>[^<]+</td><td>1.56</td><td class="n">1</td>`,
		page)
	assert.Contains(t, page, "<code>/slate_temp</code>")
	assert.Contains(t, page, "Mapping 2 (node/k9) comes after mapping 1 (node/{logger})")
	assert.Equal(t, 2.0, d.Metric("dewcase_values_not_read"))
}
