package payload

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"dewcase/internal/roof"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"
)

// seed adds the messages of a golden to a corpus.
func seed(f *testing.F, d map[string]*Decoder, names ...string) {
	for _, name := range names {
		archive, err := txtar.ParseFile(filepath.Join(goldens, name+".txtar"))
		require.NoError(f, err)
		for _, file := range archive.Files {
			switch file.Name {
			case "mappings.yaml":
				d[name] = decoder(f, string(file.Data))
			case "messages":
				for line := range strings.Lines(string(file.Data)) {
					m := message(f, strings.TrimSuffix(line, "\n"))
					f.Add(m.Topic, m.Payload, m.Retained)
				}
			}
		}
	}
}

// sound fails on what no message may become: a value, name or time that cannot
// be kept, a reading out of nothing, text unfit for a log.
func sound(t *testing.T, m Message, caseID string, readings []roof.Reading, rejects []roof.Reject) {
	t.Helper()
	for _, r := range readings {
		if !roof.ValidCaseID(caseID) || !roof.ValidID(r.Logger) || r.At.IsZero() || r.At.Nanosecond()%1e6 != 0 {
			t.Fatalf("%q on %q became %s %+v", m.Payload, m.Topic, caseID, r)
		}
		for q := range roof.Quantity(roof.QuantityCount) {
			x, ok := r.Values.Get(q)
			if ok && (math.IsNaN(x) || math.IsInf(x, 0)) {
				t.Fatalf("%q became %v", m.Payload, x)
			}
			if ok && utf8.Valid(m.Payload) && !strings.ContainsAny(string(m.Payload), "0123456789") {
				t.Fatalf("%v out of %q", x, m.Payload)
			}
		}
		if m.Retained && r.Flags&(roof.FlagRetained|roof.FlagArrivalTime) != roof.FlagRetained {
			t.Fatalf("%q retained became %+v", m.Payload, r)
		}
	}
	for _, r := range rejects {
		if r.Reason == "" || r.Detail == "" || !utf8.ValidString(r.Detail) || !utf8.ValidString(r.Source) ||
			strings.ContainsAny(r.Detail+r.Source, "\n\r\x00") || len(r.Payload) > keptBytes {
			t.Fatalf("%q gave %+v", m.Payload, r)
		}
	}
}

// FuzzDecodeNative: the native object and array, and SenML by its labels.
func FuzzDecodeNative(f *testing.F) {
	decoders := map[string]*Decoder{}
	seed(f, decoders, "native", "senml", "senml-rfc")
	d := decoders["native"]
	f.Fuzz(func(t *testing.T, topic string, body []byte, retained bool) {
		for _, topic := range []string{topic, "dewcase/c/a"} {
			m := Message{Topic: topic, Payload: body, Retained: retained, Arrived: start}
			caseID, readings, rejects := d.Decode(m)
			sound(t, m, caseID, readings, rejects)
		}
	})
}

// FuzzDecodeMapped: every mapping of the goldens, on the topic as it comes.
func FuzzDecodeMapped(f *testing.F) {
	decoders := map[string]*Decoder{}
	seed(f, decoders, "nested-json", "bare-number", "lorawan", "zigbee-bridge", "ble-gateway", "senml", "around", "homie")
	f.Fuzz(func(t *testing.T, topic string, body []byte, retained bool) {
		for _, d := range decoders {
			m := Message{Topic: topic, Payload: body, Retained: retained, Arrived: start}
			caseID, readings, rejects := d.Decode(m)
			for i := range readings { // pairing may add what an earlier message said
				if strings.HasPrefix(topic, "house9/") || strings.HasPrefix(topic, "homie/") {
					readings[i].Values = roof.Values{}
				}
			}
			sound(t, m, caseID, readings, rejects)
		}
	})
}

// FuzzMapping: no text of a configuration makes a decoder fail at run time.
func FuzzMapping(f *testing.F) {
	files, err := filepath.Glob(filepath.Join(goldens, "*.txtar"))
	require.NoError(f, err)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(string(txtar.Parse(data).Files[0].Data), "kestrel/a/l", []byte(`{"t":1,"h":"2"}`))
	}
	f.Fuzz(func(t *testing.T, text, topic string, body []byte) {
		mappings, faults := readAll(text)
		d, err := New(mappings)
		if err != nil {
			return
		}
		if len(faults) > 0 {
			return
		}
		for _, topic := range append(d.Filters(), topic) {
			m := Message{Topic: topic, Payload: body, Arrived: start}
			caseID, readings, rejects := d.Decode(m)
			for _, r := range readings {
				if !roof.ValidCaseID(caseID) || !roof.ValidID(r.Logger) {
					t.Fatalf("%q became %s %+v", body, caseID, r)
				}
			}
			_ = rejects
		}
	})
}

