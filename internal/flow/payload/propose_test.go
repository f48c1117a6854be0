package payload

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// TestMessagesProposeTheirMapping: from messages as they come to what a person
// needs only to look at.
func TestMessagesProposeTheirMapping(t *testing.T) {
	for name, tc := range map[string]struct{ messages, want string }{
		"flat": {`n/k1/data :: {"temperature":4.3,"humidity":91.2,"battery":83,"rssi":-70}
n/k2/data :: {"temperature":5.3,"humidity":81.2,"battery":80,"rssi":-71}`, `- topic: "n/{logger}/data"
  case: c
  only_present: yes
  fields:
    - {quantity: temp_c, pointer: /temperature, unit: C}
    - {quantity: rh_pct, pointer: /humidity, unit: percent}
    - {quantity: battery_pct, pointer: /battery, unit: percent}
`},
		"nested, with a time": {`kestrel/roof/batten-2 :: {"ts":"2026-01-14T06:20:00+01:00","env":{"temp":{"c":-1.25},"rh":0.982}}
kestrel/roof/batten-2 :: {"ts":"2026-01-14T06:25:00+01:00","env":{"temp":{"c":-1.5},"rh":0.978}}`,
			`- topic: "kestrel/roof/{logger}"
  case: c
  only_present: yes
  fields:
    - {quantity: temp_c, pointer: /env/temp/c, unit: C}
    - {quantity: rh_pct, pointer: /env/rh, unit: fraction}
  time: {pointer: /ts, form: rfc3339}
`},
		"two probes": {`node/a1 :: {"t1":4.31,"h1":92.4,"t2":1.5,"uptime":99}`, `- topic: "node/{logger}"
  case: c
  only_present: yes
  fields:
    - {quantity: temp_c, pointer: /t1, unit: C}
    - {quantity: rh_pct, pointer: /h1, unit: percent}
  probes:
    - suffix: "-2"
      fields:
        - {quantity: temp_c, pointer: /t2, unit: C}
`},
		"bare numbers": {`house9/loft/temp :: 4,37 C
house9/loft/hum :: 88
house9/void/temp :: 2,1 C
house9/void/rssi :: -70`, `- topic: "house9/{logger}/{quantity}"
  case: c
  form: number
  fields:
    - {quantity: temp_c, segment: temp, unit: C, decimal: ",", suffix: C}
    - {quantity: rh_pct, segment: hum, unit: percent}
`},
		"states": {`states/sensor/loft_temperature/state :: 4.3
states/sensor/loft_humidity/state :: 88
states/sensor/void_temperature/state :: unavailable
states/sensor/void_temperature/state :: 2.1`, `- topic: "states/sensor/{logger}_{quantity}/state"
  case: c
  form: number
  fields:
    - {quantity: rh_pct, segment: humidity, unit: percent}
    - {quantity: temp_c, segment: temperature, unit: C}
`},
		"devices of one topic": {`rf/events :: {"time":"2026-01-14 06:20:01","model":"TH-1","id":113,"temperature_C":-1.2,"humidity":91}
rf/events :: {"time":"2026-01-14 06:20:02","model":"TH-1","id":7,"temperature_C":3.2,"humidity":81}
rf/events :: {"time":"2026-01-14 06:20:05","model":"TH-1","id":113,"temperature_C":-1.2,"humidity":91}
rf/events :: {"time":"2026-01-14 06:20:05","model":"bell","id":3,"button":1}`, `- topic: rf/events
  case: c
  logger_pointer: /id
  only_present: yes
  fields:
    - {quantity: temp_c, pointer: /temperature_C, unit: C}
    - {quantity: rh_pct, pointer: /humidity, unit: percent}
  time: {pointer: /time, form: layout, layout: "YYYY-MM-DD hh:mm:ss", zone: Europe/London}
`},
		"an array of probes": {`site/n4 :: {"ts":1768371600,"items":[{"name":"loft air","t":4.3,"h":91},{"name":"slate","t":2.1}]}
site/n4 :: {"ts":1768371900,"items":[{"name":"loft air","t":4.5,"h":90},{"name":"slate","t":2.2}]}`, `- topic: site/n4
  case: c
  logger_pointer: /name
  loggers: {"loft air": loft-air}
  only_present: yes
  each: "#/items"
  fields:
    - {quantity: temp_c, pointer: /t, unit: C}
    - {quantity: rh_pct, pointer: /h, unit: percent}
  time: {pointer: "#/ts", form: s}
`},
		"fahrenheit beside celsius": {`n/a :: {"tF":39.7,"tC":4.3,"rh":90}`, `- topic: "n/{logger}"
  case: c
  only_present: yes
  fields:
    - {quantity: temp_c, pointer: /tC, unit: C}
    - {quantity: rh_pct, pointer: /rh, unit: percent}
`},
		"halves in messages of their own": {
			`rpc/dev-1/events :: {"method":"NotifyStatus","params":{"ts":1768371600.12,"temperature:100":{"id":100,"tC":4.3,"tF":39.7}}}
rpc/dev-1/events :: {"method":"NotifyStatus","params":{"ts":1768371600.98,"humidity:100":{"id":100,"rh":91.2}}}
rpc/dev-1/events :: {"method":"NotifyStatus","params":{"ts":1768371605,"temperature:101":{"id":101,"tC":1.3,"tF":34.3}}}`,
			`- topic: "rpc/{logger}/events"
  case: c
  only_present: yes
  fields:
    - {quantity: temp_c, pointer: "/params/temperature:100/tC", unit: C}
    - {quantity: rh_pct, pointer: "/params/humidity:100/rh", unit: percent}
  probes:
    - suffix: "-101"
      fields:
        - {quantity: temp_c, pointer: "/params/temperature:101/tC", unit: C}
  time: {pointer: /params/ts, form: s}
  pair_s: 90
`},
		"SenML": {`x/eaves-7 :: [{"bn":"e:","bt":1768371600,"n":"t","u":"Cel","v":3.4}]`, `- topic: "x/{logger}"
  case: c
  form: senml
`},
		"a German clock and units in the text": {`home/dach/klima :: {"Zeit":"14.01.2026 06:20:00","Temperatur":"12,4 °C","Luftfeuchtigkeit":"81,5 %"}`,
			`- topic: "home/dach/{logger}"
  case: c
  only_present: yes
  fields:
    - {quantity: temp_c, pointer: /Temperatur, unit: C, text: yes, decimal: ",", suffix: "°C"}
    - {quantity: rh_pct, pointer: /Luftfeuchtigkeit, unit: percent, text: yes, decimal: ",", suffix: "%"}
  time: {pointer: /Zeit, form: layout, layout: "DD.MM.YYYY hh:mm:ss", zone: Europe/London}
`},
		"French keys with accents": {`m/comble :: {"horodatage":"2026-01-14T06:20:00+0100","température":4.2,"humidité":93}`,
			`- topic: "m/{logger}"
  case: c
  only_present: yes
  fields:
    - {quantity: temp_c, pointer: "/température", unit: C}
    - {quantity: rh_pct, pointer: "/humidité", unit: percent}
  time: {pointer: /horodatage, form: layout, layout: "YYYY-MM-DDThh:mm:ssZ"}
`},
		"date and time apart, a dew point in one word, a battery in volts": {
			`n/a :: {"date":"01/14/2026","time":"06:20:00 AM","Innentemperatur":"20,1","Taupunkttemperatur":"9,3","rF":"45","batt":3.1}`,
			`- topic: "n/{logger}"
  case: c
  only_present: yes
  fields:
    - {quantity: temp_c, pointer: /Innentemperatur, unit: C, text: yes, decimal: ","}
    - {quantity: rh_pct, pointer: /rF, unit: percent, text: yes}
  time: {pointer: /time, date: /date, form: layout, layout: "MM/DD/YYYY hh:mm:ss AM", zone: Europe/London}
`},
		"things measured named in an array": {
			`n/12/data :: {"ts":1768371600,"list":[{"type":"temperature","value":39.7,"unit":"°F"},{"type":"humidity","value":91,"unit":"%"}]}`,
			`- topic: "n/{logger}/data"
  case: c
  only_present: yes
  each: "#/list"
  fields:
    - {quantity: temp_c, pointer: /value, where: {/type: temperature}, unit: F}
    - {quantity: rh_pct, pointer: /value, where: {/type: humidity}, unit: percent}
  time: {pointer: "#/ts", form: s}
`},
		"nodes within gateways": {
			`g/8 :: {"gateways":[{"gw":"a","nodes":[{"node":"n1","t":4.2,"rh":91},{"node":"n2","t":3.2,"rh":93}]},{"gw":"b","nodes":[{"node":"n3","t":2.2,"rh":95}]}]}`,
			`- topic: g/8
  case: c
  logger_pointer: /node
  only_present: yes
  each: "#/gateways/*/nodes"
  fields:
    - {quantity: temp_c, pointer: /t, unit: C}
    - {quantity: rh_pct, pointer: /rh, unit: percent}
`},
		"a series in columns is not several probes": {`x/y :: {"temp":[4.2,4.3],"rh":[91,92],"ts":[1768371600,1768371660]}`, ""},
		"a key that is a time":                      {`x/y :: {"1768371600":{"temp":4.2,"rh":91}}`, ""},
		"nothing of ours":                           {`x/y :: {"state":"on","dewpoint":3,"cpu_temp":55,"t":1768371600}`, ""},
		"a native topic":                            {`dewcase/c/l :: {"temperature":3}`, ""},
	} {
		t.Run(name, func(t *testing.T) {
			out := Propose("c", "Europe/London", messagesOf(t, tc.messages))
			if tc.want == "" {
				assert.Empty(t, out)
				return
			}
			require.NotEmpty(t, out)
			assert.Equal(t, tc.want, WriteMappings([]Mapping{out[0].Mapping}))
			again, faults := ReadMappings("m", []byte(tc.want))
			require.Empty(t, faults)
			assert.Equal(t, []Mapping{out[0].Mapping}, again, "what is written is read again")
		})
	}
}

