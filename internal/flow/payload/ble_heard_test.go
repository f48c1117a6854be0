package payload

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/roof"
)

// One frame heard by two gateways is one reading, under the time at which it was heard
// first; whatever differs in it is another.
func TestAFrameHeardByTwoGatewaysIsOneReading(t *testing.T) {
	const rawV2A = "0512FC5394C37C0004FFFC040CAC364200CDCBB8334C884F"
	type heard struct {
		gateway, frame string
		after          time.Duration
	}
	for name, c := range map[string]struct {
		form Form
		all  []heard
		want []time.Duration // of each message's reading, after the first
	}{
		"two gateways, a second apart": {BTHomeForm, []heard{{"gw1", "40000702b501037922", 0},
			{"gw2", "40000702b501037922", time.Second}}, []time.Duration{0, 0}},
		"the next measurement, of the same values": {BTHomeForm, []heard{{"gw1", "40000702b501037922", 0},
			{"gw2", "40000802b501037922", time.Second}}, []time.Duration{0, time.Second}},
		"other values under the same packet id": {BTHomeForm, []heard{{"gw1", "40000702b501037922", 0},
			{"gw2", "40000702b601037922", time.Second}}, []time.Duration{0, time.Second}},
		"without a packet id": {BTHomeForm, []heard{{"gw1", "4002b501037922", 0}, {"gw2", "4002b501037922", time.Second}},
			[]time.Duration{0, time.Second}},
		"the packet id come round": {BTHomeForm, []heard{{"gw1", "40000702b501037922", 0},
			{"gw1", "40000702b501037922", 61 * time.Second}}, []time.Duration{0, 61 * time.Second}},
		"RAWv2": {RAWv2Form, []heard{{"gw1", rawV2A, 0}, {"gw2", rawV2A, 4 * time.Minute}}, []time.Duration{0, 0}},
		"RAWv2, the next measurement": {RAWv2Form, []heard{{"gw1", rawV2A, 0},
			{"gw2", "0512FC5394C37C0004FFFC040CAC364200CECBB8334C884F", time.Second}}, []time.Duration{0, time.Second}},
	} {
		t.Run(name, func(t *testing.T) {
			d, err := New([]Mapping{{Topic: "blegw/+/adv", Case: "c", LoggerPointer: "/addr", Form: c.form, Data: "/data",
				Loggers: map[string]string{"02:00": "k1"}}})
			require.NoError(t, err)
			for i, h := range c.all {
				_, readings, rejects := d.Decode(Message{Topic: "blegw/" + h.gateway + "/adv", Arrived: heardAt.Add(h.after),
					Payload: fmt.Appendf(nil, `{"addr":"02:00","rssi":-%d,"data":%q}`, 70+i, h.frame)})
				require.Empty(t, rejects)
				require.Len(t, readings, 1)
				assert.Equal(t, c.want[i], readings[0].At.Sub(heardAt))
				assert.Equal(t, heardAt.Add(h.after), readings[0].Arrived)
			}
		})
	}
}

var heardAt = time.Date(2026, 1, 14, 6, 20, 0, 0, time.UTC)

// Whatever is heard, by whom and when: two readings share a time only if they say the
// same.
func TestNoTrulyDifferentFrameIsTakenForOneHeardBefore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, err := New([]Mapping{{Topic: "g/{logger}", Case: "c", Form: BTHomeForm}})
		require.NoError(t, err)
		at := heardAt
		seen := map[time.Time]roof.Values{}
		for range rapid.IntRange(1, 60).Draw(t, "n") {
			at = at.Add(time.Duration(rapid.IntRange(1, 40_000).Draw(t, "ms")) * time.Millisecond)
			frame := []byte{0x40, 0, byte(rapid.IntRange(0, 3).Draw(t, "id")), 0x45, byte(rapid.IntRange(0, 3).Draw(t, "t")), 0}
			_, readings, _ := d.Decode(Message{Topic: "g/k1", Payload: frame, Arrived: at})
			require.Len(t, readings, 1)
			if before, ok := seen[readings[0].At]; ok {
				require.Equal(t, before, readings[0].Values)
			}
			seen[readings[0].At] = readings[0].Values
		}
	})
}
