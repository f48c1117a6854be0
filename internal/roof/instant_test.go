package roof

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The examples of RFC 3339, section 5.8, without its two leap seconds.
func TestTimesOfTheRFCAreRead(t *testing.T) {
	for text, want := range map[string]string{
		"1985-04-12T23:20:50.52Z":         "1985-04-12T23:20:50.52Z",
		"1996-12-19T16:39:57-08:00":       "1996-12-20T00:39:57Z",
		"1937-01-01T12:00:27.87+00:20":    "1937-01-01T11:40:27.87Z",
		"2026-11-25t06:10:00z":            "2026-11-25T06:10:00Z",
		"2024-02-29T00:00:00Z":            "2024-02-29T00:00:00Z",
		"2026-01-01T00:00:00.0000000001Z": "2026-01-01T00:00:00Z",
	} {
		at, err := ParseTime(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, at.Format(time.RFC3339Nano), text)
		assert.Equal(t, time.UTC, at.Location())
	}
}

func TestWhatIsNoTimeOfTheRFCIsNotRead(t *testing.T) {
	for _, text := range []string{"", "2026-11-25", "2026-11-25T06:10:00", "2026-11-25 06:10:00Z", "2026-11-25T6:10:00Z",
		"2026-11-25T06:10Z", "2026-11-25T06:10:00,5Z",
		"2026-11-25T06:10:00.Z", "2026-11-25T06:10:00+0100", "2026-11-25T06:10:00+01", "2026-11-25T06:10:00+24:00",
		"2026-11-25T24:00:00Z", "2026-11-25T06:60:00Z",
		"1990-12-31T23:59:60Z", "2026-02-29T00:00:00Z", "2026-13-01T00:00:00Z", "2026-00-01T00:00:00Z",
		"2026-01-00T00:00:00Z", " 2026-11-25T06:10:00Z", "2026-11-25T06:10:00Z ",
		"+026-11-25T06:10:00Z", "2026-11-25T06:10:00Zjunk", "２026-11-25T06:10:00Z"} {
		_, err := ParseTime(text)
		assert.ErrorIs(t, err, ErrNotRFC3339, text)
	}
}

func TestTimesReadAsTheStandardLibraryReadsThem(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone := time.FixedZone("", 60*rapid.IntRange(-23*60-59, 23*60+59).Draw(t, "offset"))
		want := time.Unix(rapid.Int64Range(-62e9, 250e9).Draw(t, "s"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns")).In(
			zone)
		text := want.Format(time.RFC3339Nano)
		if len(strings.SplitN(text, "-", 2)[0]) != 4 {
			t.Skip("the year has not four digits")
		}
		got, err := ParseTime(text)
		if err != nil || !got.Equal(want) {
			t.Fatalf("%s became %s, %v", text, got, err)
		}
		if bytes, err := ParseTime([]byte(text)); err != nil || !bytes.Equal(want) {
			t.Fatal(bytes, err)
		}
	})
}

func FuzzParseTime(f *testing.F) {
	f.Add("2026-11-25T06:10:00.123+01:00")
	f.Add("2024-02-29t23:59:59z")
	f.Fuzz(func(t *testing.T, text string) {
		got, err := ParseTime(text)
		if err != nil {
			return
		}
		want, err := time.Parse(time.RFC3339, strings.ToUpper(text))
		if err != nil || !want.Equal(got) {
			t.Fatalf("%q became %s, not %s (%v)", text, got, want, err)
		}
	})
}

func TestOnlyPlainNamesAreNames(t *testing.T) {
	for _, id := range []string{"k7-loft", "A.b_C-9", "..", "-", strings.Repeat("a", 64)} {
		assert.True(t, ValidID(id), id)
	}
	for _, id := range []string{"", strings.Repeat("a", 65), "a b", "a/b", "é", "a\n", "=1", "a\x00"} {
		assert.False(t, ValidID(id), id)
	}
	assert.True(t, ValidCaseID("larkfield-9"))
	for _, id := range []string{"", "A", "a_b", "a.b", strings.Repeat("a", 65)} {
		assert.False(t, ValidCaseID(id), id)
	}
}

func TestFaultsAreToldOnOneLineEachAndCountedPastAHundred(t *testing.T) {
	var all Faults
	assert.NoError(t, all.Err())
	for i := range 102 {
		all = append(all, Fault{File: "c.yaml", Line: i, Key: "roof.pitch_deg", Problem: "95 can\nnot be",
			Remedy: "write 0 to 90"})
	}
	lines := strings.Split(all.Err().Error(), "\n")
	require.Len(t, lines, 101)
	assert.Equal(t, "c.yaml:1: roof.pitch_deg: 95 can not be; write 0 to 90", lines[0], "a line below 1 is 1")
	assert.Equal(t, "and 2 more faults (102 in all)", lines[100])
}
