package mqttframe

import (
	"bytes"
	"encoding/binary"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// publish builds a PUBLISH packet (MQTT 3.1.1, 3.3).
func publish(topic string, qos byte, id uint16, props, payload []byte) []byte {
	body := binary.BigEndian.AppendUint16(nil, uint16(len(topic)))
	body = append(body, topic...)
	if qos > 0 {
		body = binary.BigEndian.AppendUint16(body, id)
	}
	body = append(body, props...)
	body = append(body, payload...)
	out := binary.AppendUvarint([]byte{typePublish<<4 | qos<<1}, uint64(len(body)))
	return append(out, body...)
}

func connect(level byte) []byte {
	body := append([]byte{0, 4, 'M', 'Q', 'T', 'T', level, 2, 0, 60}, 0, 1, 'x')
	if level == 5 {
		body = append(append([]byte{}, body[:10]...), 0, 0, 1, 'x')
	}
	return append([]byte{typeConnect << 4, byte(len(body))}, body...)
}

func through(t *testing.T, in []byte, max int) []byte {
	t.Helper()
	out, err := io.ReadAll(iotest.HalfReader(NewReader(iotest.OneByteReader(bytes.NewReader(in)), max)))
	require.NoError(t, err)
	return out
}

func TestGoodPacketsPassUnchanged(t *testing.T) {
	in := bytes.Join([][]byte{
		connect(4),
		publish("dewcase/larkfield-9/k7-loft", 1, 7, nil, []byte(`{"temp_c":4.3}`)),
		{0xc0, 0}, // PINGREQ
		publish("dewcase/larkfield-9/büro-温", 0, 0, nil, nil),
		publish(strings.Repeat("a", 65535), 1, 9, nil, bytes.Repeat([]byte{'x'}, 1000)),
		{0xe0, 0}, // DISCONNECT
	}, nil)
	require.Equal(t, in, through(t, in, 1000))
}

func TestAPayloadOverTheLimitIsCutDownAndTheNextOneStillArrives(t *testing.T) {
	for _, level := range []byte{4, 5} {
		var props []byte
		if level == 5 {
			props = []byte{2, 0x01, 0x01} // payload format indicator
		}
		big := publish("dewcase/a/b", 1, 7, props, make([]byte, 3<<20))
		good := publish("dewcase/a/c", 1, 8, props, []byte("{}"))
		out := through(t, bytes.Join([][]byte{connect(level), big, good}, nil), 1000)
		require.True(t, bytes.HasSuffix(out, good))
		cut := out[len(connect(level)) : len(out)-len(good)]
		require.Equal(t, int(cut[1]), len(cut)-2, "the new length fits what follows")
		payload := cut[len(cut)-markLen:]
		size, yes := TooLarge(payload)
		require.True(t, yes)
		require.EqualValues(t, 3<<20, size)
		require.Equal(t, publish("dewcase/a/b", 1, 7, props, payload), cut)
	}
}

func TestNoSenderCanForgeTheMark(t *testing.T) {
	for _, payload := range [][]byte{nil, make([]byte, markLen), bytes.Repeat([]byte{0xff}, markLen)} {
		_, yes := TooLarge(payload)
		require.False(t, yes)
	}
}

func TestImpossibleTopicsAreMendedInTheSameLength(t *testing.T) {
	for topic, want := range map[string]string{
		"dewcase/a/b\x00c":     "dewcase/a/b?c",
		"dewcase/+/b":          "dewcase/?/b",
		"dewcase/#":            "dewcase/?",
		"$SYS/broker/uptime":   "?SYS/broker/uptime",
		"$share/g/dewcase/a/b": "?share/g/dewcase/a/b",
		"dewcase/a/\xff\xfe":   "dewcase/a/??",
		"dewcase/$a/b":         "dewcase/$a/b",
		"dewcase/../b":         "dewcase/../b", // a legal topic name; refused as a name further on
		"":                     "",
	} {
		in := publish(topic, 1, 3, nil, []byte("21.5"))
		require.Equal(t, publish(want, 1, 3, nil, []byte("21.5")), through(t, in, 1000), "%q", topic)
	}
}

func TestAStreamThatIsNotMQTTEndsWithAnError(t *testing.T) {
	for name, in := range map[string][]byte{
		"length of five bytes":         {0x30, 0xff, 0xff, 0xff, 0xff, 0x01},
		"topic longer than the packet": {0x30, 4, 0, 9, 'a', 'b'},
		"no room for the packet id":    {0x32, 4, 0, 2, 'a', 'b'},
		"quality of service 3":         {0x36, 6, 0, 2, 'a', 'b', 0, 1},
		"one byte publish":             {0x30, 1, 0},
	} {
		_, err := io.ReadAll(NewReader(bytes.NewReader(in), 100))
		require.ErrorIs(t, err, ErrMalformed, name)
	}
	_, err := io.ReadAll(NewReader(bytes.NewReader([]byte{0x30, 20, 0, 2, 'a'}), 100))
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
}

func TestMemoryStaysFlatWhateverTheSizeAnnounced(t *testing.T) {
	const size = 200 << 20
	head := publish("dewcase/a/b", 1, 7, nil, nil)
	topic := head[2:]
	in := io.MultiReader(bytes.NewReader(binary.AppendUvarint([]byte{0x32}, uint64(len(topic)+size))),
		bytes.NewReader(topic), io.LimitReader(zeroes{}, size), bytes.NewReader([]byte{0xc0, 0}))
	r := NewReader(in, 256<<10)
	out, err := io.ReadAll(r)
	require.NoError(t, err)
	require.Less(t, len(out), 200)
	require.LessOrEqual(t, cap(r.head), 1024)
}

type zeroes struct{}

func (zeroes) Read(p []byte) (int, error) { clear(p); return len(p), nil }

func TestFramingIsKeptWhateverTheMixOfPackets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var in, want []byte
		for range rapid.IntRange(1, 12).Draw(t, "packets") {
			topic := rapid.StringMatching(`[a-z/]{1,40}`).Draw(t, "topic")
			qos := rapid.ByteRange(0, 2).Draw(t, "qos")
			payload := rapid.SliceOfN(rapid.Byte(), 0, 300).Draw(t, "payload")
			p := publish(topic, qos, 5, nil, payload)
			in = append(in, p...)
			if len(payload) > 200 {
				stand := append(append([]byte{}, mark[:]...), binary.BigEndian.AppendUint64(nil, uint64(len(payload)))...)
				p = publish(topic, qos, 5, nil, stand)
			}
			want = append(want, p...)
		}
		out, err := io.ReadAll(NewReader(bytes.NewReader(in), 200))
		if err != nil || !bytes.Equal(want, out) {
			t.Fatalf("got %x (%v), want %x", out, err, want)
		}
	})
}

