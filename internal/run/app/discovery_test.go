package app_test

import (
	"encoding/json"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"dewcase/internal/run/config"
	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/running"
)

// retained remembers the last message of each topic below a filter.
type retained struct {
	mu sync.Mutex
	by map[string]string
}

func (r *retained) get(topic string) string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.by[topic]
}

// topics are those that hold a message, below a prefix.
func (r *retained) topics(prefix string) (out []string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for topic, body := range r.by {
		if body != "" && strings.HasPrefix(topic, prefix) {
			out = append(out, topic)
		}
	}
	return out
}

func follow(t *testing.T, b *mosquittotest.Broker, user string, filters ...string) (mqtt.Client, *retained) {
	t.Helper()
	r := &retained{by: map[string]string{}}
	o := mqtt.NewClientOptions().AddBroker("tcp://" + b.Addr()).SetClientID("follower-" + user)
	if user != "" {
		o.SetUsername(user).SetPassword("x")
	}
	c := mqtt.NewClient(o)
	require.NoError(t, running.Done(c.Connect()))
	t.Cleanup(func() { c.Disconnect(50) })
	for _, f := range filters {
		require.NoError(t, running.Done(c.Subscribe(f, 1, func(_ mqtt.Client, m mqtt.Message) {
			r.mu.Lock()
			defer r.mu.Unlock()
			r.by[m.Topic()] = string(m.Payload())
		})))
	}
	return c, r
}

// behindAccessList is a Mosquitto with the access list that is installed.
func behindAccessList(t *testing.T) *mosquittotest.Broker {
	t.Helper()
	acl, err := filepath.Abs("../../../deploy/mosquitto/acl")
	require.NoError(t, err)
	b := mosquittotest.New(t, mosquittotest.Quick+"acl_file {dir}/acl\n")
	list, err := os.ReadFile(acl)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(b.Dir, "acl"), append(list, "\nuser bridge\ntopic write #\n"...), 0o600))
	b.Restart()
	return b
}

func TestHousesAreAnnouncedToHomeAutomationAndTakenBack(t *testing.T) {
	b := behindAccessList(t)
	data := t.TempDir()
	configure := func(announce bool) func(*config.Config) {
		return func(c *config.Config) {
			c.Data = data
			c.MQTT.Broker, c.MQTT.Username = "mqtt://"+b.Addr(), "dewcase"
			c.MQTT.Discovery.Announce = announce
		}
	}
	_, heard := follow(t, b, "home", "homeassistant/#", "dewcase-state/+")
	descriptions := func() int { return len(heard.topics("homeassistant/")) }
	t.Run("announced", func(t *testing.T) {
		d := running.Start(t, configure(true))
		file := strings.Replace(house, "  - {id: slate,", "  - {id: loft.a_1, place: loft_air}\n  - {id: slate,", 1)
		resp, body := d.Ask("PUT", "/api/cases/larch-3/file", file)
		require.Equal(t, http.StatusCreated, resp.StatusCode, body)
		patience.Until(t, "announced", func() bool { return descriptions() == 6 })
		patience.Until(t, "there", func() bool { return heard.get("dewcase-state/_dewcase") == "online" })
		schema := compiled(t, "../../../testdata/discovery/description.schema.json")
		ids := map[string]bool{}
		for _, topic := range heard.topics("homeassistant/") {
			require.Regexp(t, `^homeassistant/(binary_sensor|sensor)/dewcase-larch-3/[A-Za-z0-9_-]+/config$`, topic)
			value, err := jsonschema.UnmarshalJSON(strings.NewReader(heard.get(topic)))
			require.NoError(t, err)
			require.NoError(t, schema.Validate(value), topic)
			require.Equal(t, "dewcase-state/_dewcase", value.(map[string]any)["availability_topic"])
			ids[value.(map[string]any)["unique_id"].(string)] = true
		}
		require.Len(t, ids, 6)
		require.Contains(t, ids, "dewcase_larch-3_dew_point_loft_2ea_5f1", "a name in letters that topics may have")

		now := time.Now().UTC()
		for i := range 3 {
			at := now.Add(time.Duration(5*i-11) * time.Minute).Format(time.RFC3339)
			d.Ask("POST", "/api/cases/larch-3/readings",
				fmt.Sprintf("time,logger,temp_c,rh_pct\n%s,k1,10,80\n%s,k2,7.5,\n", at, at))
		}
		patience.Until(t, "the state tells the places", func() bool {
			return strings.Contains(heard.get("dewcase-state/larch-3"), `"margin_k":0`)
		})
		var s struct {
			Places map[string]map[string]*float64 `json:"places"`
		}
		require.NoError(t, json.Unmarshal([]byte(heard.get("dewcase-state/larch-3")), &s))
		// WMO-No. 8, Magnus: 10 C and 80 %RH have a dew point of 6.7 C.
		require.InDelta(t, 6.7, *s.Places["void"]["dew_point_c"], 0.05)
		require.InDelta(t, 0.8, *s.Places["slate"]["margin_k"], 0.05)
		value, known := s.Places["loft.a_1"]["dew_point_c"]
		require.True(t, known && value == nil, "not observed is null")

		d.Ask("PUT", "/api/cases/larch-3/file", house)
		patience.Until(t, "a position that went is taken back", func() bool { return descriptions() == 5 })
		post(t, d, "/messages/discovery", url.Values{})
		patience.Until(t, "the switch takes all back", func() bool { return descriptions() == 0 })
		post(t, d, "/messages/discovery", url.Values{"announce": {"yes"}})
		patience.Until(t, "and on again", func() bool { return descriptions() == 5 })
	})
	patience.Until(t, "a daemon that ended is away", func() bool {
		return heard.get("dewcase-state/_dewcase") == "offline"
	})
	require.Equal(t, 5, descriptions(), "a restart takes nothing back")
	t.Run("a person's switch stands above the configuration", func(t *testing.T) {
		d := running.Start(t, configure(false))
		_, page := d.Ask("GET", "/messages", "")
		require.Contains(t, page, `name="announce" type="checkbox" value="yes" checked`)
		post(t, d, "/messages/discovery", url.Values{})
		patience.Until(t, "taken back by another run", func() bool { return descriptions() == 0 })
	})
}