func messagesOf(t testing.TB, text string) (out []Message) {
	at := time.Date(2026, 1, 14, 6, 21, 0, 0, time.UTC)
	for i, line := range strings.Split(text, "\n") {
		topic, body, ok := strings.Cut(line, " :: ")
		require.True(t, ok, line)
		out = append(out, Message{Topic: topic, Payload: []byte(body), Arrived: at.Add(time.Duration(i) * time.Second)})
	}
	return out
}

func TestWhatOnlyAPersonKnowsIsDoubtful(t *testing.T) {
	doubts := func(text string) string {
		out := Propose("c", "", messagesOf(t, text))
		require.NotEmpty(t, out)
		var b strings.Builder
		for _, k := range out[0].Keys {
			if k.Role != NoRole {
				fmt.Fprintf(&b, "%s %v %v; ", k.Pointer, k.By, k.Doubtful())
			}
		}
		return strings.TrimSuffix(b.String(), "; ")
	}
	assert.Equal(t, "/temp [name guess] true; /rh [name range] false", doubts(`n/a :: {"temp":48,"rh":55}`))
	assert.Equal(t, "/temp [name unit_beside] false", doubts(`n/a :: {"temp":48,"TempUnit":"F"}`))
	assert.Equal(t, "/temperature_F [name unit_named] false", doubts(`n/a :: {"temperature_F":48}`))
	assert.Equal(t, "/temp [name range] false", doubts(`n/a :: {"temp":277.46}`))
	assert.Equal(t, "/temp [name scale] true", doubts(`n/a :: {"temp":2137}`))
	assert.Equal(t, "/t [letter guess] true; /time [zone] true", doubts(`n/a :: {"t":4.1,"time":"2026-01-14 06:20:01"}`))
}