func FuzzReaderNeverPanicsAndKeepsLittle(f *testing.F) {
	f.Add(connect(5))
	f.Add(publish("dewcase/a/b", 1, 7, nil, []byte("{}")))
	f.Add([]byte{0x36, 6, 0, 2, 'a', 'b', 0, 1})
	f.Fuzz(func(t *testing.T, in []byte) {
		r := NewReader(bytes.NewReader(in), 64)
		out, _ := io.ReadAll(r)
		if len(out) > len(in)+markLen*(len(in)/2+1) {
			t.Fatalf("%d bytes became %d", len(in), len(out))
		}
	})
}

// The properties of a message that is too large are kept with its mark, so that
// their size is bounded: 64 KiB pass, a byte more ends the connection unread.
func TestPropertiesOfAMessageThatIsTooLargeAreBounded(t *testing.T) {
	message := func(n int) []byte {
		props := append(binary.AppendUvarint(nil, uint64(n)), make([]byte, n)...)
		return append(connect(5), publish("dewcase/a/b", 1, 7, props, make([]byte, 3<<20))...)
	}
	out := through(t, message(64<<10), 1000)
	require.Greater(t, len(out), 64<<10)
	size, yes := TooLarge(out[len(out)-markLen:])
	require.True(t, yes)
	require.EqualValues(t, 3<<20, size)
	for _, n := range []int{64<<10 + 1, 2 << 20} {
		r := NewReader(bytes.NewReader(message(n)), 1000)
		_, err := io.ReadAll(r)
		require.ErrorIs(t, err, ErrMalformed, "%d bytes", n)
		require.LessOrEqual(t, cap(r.head), 1024, "and nothing of them was kept")
	}
}
