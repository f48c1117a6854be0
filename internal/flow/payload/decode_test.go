package payload

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"dewcase/internal/roof"

	"github.com/fxamacker/cbor/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func decodeOne(t testing.TB, d *Decoder, body string) ([]roof.Reading, []roof.Reject) {
	t.Helper()
	_, readings, rejects := d.Decode(Message{Topic: "dewcase/c/a", Payload: []byte(body), Arrived: start})
	return readings, rejects
}

// The bad inputs of the faults list, rows 25 to 28.
func TestHostilePayloadsCostOneRejectEach(t *testing.T) {
	d := decoder(t, "[]")
	for name, tc := range map[string]struct {
		body string
		want roof.Reason
	}{
		"10 MB": {`{"temp_c":1,"x":"` + strings.Repeat("a", 10<<20) + `"}`, roof.TooLarge},
		"deep arrays": {`{"temp_c":1,"x":` + strings.Repeat("[", 100_000) + strings.Repeat("]", 100_000) + `}`,
			roof.BadPayload},
		"deep objects":          {strings.Repeat(`{"a":`, 100_000) + "1" + strings.Repeat("}", 100_000), roof.BadPayload},
		"deep without end":      {strings.Repeat("[", 500_000), roof.BadPayload},
		"a name twice":          {`{"temp_c":1,"temp_c":2}`, roof.BadPayload},
		"a name twice below":    {`{"temp_c":1,"x":{"a":1,"a":1}}`, roof.BadPayload},
		"not UTF-8":             {"{\"temp_c\":1,\"x\":\"\xff\"}", roof.BadPayload},
		"half a surrogate":      {`{"temp_c":1,"x":"\ud800"}`, roof.BadPayload},
		"a byte order mark":     {"\xef\xbb\xbf{\"temp_c\":1}", roof.BadPayload},
		"NaN":                   {`{"temp_c":NaN}`, roof.BadPayload},
		"Infinity":              {`{"temp_c":-Infinity}`, roof.BadPayload},
		"NaN as text":           {`{"temp_c":"NaN"}`, roof.BadValue},
		"a decimal comma":       {`{"temp_c":4,37}`, roof.BadPayload},
		"a leading zero":        {`{"temp_c":04}`, roof.BadPayload},
		"a plus":                {`{"temp_c":+4}`, roof.BadPayload},
		"a trailing comma":      {`{"temp_c":4,}`, roof.BadPayload},
		"a remark":              {`{"temp_c":4}//`, roof.BadPayload},
		"trailing data":         {`{"temp_c":4} x`, roof.BadPayload},
		"cut short":             {`{"temp_c":4`, roof.BadPayload},
		"an array cut short":    {`[{"temp_c":4},{"temp_c":`, roof.BadPayload},
		"too large a number":    {`{"temp_c":1e400}`, roof.NotFinite},
		"text for a number":     {`{"temp_c":"unavailable"}`, roof.BadValue},
		"an object":             {`{"temp_c":{"v":4}}`, roof.BadValue},
		"a time before time":    {`{"time":"","temp_c":4}`, roof.BadTime},
		"a time without offset": {`{"time":"2026-01-14T06:10:00","temp_c":4}`, roof.BadTime},
		"blank":                 {"   ", roof.BadPayload},
	} {
		t.Run(name, func(t *testing.T) {
			readings, rejects := decodeOne(t, d, tc.body)
			assert.Empty(t, readings)
			require.Len(t, rejects, 1)
			assert.Equal(t, tc.want, rejects[0].Reason, rejects[0].Detail)
			assert.Equal(t, "c", rejects[0].Case)
			assert.Equal(t, "a", rejects[0].Logger)
			assert.Equal(t, start, rejects[0].At)
			assert.LessOrEqual(t, len(rejects[0].Payload), keptBytes)
			assert.LessOrEqual(t, len(rejects[0].Detail), 500)
		})
	}
}

// Faults, row 26.
func TestHostileTopicsCostOneRejectEach(t *testing.T) {
	d := decoder(t, "[]")
	for name, tc := range map[string]struct {
		topic string
		want  roof.Reason
	}{
		"65 KB":          {"dewcase/c/" + strings.Repeat("a", 65_000), roof.BadLogger},
		"dots":           {"dewcase/../a", roof.BadTopic},
		"NUL":            {"dewcase/c/a\x00b", roof.BadTopic},
		"not UTF-8":      {"dewcase/c/a\xff", roof.BadTopic},
		"a script":       {"dewcase/c/<script>", roof.BadLogger},
		"emoji":          {"dewcase/c/\U0001f600", roof.BadLogger},
		"right to left":  {"dewcase/c/\u202eabc", roof.BadLogger},
		"200 levels":     {"dewcase" + strings.Repeat("/a", 200), roof.BadTopic},
		"no logger":      {"dewcase/c/", roof.BadLogger},
		"no case":        {"dewcase//a", roof.BadTopic},
		"another prefix": {"Dewcase/c/a", roof.BadTopic},
		"nothing":        {"", roof.BadTopic},
		"slashes":        {"///", roof.BadTopic},
	} {
		t.Run(name, func(t *testing.T) {
			_, readings, rejects := d.Decode(Message{Topic: tc.topic, Payload: []byte(`{"temp_c":1}`), Arrived: start})
			assert.Empty(t, readings)
			require.Len(t, rejects, 1)
			assert.Equal(t, tc.want, rejects[0].Reason)
			assert.LessOrEqual(t, len(rejects[0].Source), 303)
			for _, s := range []string{rejects[0].Source, rejects[0].Detail} {
				assert.NotContains(t, s, "\x00")
				assert.NotContains(t, s, "\u202e")
			}
		})
	}
}

