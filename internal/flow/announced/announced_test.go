package announced_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/announced"
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

const prefix = "homeassistant"

func read(t *testing.T, topic, body string) announced.Sensor {
	t.Helper()
	s, err := announced.Read(prefix, topic, []byte(body))
	require.NoError(t, err)
	return s
}

func TestAnAnnouncementIsReadInItsLongAndShortForm(t *testing.T) {
	long := read(t, prefix+"/sensor/zb-1/temperature/config", `{"name":"Temperature","unique_id":"zb-1_temperature",
		"state_topic":"bridge/loft","value_template":"{{ value_json.env['temp/c'] }}","device_class":"temperature",
		"unit_of_measurement":"°F","device":{"identifiers":["zb-1"],"name":"Loft node"},"expire_after":600}`)
	require.Equal(t, announced.Sensor{Topic: prefix + "/sensor/zb-1/temperature/config", ID: "zb-1_temperature",
		Device: "zb-1", DeviceName: "Loft node", Name: "Temperature", StateTopic: "bridge/loft", Pointer: "/env/temp~1c",
		Quantity: roof.TempC, Unit: payload.Fahrenheit}, long)
	short := read(t, prefix+"/sensor/zb-1/config", `{"~":"bridge/loft","stat_t":"~/humidity","dev_cla":"humidity",
		"unit_of_meas":"%","uniq_id":"h1","dev":{"ids":"zb-1","name":"Loft node"}}`)
	require.Equal(t, "bridge/loft/humidity", short.StateTopic)
	require.Empty(t, short.Pointer, "a bare value")
	require.Equal(t, "zb-1", short.Device)
}

func TestWhatCannotBeTakenIsSaidWhy(t *testing.T) {
	const humidity = `"device_class":"humidity","unit_of_measurement":"%","state_topic":`
	for body, want := range map[string]string{
		`{"device_class":"pressure"}`:                                     "neither temperature nor humidity",
		`{"device_class":"humidity"`:                                      "not JSON",
		`{"device_class":"humidity"}`:                                     `unit is ""`,
		`{` + humidity + `"a/#"}`:                                         "none that a value comes on",
		`{` + humidity + `"a","value_template":"{{ value_json.h * 2 }}"}`: "computes",
		`{` + humidity + `"a","value_template":"{% if x %}{% endif %}"}`:  "computes",
	} {
		_, err := announced.Read(prefix, prefix+"/sensor/a/b/config", []byte(body))
		require.ErrorContains(t, err, want, body)
	}
	_, err := announced.Read(prefix, prefix+"/switch/a/b/config", []byte(`{"device_class":"humidity"}`))
	require.ErrorIs(t, err, announced.ErrOther)
	require.True(t, announced.On(prefix, prefix+"/switch/a/config"))
	require.False(t, announced.On(prefix, prefix+"/status"))
}

// An offer becomes readings by the same decoder as every mapping.
func TestAnOfferBecomesOneLogger(t *testing.T) {
	offers := announced.Offers([]announced.Sensor{
		read(t, prefix+"/sensor/zb-1/t/config", `{"name":"Temperature","unique_id":"zb-1_t","stat_t":"bridge/loft",
			"val_tpl":"{{value_json.temperature}}","dev_cla":"temperature","unit_of_meas":"°C",
			"dev":{"ids":["zb-1"],"name":"Loft node 1"}}`),
		read(t, prefix+"/sensor/zb-1/h/config", `{"name":"Humidity","unique_id":"zb-1_h","stat_t":"bridge/loft",
			"val_tpl":"{{value_json.humidity}}","dev_cla":"humidity","unit_of_meas":"%",
			"dev":{"ids":["zb-1"],"name":"Loft node 1"}}`),
		read(t, prefix+"/sensor/zb-1/b/config", `{"name":"Battery","unique_id":"zb-1_b","stat_t":"bridge/loft",
			"val_tpl":"{{value_json.battery}}","dev_cla":"battery","unit_of_meas":"%",
			"dev":{"ids":["zb-1"],"name":"Loft node 1"}}`),
		read(t, prefix+"/sensor/two/t1/config", `{"name":"Air temperature","uniq_id":"two_air_temperature",
			"stat_t":"node/two/air","dev_cla":"temperature","unit_of_meas":"°C","dev":{"ids":["two"],"name":"Two probes"}}`),
		read(t, prefix+"/sensor/two/h1/config", `{"name":"Air humidity","uniq_id":"two_air_humidity","stat_t":"node/two/rh",
			"dev_cla":"humidity","unit_of_meas":"%","dev":{"ids":["two"],"name":"Two probes"}}`),
		read(t, prefix+"/sensor/two/t2/config", `{"name":"Slate temperature","uniq_id":"two_slate_temperature",
			"stat_t":"node/two/slate","dev_cla":"temperature","unit_of_meas":"°C","dev":{"ids":["two"],"name":"Two probes"}}`),
	})
	require.Len(t, offers, 3)
	require.Equal(t, "Loft-node-1", offers[0].Logger())
	require.Equal(t, "Two probes, air", offers[1].Name)
	require.Len(t, offers[1].Sensors, 2)
	require.Equal(t, "Two-probes-slate", offers[2].Logger())

	var all []payload.Mapping
	for _, o := range offers {
		all = append(all, o.Mappings("larch-3", o.Logger())...)
	}
	require.Len(t, all, 4)
	dec, err := payload.New(all)
	require.NoError(t, err)
	at := time.Date(2026, 11, 30, 6, 0, 0, 0, time.UTC)
	got := map[string]roof.Values{}
	for topic, body := range map[string]string{
		"bridge/loft":  `{"temperature":4.25,"humidity":"91","battery":80,"linkquality":3}`,
		"node/two/air": "5.5", "node/two/rh": "88 ", "node/two/slate": "1.5"} {
		caseID, readings, rejects := dec.Decode(payload.Message{Topic: topic, Payload: []byte(body), Arrived: at})
		require.Empty(t, rejects)
		require.Equal(t, "larch-3", caseID)
		got[readings[0].Logger+" "+topic] = readings[0].Values
	}
	want := func(pairs ...float64) (v roof.Values) {
		for q, x := range pairs {
			if x > 0 {
				v.Set(roof.Quantity(q), x)
			}
		}
		return v
	}
	require.Equal(t, want(4.25, 91, 80), got["Loft-node-1 bridge/loft"])
	require.Equal(t, want(1.5), got["Two-probes-slate node/two/slate"])
	_, _, rejects := dec.Decode(payload.Message{Topic: "bridge/loft", Payload: []byte(`{"temperature":1}`), Retained: true,
		Arrived: at})
	require.Empty(t, rejects, "a retained value is left aside")
}

func FuzzRead(f *testing.F) {
	f.Add(prefix+"/sensor/a/b/config", []byte(`{"~":"x","stat_t":"~/y","dev_cla":"humidity","unit_of_meas":"%",
		"val_tpl":"{{ value_json['a/b'].c }}"}`))
	f.Fuzz(func(t *testing.T, topic string, body []byte) {
		s, err := announced.Read(prefix, topic, body)
		if err != nil {
			return
		}
		for _, o := range announced.Offers([]announced.Sensor{s}) {
			if !roof.ValidID(o.Logger()) {
				t.Fatalf("%q cannot name a logger", o.Logger())
			}
			_, _ = payload.New(o.Mappings("larch-3", o.Logger()))
		}
	})
}