func compiled(t *testing.T, file string) *jsonschema.Schema {
	t.Helper()
	s, err := jsonschema.NewCompiler().Compile(file)
	require.NoError(t, err)
	return s
}

// post sends a form, and wants to be sent on.
func post(t *testing.T, d *running.Daemon, path string, form url.Values) string {
	t.Helper()
	resp, body := d.Ask("POST", path, form.Encode(), "Content-Type", "application/x-www-form-urlencoded")
	require.Equal(t, http.StatusSeeOther, resp.StatusCode, body)
	return resp.Header.Get("Location")
}

// What came for a house before it was made is offered on its pages, and taken.
func TestMessagesForAHouseThatIsMadeLaterAreTakenByAButton(t *testing.T) {
	d := running.Start(t, nil)
	for i := range 3 {
		d.Publish("dewcase/larch-3/k1", fmt.Sprintf(`{"time":"2026-11-20T06:1%d:00Z","temp_c":4,"rh_pct":90}`, i), false)
	}
	d.Publish("dewcase/larch-3/n7", `{"time":"2026-11-20T06:10:00Z","temp_c":4}`, false)
	patience.Until(t, "listed", func() bool {
		_, page := d.Ask("GET", "/messages", "")
		return strings.Contains(page, `href="/new?case=larch-3"`)
	})
	_, form := d.Ask("GET", "/new?case=larch-3", "")
	require.Contains(t, form, `value="larch-3"`)
	d.Ask("PUT", "/api/cases/larch-3/file", house)
	_, page := d.Ask("GET", "/cases/larch-3/positions", "")
	require.Contains(t, page, "4 messages with 4 readings of k1 and n7")
	to := post(t, d, "/messages/kept", url.Values{"case": {"larch-3"}, "back": {"positions"}})
	_, page = d.Ask("GET", to, "")
	require.Contains(t, page, "4 readings stored")
	require.NotContains(t, page, "Take them", "taken once")
	_, csv := d.Ask("GET", "/api/cases/larch-3/readings.csv", "")
	require.Equal(t, 5, strings.Count(csv, "\n"), csv)

	require.Contains(t, page, "n7", "and the logger that is fitted nowhere is fitted there")
	to = post(t, d, "/messages/fit", url.Values{"case": {"larch-3"}, "logger": {"n7"}, "place": {"new:loft"},
		"since": {"first"}, "back": {"positions"}})
	_, page = d.Ask("GET", to, "")
	require.Contains(t, page, "Logger n7 is fitted at loft.")
	require.NotContains(t, page, "fitted nowhere")
	_, file := d.Ask("GET", "/api/cases/larch-3/file", "")
	require.Contains(t, file, "{id: n7, fitted: [{position: loft, from: 2026-11-20T06:10:00Z}]}")
	require.Contains(t, file, "{id: loft, place: loft_air}")
	require.Contains(t, file, "events:\n  - {at: 2026-11-02T12:00:00Z", "the rest is as it was")
}