// What a proposal for a stranger's message makes of it, in its own time.
func TestAStrangersMessageBecomesWhatItSays(t *testing.T) {
	for name, c := range map[string]struct{ message, want string }{
		"an offset without a colon": {`m/comble :: {"horodatage":"2026-01-14T07:20:00+0100","température":4.2}`,
			"comble 2026-01-14T06:20:00Z temp_c 4.2"},
		"date and time apart, twelve hours": {`n/a :: {"date":"01/14/2026","time":"6:20:00 am","temp":4.2}`,
			"a 2026-01-14T06:20:00Z temp_c 4.2"},
		"nodes within gateways": {`g/8 :: {"g":[{"n":[{"node":"n1","t":4.2}]},{"n":[{"node":"n3","t":2.2}]}]}`,
			"n1 2026-01-14T06:21:00Z temp_c 4.2, n3 2026-01-14T06:21:00Z temp_c 2.2"},
		"things measured named in an array, as one reading": {
			`n/12/data :: {"l":[{"type":"temperature","value":4.2},{"type":"humidity","value":91}]}`,
			"12 2026-01-14T06:21:00Z temp_c 4.2 rh_pct 91"},
		"text that names its values": {`n/a :: t=4.2 h=91`, "a 2026-01-14T06:21:00Z temp_c 4.2 rh_pct 91"},
		"text in words, with units": {`n/a :: Temperature: 39.6 F; Rel. humidity: 91 %`,
			"a 2026-01-14T06:21:00Z temp_c 4.222222222 rh_pct 91"},
		"text with decimal commas": {`n/a :: t=4,2;h=91,5`, "a 2026-01-14T06:21:00Z temp_c 4.2 rh_pct 91.5"},
		"a query string, its time in UTC": {`n/a :: dateutc=2026-01-14+06:20:00&tempf=39.6&humidity=91`,
			"a 2026-01-14T06:20:00Z temp_c 4.222222222 rh_pct 91"},
		"JSON in a text": {`n/a :: {"node":"x","payload":"{\"temp\":4.2,\"rh\":91}"}`,
			"a 2026-01-14T06:21:00Z temp_c 4.2 rh_pct 91"},
		"an array of nodes in a text": {`n/a :: {"d":"[{\"mac\":\"k1\",\"temp\":4.2},` +
			`{\"mac\":\"k2\",\"temp\":2.2}]"}`,
			"k1 2026-01-14T06:21:00Z temp_c 4.2, k2 2026-01-14T06:21:00Z temp_c 2.2"},
		"an array for each node": {`g/up :: {"k1":[{"ts":1768371600000,"values":{"temp":4.2}}],` +
			`"k2":[{"ts":1768371600000,"values":{"temp":2.2}}]}`,
			"k1 2026-01-14T06:20:00Z temp_c 4.2, k2 2026-01-14T06:20:00Z temp_c 2.2"},
		"a year of two digits": {`n/a :: {"d":"14/01/26","z":"06:20","temp":4.2}`, "a 2026-01-14T06:20:00Z temp_c 4.2"},
		"lines that a tag tells apart": {"n/host :: climate,host=attic,room=loft temp=4.2 1768371600000000000\n" +
			"climate,host=attic,room=felt temp=2.2 1768371600000000000",
			"loft 2026-01-14T06:20:00Z temp_c 4.2, felt 2026-01-14T06:20:00Z temp_c 2.2"},
		"numbered channels of one probe": {`n/a :: {"temperature_1":4.2,"relative_humidity_2":91,"temperature_3":2.2}`,
			"a 2026-01-14T06:21:00Z temp_c 4.2 rh_pct 91, a-3 2026-01-14T06:21:00Z temp_c 2.2"},
		"a history of one node": {`g/up :: {"node":"k1","data":[{"ts":1768371600,"temp":4.2},{"ts":1768371540,` +
			`"temp":4.1}]}`,
			"g 2026-01-14T06:20:00Z temp_c 4.2, g 2026-01-14T06:19:00Z temp_c 4.1"},
	} {
		t.Run(name, func(t *testing.T) {
			messages := messagesOf(t, strings.ReplaceAll(c.message, "\n", "\x00"))
			for i := range messages {
				messages[i].Payload = bytes.ReplaceAll(messages[i].Payload, []byte{0}, []byte("\n"))
			}
			all := Propose("c", "Europe/London", messages)
			require.NotEmpty(t, all)
			became, err := Become([]Mapping{all[0].Mapping}, messages)
			require.NoError(t, err)
			var got []string
			for _, r := range became[0].Readings {
				line := r.Logger + " " + r.At.Format(time.RFC3339)
				for q := range roof.Quantity(roof.QuantityCount) {
					if x, ok := r.Values.Get(q); ok {
						line += fmt.Sprintf(" %s %g", q, x)
					}
				}
				got = append(got, line)
			}
			assert.Equal(t, c.want, strings.Join(got, ", "))
		})
	}
	all := Propose("c", "UTC", messagesOf(t, `n/a :: {"time":"14th of January, 6:20","temp":4.2}`))
	require.Len(t, all[0].TimesUnread(), 1)
	assert.Equal(t, "/time", all[0].TimesUnread()[0].Pointer)
}

