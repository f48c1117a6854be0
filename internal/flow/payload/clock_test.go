package payload

import (
	"fmt"
	"testing"
	"time"

	"dewcase/internal/roof"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestUnixTimesOfEveryScaleAreRead(t *testing.T) {
	for _, tc := range []struct {
		text, form string
		want       string
	}{
		{"1768368000", "s", "2026-01-14T05:20:00Z"},
		{"1768368000.1239", "s", "2026-01-14T05:20:00.123Z"},
		{"1.768368e9", "s", "2026-01-14T05:20:00Z"},
		{"1768368000123", "ms", "2026-01-14T05:20:00.123Z"},
		{"1768368000123456", "us", "2026-01-14T05:20:00.123Z"},
		{"1768368000123456789", "ns", "2026-01-14T05:20:00.123Z"},
		{"0", "s", "1970-01-01T00:00:00Z"},
		{"-1", "s", "1969-12-31T23:59:59Z"},
		{"12", "ns", "1970-01-01T00:00:00Z"},
	} {
		c := clock{form: tc.form}
		at, own, p := c.read(value{}, value{kind: numberKind, text: tc.text}, start)
		require.Nil(t, p, tc.text)
		assert.True(t, own)
		assert.Equal(t, tc.want, at.Format(time.RFC3339Nano), tc.text)
	}
	for _, bad := range []string{"", "x", "1e400", "12.3.4", "1768368000123456789", "--1", "1_000", "0x10"} {
		c := clock{form: "s"}
		_, _, p := c.read(value{}, value{kind: textKind, text: bad}, start)
		require.NotNil(t, p, bad)
		assert.Equal(t, roof.BadTime, p.reason)
	}
}

func TestUnixTimesRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ms := rapid.Int64Range(0, 4e12).Draw(t, "ms")
		for form, text := range map[string]string{"ms": fmt.Sprint(ms), "us": fmt.Sprintf("%d456", ms),
			"ns": fmt.Sprintf("%d456789", ms), "s": fmt.Sprintf("%d.%03d", ms/1000, ms%1000)} {
			c := clock{form: form}
			at, _, p := c.read(value{}, value{kind: numberKind, text: text}, start)
			if p != nil || at.UnixMilli() != ms {
				t.Fatalf("%s %s became %v", text, form, at)
			}
		}
	})
}

// Europe/London put its clocks back on 25 October 2026 at 01:00 UTC, so that
// 01:00 to 02:00 was there twice, and forward on 29 March 2026 (faults, row 35).
func TestTheHourThatIsThereTwiceIsToldFromTheArrival(t *testing.T) {
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	layout, _, ok := goLayout("YYYY-MM-DD hh:mm")
	require.True(t, ok)
	c := clock{form: "layout", layout: layout, zone: zone}
	for _, tc := range []struct{ text, arrived, want string }{
		{"2026-10-25 00:30", "2026-10-24T23:30:10Z", "2026-10-24T23:30:00Z"},
		{"2026-10-25 01:30", "2026-10-25T00:30:10Z", "2026-10-25T00:30:00Z"},
		{"2026-10-25 01:30", "2026-10-25T01:30:10Z", "2026-10-25T01:30:00Z"},
		{"2026-10-25 01:30", "2026-10-25T01:29:00Z", "2026-10-25T01:30:00Z"},
		{"2026-10-25 01:30", "2026-10-25T09:00:00Z", ""},
		{"2026-10-25 02:30", "2026-10-25T02:30:10Z", "2026-10-25T02:30:00Z"},
		{"2026-03-29 01:30", "2026-03-29T01:30:10Z", ""},
		{"2026-03-29 02:30", "2026-03-29T01:30:10Z", "2026-03-29T01:30:00Z"},
		{"2026-07-01 12:00", "2026-07-09T00:00:00Z", "2026-07-01T11:00:00Z"},
		{"2026-13-01 12:00", "2026-07-09T00:00:00Z", ""},
	} {
		arrived, err := time.Parse(time.RFC3339, tc.arrived)
		require.NoError(t, err)
		at, own, p := c.read(value{}, value{kind: textKind, text: tc.text}, arrived)
		if tc.want == "" {
			require.NotNil(t, p, tc.text)
			assert.Equal(t, roof.BadTime, p.reason)
			continue
		}
		require.Nil(t, p, "%v: %v", tc.text, p)
		assert.True(t, own)
		assert.Equal(t, tc.want, at.Format(time.RFC3339), "%s arriving %s", tc.text, tc.arrived)
	}
}