func TestAnArraysBadElementsCostOnlyThemselves(t *testing.T) {
	d := decoder(t, "[]")
	body := `[{"temp_c":1},{"temp_c":"x"},{"temp_c":2,"a":"` + "\xff" + `"},{"temp_c":3,"temp_c":3},null,[{"temp_c":9}],` +
		strings.Repeat("[", 100) + strings.Repeat("]", 100) + `,{"temp_c":4}]`
	readings, rejects := decodeOne(t, d, body)
	require.Len(t, readings, 2)
	assert.Len(t, rejects, 6)
}

func TestALimitOfOnesOwnIsKept(t *testing.T) {
	d := decoder(t, "[]", MaxBytes(20))
	readings, _ := decodeOne(t, d, `{"temp_c":4}`)
	assert.Len(t, readings, 1)
	_, rejects := decodeOne(t, d, `{"temp_c":4.00000000}`)
	require.Len(t, rejects, 1)
	assert.Equal(t, roof.TooLarge, rejects[0].Reason)
}

// A week of five-minute readings in one array, as after a week offline.
func TestAWeeksCatchUpFits(t *testing.T) {
	var b bytes.Buffer
	b.WriteByte('[')
	for i := range 7 * 288 {
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, `{"time":%q,"temp_c":%.2f,"rh_pct":%.1f,"battery_pct":88}`,
			start.Add(time.Duration(i)*5*time.Minute).Format(time.RFC3339), float64(i%100)/7, float64(i%80)+10)
	}
	b.WriteByte(']')
	readings, rejects := decodeOne(t, decoder(t, "[]"), b.String())
	assert.Empty(t, rejects)
	assert.Len(t, readings, 7*288)
}

func TestWhatALoggerSendsComesBackExactly(t *testing.T) {
	d := decoder(t, "[]")
	rapid.Check(t, func(t *rapid.T) {
		sent := map[string]any{}
		want := roof.Values{}
		for q := range roof.Quantity(roof.QuantityCount) {
			switch rapid.IntRange(0, 2).Draw(t, "there") {
			case 0:
				x := rapid.Float64().Draw(t, "x")
				sent[q.String()] = x
				want.Set(q, x)
			case 1:
				sent[q.String()] = nil
			}
		}
		at := time.UnixMilli(rapid.Int64Range(0, 4e12).Draw(t, "at")).UTC()
		sent["time"] = at.Format(time.RFC3339Nano)
		sent[rapid.StringMatching(`[a-z]{1,3}`).Draw(t, "other")] = rapid.String().Draw(t, "text")
		body, err := json.Marshal(sent)
		if err != nil {
			t.Fatal(err)
		}
		_, readings, rejects := d.Decode(Message{Topic: "dewcase/c/a", Payload: body, Arrived: start})
		if !want.Measured() {
			if len(readings) != 0 || len(rejects) != 1 || rejects[0].Reason != roof.NoQuantity {
				t.Fatalf("%s became %v, %v", body, readings, rejects)
			}
			return
		}
		if len(rejects) > 0 || len(readings) != 1 || readings[0].Values != want || !readings[0].At.Equal(at) {
			t.Fatalf("%s became %v, %v", body, readings, rejects)
		}
	})
}

func BenchmarkDecodeNative(b *testing.B) {
	d := decoder(b, "[]")
	m := Message{Topic: "dewcase/larkfield-9/k7-loft",
		Payload: []byte(`{"time":"2026-11-25T06:10:00Z","temp_c":4.31,"rh_pct":92.4,"battery_pct":88}`), Arrived: start}
	b.ReportAllocs()
	for b.Loop() {
		if _, r, _ := d.Decode(m); len(r) != 1 {
			b.Fatal("lost")
		}
	}
}

// SenML says the same in CBOR as in JSON.
func TestSenMLInCBORBecomesWhatItBecomesInJSON(t *testing.T) {
	d := decoder(t, "[]")
	labels := map[string]int{"bn": -2, "bt": -3, "bu": -4, "bv": -5, "n": 0, "u": 1, "v": 2, "t": 6}
	rapid.Check(t, func(t *rapid.T) {
		var plain []map[string]any
		var short []map[int]any
		for range rapid.IntRange(1, 6).Draw(t, "records") {
			rec := map[string]any{"n": rapid.StringMatching(`[a-z]{1,4}`).Draw(t, "n"), "v": rapid.Float64Range(-40, 400).Draw(t, "v"),
				"u": rapid.SampledFrom([]string{"Cel", "%RH", "K", "/", "%EL", "V"}).Draw(t, "u")}
			for _, optional := range []string{"bt", "t", "bv"} {
				if rapid.Bool().Draw(t, optional) {
					rec[optional] = rapid.Float64Range(-1000, 2e9).Draw(t, "x")
				}
			}
			inCBOR := map[int]any{}
			for k, x := range rec {
				inCBOR[labels[k]] = x
			}
			plain, short = append(plain, rec), append(short, inCBOR)
		}
		asJSON, err := json.Marshal(plain)
		require.NoError(t, err)
		asCBOR, err := cbor.Marshal(short)
		require.NoError(t, err)
		_, want, wantRejects := d.Decode(Message{Topic: "dewcase/c/a", Payload: asJSON, Arrived: start})
		_, got, gotRejects := d.Decode(Message{Topic: "dewcase/c/a", Payload: asCBOR, Arrived: start})
		assert.Equal(t, want, got)
		assert.Len(t, gotRejects, len(wantRejects))
	})
}