// Several messages in which only together it is told what is what.
func TestSeveralMessagesTellWhatOneDoesNot(t *testing.T) {
	for name, c := range map[string]struct{ messages, want string }{
		"a topic for each quantity, JSON in each": {`k1/status/temperature:100 :: {"id":100,"tC":4.2,"tF":39.56}
k1/status/humidity:100 :: {"id":100,"rh":91}
k1/status/temperature:100 :: {"id":100,"tC":4.3,"tF":39.74}`, "k1 4.2 -; k1 4.2 91; k1 4.3 -"},
		"a topic for each quantity, one with its unit": {`r/dev/Nexus/123/temperature_C :: 4.2
r/dev/Nexus/123/humidity :: 91
r/dev/Nexus/123/battery_ok :: 1`, "123 4.2 -; 123 4.2 91; "},
		"Fahrenheit of some devices, Celsius of others": {`rf/e :: {"id":1,"temperature_C":4.2,"humidity":91}
rf/e :: {"id":2,"temperature_F":39.56,"humidity":92}
rf/e :: {"id":1,"temperature_C":4.3,"humidity":91}
rf/e :: {"id":2,"temperature_F":39.74,"humidity":92}`, "1 4.2 91; 2 4.2 92; 1 4.3 91; 2 4.3 92"},
		"tags of one gateway, a topic each": {`gw/C1/D1 :: {"gw_mac":"C1","data":"0201061BFF99040512FC5394C37C0004FFFC040CAC364200CDCBB8334C884F"}
gw/C1/D2 :: {"gw_mac":"C1","data":"0201061BFF99040512FC5394C37C0004FFFC040CAC364200CDCBB8334C884E"}`,
			"D1 24.3 53.49; D2 24.3 53.49"},
	} {
		t.Run(name, func(t *testing.T) {
			messages := messagesOf(t, c.messages)
			all := Propose("c", "Europe/London", messages)
			require.Len(t, all, 1)
			became, err := Become([]Mapping{all[0].Mapping}, messages)
			require.NoError(t, err)
			var got []string
			for _, b := range became {
				line := ""
				for _, r := range b.Readings {
					value := func(q roof.Quantity) string {
						if x, ok := r.Values.Get(q); ok {
							return fmt.Sprint(x)
						}
						return "-"
					}
					line += r.Logger + " " + value(roof.TempC) + " " + value(roof.RHPct)
				}
				got = append(got, line)
			}
			assert.Equal(t, c.want, strings.Join(got, "; "))
		})
	}
}