// An announced sensor becomes a logger by its page: its topic is asked of the
// outside broker at once, and asked for no more once its mapping is removed.
func TestASensorThatAnnouncesItselfIsFittedFromItsOffer(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	bridge, heard := follow(t, b, "", "homeassistant/#")
	say := func(topic, body string) { require.NoError(t, running.Done(bridge.Publish(topic, 1, true, body))) }
	sensor := func(name, unit string) string {
		return fmt.Sprintf(`{"name":%q,"uniq_id":"zb1_%[1]s","stat_t":"bridge/zb1","val_tpl":"{{ value_json.%[1]s }}",
			"dev_cla":%[1]q,"unit_of_meas":%q,"dev":{"ids":["zb1"],"name":"Attic node"}}`, name, unit)
	}
	say("homeassistant/sensor/zb1/temperature/config", sensor("temperature", "°C"))
	say("homeassistant/sensor/zb1/humidity/config", sensor("humidity", "%"))
	say("homeassistant/sensor/zb1/pressure/config", sensor("pressure", "hPa"))
	say("homeassistant/sensor/odd/temperature/config", strings.Replace(sensor("temperature", "°C"), "}}\"",
		" * 2 }}\"", 1))
	d := running.Start(t, func(c *config.Config) {
		c.MQTT.Broker = "mqtt://" + b.Addr()
		c.MQTT.Discovery.Announce, c.MQTT.Discovery.Listen = true, true
	})
	d.Ask("PUT", "/api/cases/larch-3/file", house)
	var page string
	patience.Until(t, "offered", func() bool {
		_, page = d.Ask("GET", "/messages", "")
		return strings.Contains(page, "Attic node") && strings.Contains(page, "computes")
	})
	patience.Until(t, "announced too", func() bool { return len(heard.topics("homeassistant/binary_sensor/")) == 2 })
	require.Equal(t, 1, strings.Count(page, `name="offer"`), "our own come back and are no offers")
	require.Contains(t, page, "temperature on <code>bridge/zb1</code>")

	_, form := d.Ask("GET", "/messages/read?case=larch-3&offer=zb1", "")
	text := html.UnescapeString(between(form, "spellcheck=\"false\">", "</textarea>"))
	to := post(t, d, "/messages/read", url.Values{"case": {"larch-3"}, "name": {"Attic node"}, "text": {text},
		"do": {"take"}, "place.Attic-node": {"new:loft"}, "since": {"now"}})
	_, page = d.Ask("GET", to, "")
	require.Contains(t, page, "Messages of Attic node are read from now on.")
	value := func(n int) {
		require.NoError(t, running.Done(bridge.Publish("bridge/zb1", 1, false,
			fmt.Sprintf(`{"temperature":4.%d,"humidity":91}`, n))))
	}
	stored := func() float64 { return d.Metric("dewcase_readings_stored_total") }
	n := 0
	patience.Until(t, "it comes", func() bool { n++; value(n % 10); return stored() > 0 })
	_, csv := d.Ask("GET", "/api/cases/larch-3/readings.csv", "")
	require.Contains(t, csv, ",Attic-node,4.")
	_, page = d.Ask("GET", "/cases/larch-3/positions", "")
	require.NotContains(t, page, "fitted nowhere")
	_, page = d.Ask("GET", "/messages", "")
	require.NotContains(t, page, `name="offer"`, "what is read is offered no more")

	_, page = d.Ask("GET", "/cases/larch-3/mappings", "")
	require.Contains(t, page, "<code>bridge/zb1</code>")
	require.Contains(t, page, "bridge/zb1 is read")
	post(t, d, "/cases/larch-3/mappings", url.Values{"version": {"1"}, "remove": {"0"}})
	heardOf := func() float64 { return stored() + d.Metric(`dewcase_readings_rejected_total{reason="bad_topic"}`) }
	// The broker hands on in order: what is asked for still comes after all else.
	after := func(minute int) {
		marker := fmt.Sprintf("2026-11-20T06:%02d:00Z", minute)
		require.NoError(t, running.Done(bridge.Publish("dewcase/larch-3/k1", 1, false,
			fmt.Sprintf(`{"time":%q,"temp_c":4,"rh_pct":90}`, marker))))
		patience.Until(t, "a later message is stored and counted", func() bool {
			_, csv := d.Ask("GET", "/api/cases/larch-3/readings.csv", "")
			return strings.Contains(csv, marker) && stored() == float64(strings.Count(csv, "\n")-1)
		})
	}
	after(1)
	before := heardOf()
	value(1)
	value(2)
	after(2)
	require.Equal(t, before+1, heardOf(), "the topic is asked for no more")
	_, page = d.Ask("GET", "/messages", "")
	require.Contains(t, page, `name="offer"`, "and is offered again")
	resp, _ := d.Ask("POST", "/cases/larch-3/mappings", url.Values{"version": {"1"}, "text": {"[]"}}.Encode(),
		"Content-Type", "application/x-www-form-urlencoded")
	require.Equal(t, http.StatusConflict, resp.StatusCode, "somebody changed them in the meantime")
}

func between(s, from, to string) string {
	_, s, _ = strings.Cut(s, from)
	s, _, _ = strings.Cut(s, to)
	return s
}