// FuzzPropose: whatever came, a proposal can be read back and makes readings.
func FuzzPropose(f *testing.F) {
	seed(f, map[string]*Decoder{}, "nested-json", "bare-number", "lorawan", "zigbee-bridge", "ble-gateway", "senml",
		"probes", "bthome", "line-protocol", "lorawan")
	f.Fuzz(func(t *testing.T, topic string, body []byte, retained bool) {
		m := Message{Topic: topic, Payload: body, Retained: retained, Arrived: start}
		for _, p := range Propose("c", "Europe/London", []Message{m, m}) {
			again, faults := ReadMappings("m", []byte(WriteMappings([]Mapping{p.Mapping})))
			require.Empty(t, faults)
			became, err := Become(again, []Message{m})
			require.NoError(t, err)
			if len(became[0].Readings) == 0 && p.Taken == 2 {
				t.Fatalf("%q on %q is read by what was proposed, and not by what was written", body, topic)
			}
		}
	})
}

// The forms that are not JSON, each by a mapping that takes every payload.
func fuzzForms(f *testing.F, golden string, mappings string, bodies ...string) {
	seed(f, map[string]*Decoder{}, golden)
	for _, b := range bodies {
		f.Add("a", written(f, b), false)
	}
	d := decoder(f, mappings)
	f.Fuzz(func(t *testing.T, topic string, body []byte, retained bool) {
		for i := range len(*d.mappings.Load()) {
			m := Message{Topic: "f/" + string(rune('0'+i)), Payload: body, Retained: retained, Arrived: start}
			caseID, readings, rejects := d.Decode(m)
			for i := range readings {
				for _, q := range []roof.Quantity{roof.TempC, roof.RHPct} {
					if x, ok := readings[i].Values.Get(q); ok && (math.IsNaN(x) || math.IsInf(x, 0)) {
						t.Fatalf("%q became %v", body, x)
					}
				}
				readings[i].Values = roof.Values{} // bytes have no digits to look for
			}
			sound(t, m, caseID, readings, rejects)
		}
	})
}

func FuzzFrames(f *testing.F) {
	fuzzForms(f, "bthome", "- {topic: f/0, case: c, logger: l, form: bthome}\n- {topic: f/1, case: c, logger: l, "+
		"form: rawv2}\n- {topic: f/2, case: c, logger_pointer: /mac, form: bthome, data: /service_data/fcd2}\n",
		"0x4002b501037922", "0x40540302010002b501", "0x0512FC5394C37C0004FFFC040CAC364200CDCBB8334C884F")
}

func FuzzLineProtocol(f *testing.F) {
	const fields = "fields: [{quantity: temp_c, pointer: /fields/t, unit: C}, {quantity: rh_pct, pointer: /fields/h, " +
		"unit: percent}]"
	fuzzForms(f, "line-protocol", "- {topic: f/0, case: c, logger: l, form: line, "+fields+"}\n- {topic: f/1, case: c, "+
		"logger_pointer: /tags/sensor, form: line, time: {pointer: /time, form: s}, "+fields+"}\n",
		`a,sensor=x t=1,h=2 3\na t=1`)
}

func FuzzCBOR(f *testing.F) {
	fuzzForms(f, "line-protocol", "- {topic: f/0, case: c, logger: l, form: senml}\n- {topic: f/1, case: c, logger: l, "+
		"form: native}\n- {topic: f/2, case: c, logger_pointer: /n, each: \"#\", form: cbor, fields: [{quantity: temp_c, "+
		"pointer: /v, unit: C}], time: {pointer: /t, form: s}}\n",
		"0x82a5221a69673590006174016343656c02fb40113d70a3d70a3d21636b373aa3016325524802fb405719999999999a006168",
		"0x81a3006174016343656c02c482211901af", "0x9fa3006174016343656c02f94440ff", "0xa3616e6178617601617401")
}

func FuzzText(f *testing.F) {
	fuzzForms(f, "line-protocol", `
- {topic: f/0, case: c, logger: l, form: text, fields: [{quantity: temp_c, pointer: /t, unit: C, text: yes}]}
- topic: f/1
  case: c
  logger_pointer: /0
  form: text
  fields: [{quantity: rh_pct, pointer: /1, unit: percent, decimal: ","}]
- topic: f/2
  case: c
  logger: l
  each: /d
  each_name: suffix
  fields: [{quantity: temp_c, pointer: /t, unit: C}]
`, "t=4.3 h=92", "k1;92,5", "t: 4; h: 92 %", "t=1&h=2+3", `{"d":"[{\"t\":1}]"}`)
}