// A key of whatever name whose numbers are times of the arrival tells the time; one of
// a start does not.
func TestTheTimeIsFoundByItsForm(t *testing.T) {
	clock := func(text string) Clock {
		all := Propose("c", "UTC", messagesOf(t, text))
		require.NotEmpty(t, all)
		if all[0].Mapping.Time == nil {
			return Clock{}
		}
		return *all[0].Mapping.Time
	}
	assert.Equal(t, Clock{Pointer: "/stamp", Form: "us"}, clock(`n/a :: {"stamp":1768371600000000,"temp":4.2}
n/a :: {"stamp":1768371660000000,"temp":4.3}`))
	assert.Empty(t, clock(`n/a :: {"boot":1768371600,"temp":4.2}
n/a :: {"boot":1768371601,"temp":4.3}`))
	assert.Empty(t, clock(`n/a :: {"x":1768371600,"temp":4.2}
n/a :: {"x":1768371600,"temp":4.3}`), "it does not change")
}

// A local time that agrees with the arrival in one of the two zones only is proposed in
// that one, and a person confirms it.
func TestTheZoneIsProposedByTheArrival(t *testing.T) {
	zone := func(local, house string) (string, []Reason) {
		all := Propose("c", house, messagesOf(t, `n/a :: {"time":"2026-01-14 `+local+`","temp":4.2}`))
		require.NotEmpty(t, all)
		i := slices.IndexFunc(all[0].Keys, func(k Key) bool { return k.Role == TimeRole })
		assert.True(t, all[0].Keys[i].Doubtful())
		return all[0].Mapping.Time.Zone, all[0].Keys[i].By
	}
	for _, c := range []struct {
		local, house, zone string
		fits               bool
	}{{"07:20:30", "Europe/Berlin", "Europe/Berlin", true}, {"06:20:30", "Europe/Berlin", "UTC", true},
		{"06:20:30", "Europe/London", "Europe/London", false}, {"06:50:00", "Europe/Berlin", "Europe/Berlin", false}} {
		got, by := zone(c.local, c.house)
		assert.Equal(t, c.zone, got, c)
		assert.Equal(t, c.fits, slices.Contains(by, ZoneFits), c)
	}
}
