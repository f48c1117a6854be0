package payload

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A second probe that nothing reads is told, whatever the topic; what is no
// quantity, a derived figure or the same value in another unit is not.
func TestWhatLooksLikeAQuantityAndIsNotReadIsTold(t *testing.T) {
	d := decoder(t, `
- {topic: "n/{logger}", case: c, only_present: yes, fields: [{quantity: temp_c, pointer: /tC, unit: C}]}
- {topic: "b/{logger}/{quantity}", case: c, form: number, fields: [{quantity: temp_c, segment: temp, unit: C}]}
- {topic: "e/x", case: c, each: /s, each_name: logger, fields: [{quantity: temp_c, pointer: /t, unit: C}]}
`)
	for name, tc := range map[string]struct{ topic, body, want string }{
		"a second probe": {"dewcase/c/l", `{"temp_c":4,"rh_pct":90,"slate_temp":2.1}`, "/slate_temp temp_c 2.1"},
		"nothing but other names": {"dewcase/c/l", `{"temperature":4,"humidity":90}`,
			"/temperature temp_c 4, /humidity rh_pct 90"},
		"in an array":                {"dewcase/c/l", `[{"temp_c":4,"temp2":1},{"temp_c":5,"temp2":2}]`, "/temp2 temp_c 1"},
		"SenML of two probes":        {"dewcase/c/l", `[{"n":"air","u":"Cel","v":4},{"n":"slate","u":"Cel","v":2}]`, "slate temp_c 2"},
		"another unit of the same":   {"n/l", `{"tC":4,"tF":39.2}`, ""},
		"a further key of a mapping": {"n/l", `{"tC":4,"rh":90,"ext":{"temp":2}}`, "/rh rh_pct 90, /ext/temp temp_c 2"},
		"another device's":           {"n/l", `{"temperature":"4.3"}`, "/temperature temp_c 4.3"},
		"derived, set or its own":    {"n/l", `{"tC":4,"dew_point":1,"target_temp":20,"cpu_temp":51,"uptime":9,"battery":80}`, ""},
		"a bare number":              {"b/l/hum", "88", "/hum rh_pct 88"},
		"another topic of a device":  {"b/l/rssi", "-70", ""},
		"in members":                 {"e/x", `{"s":{"a":{"t":1,"h":90},"b":{"t":2}}}`, "/s/a/h rh_pct 90"},
	} {
		t.Run(name, func(t *testing.T) {
			one := d.decodeOne(Message{Topic: tc.topic, Payload: []byte(tc.body), Arrived: start}, true)
			var got []string
			for _, l := range one.left {
				got = append(got, fmt.Sprintf("%s %s %s", l.pointer, l.quantity, l.text))
			}
			assert.Equal(t, tc.want, strings.Join(got, ", "))
		})
	}
}

// They are counted by topic, also of the messages that were not looked at, and
// begin anew with other mappings.
func TestWhatIsNotReadIsCountedByTopic(t *testing.T) {
	d := decoder(t, "[]")
	for i := range 1000 {
		body := `{"temp_c":4}`
		if i >= 2 {
			body = `{"temp_c":4,"temp2":1}`
		}
		_, readings, _ := d.Decode(Message{Topic: "dewcase/c/l", Payload: []byte(body), Arrived: start})
		require.Len(t, readings, 1)
	}
	for i := range 2 * maxWatched {
		d.Decode(Message{Topic: fmt.Sprintf("dewcase/c/l%d", i), Payload: []byte(`{"temp_c":1,"temp2":2}`), Arrived: start})
	}
	all := d.Untaken()
	require.Len(t, all, maxWatched, "the topics watched are bounded")
	assert.Equal(t, "/temp2", all[0].Pointer)
	assert.Equal(t, "c", all[0].Case)
	assert.EqualValues(t, 998, all[0].Count)
	put, err := d.Remap(OfHouses, nil)
	require.NoError(t, err)
	put()
	assert.Empty(t, d.Untaken())
}
