package kept_test

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/flow/kept"
	"dewcase/internal/roof"
)

type leaf struct {
	N int
	X *float64
}

type tree struct {
	leaf // unexported, and left out
	B    bool
	I    int8
	U    uint32
	F    float64
	S    string
	List []float64
	Rows [2][]leaf
	By   map[string]leaf
	At   time.Time
	Zone *time.Location
	Next *tree
	Same *leaf
}

func TestAValueComesBackBitForBit(t *testing.T) {
	same := &leaf{N: 3}
	x := math.Copysign(0, -1)
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	read, err := time.Parse(time.RFC3339, "2027-03-28T02:30:00.123+05:30")
	require.NoError(t, err)
	for name, v := range map[string]tree{
		"nothing": {},
		"all": {
			B: true, I: -7, U: math.MaxUint32, F: 0.1 + 0.2, S: "Dachraum \x00 \xff",
			List: []float64{math.Inf(1), x, 5e-324},
			Rows: [2][]leaf{{{1, nil}, {2, &x}}, nil}, By: map[string]leaf{"b": {1, nil}, "a": {2, nil}},
			At: time.Date(2026, 12, 1, 0, 30, 0, 1, zone), Zone: zone},
		"nil is not empty": {List: []float64{}, Rows: [2][]leaf{nil, {}}, By: map[string]leaf{}, Zone: time.UTC},
		"a time from text": {At: read},
		"long ago":         {At: time.Date(-300, 1, 1, 0, 0, 0, 0, time.UTC)},
		"shared":           {Same: same, Next: &tree{Same: same}},
	} {
		t.Run(name, func(t *testing.T) {
			b, err := kept.Pack(v)
			require.NoError(t, err)
			var got tree
			require.NoError(t, kept.Unpack(b, &got))
			if v.Next != nil {
				require.Same(t, got.Same, got.Next.Same, "what was shared is")
			}
			require.True(t, v.At.Equal(got.At))
			require.Equal(t, v.At.Format(time.RFC3339Nano), got.At.Format(time.RFC3339Nano))
			v.At, got.At = time.Time{}, time.Time{}
			require.Equal(t, v, got)
			again, err := kept.Pack(got)
			require.NoError(t, err)
			b, err = kept.Pack(v)
			require.NoError(t, err)
			require.Equal(t, b, again, "equal values are equal bytes")
		})
	}
}

func TestANaNKeepsItsBits(t *testing.T) {
	b, err := kept.Pack([]float64{math.Float64frombits(0x7ff8000000000123)})
	require.NoError(t, err)
	var got []float64
	require.NoError(t, kept.Unpack(b, &got))
	require.Equal(t, uint64(0x7ff8000000000123), math.Float64bits(got[0]))
}

func TestWhatCannotBeKeptIsAnError(t *testing.T) {
	for name, v := range map[string]any{"a function": struct{ F func() }{}, "an interface": struct{ X any }{3},
		"a zone without a name": struct{ Z *time.Location }{time.FixedZone("here", 3600)}} {
		_, err := kept.Pack(v)
		require.Error(t, err, name)
	}
}

// Bytes that are no value, or not of this type, are an error and never a panic.
func TestOtherBytesAreRefused(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var v tree
		if b := rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"); kept.Unpack(b, &v) == nil {
			_, err := kept.Pack(v)
			require.NoError(t, err)
		}
	})
	b, err := kept.Pack(tree{S: "whole"})
	require.NoError(t, err)
	for n := range b {
		require.Error(t, kept.Unpack(b[:n], new(tree)))
	}
	require.Error(t, kept.Unpack(append(b, 0), new(tree)))
}

// Bytes of a type that has since got, lost, renamed or reordered a field are no
// value of it, even where they would fit.
func TestBytesOfATypeAsItWasAreRefused(t *testing.T) {
	type was struct {
		A, B int
		C    []string
	}
	b, err := kept.Pack(was{1, 2, nil})
	require.NoError(t, err)
	require.NoError(t, kept.Unpack(b, &struct {
		A, B int
		C    []string
		d    func() // is not written
	}{}))
	for name, now := range map[string]any{
		"another order": &struct {
			B, A int
			C    []string
		}{},
		"another name": &struct {
			A, D int
			C    []string
		}{},
		"one more": &struct {
			A, B int
			C    []string
			D    int
		}{},
		"another element": &struct {
			A, B int
			C    []float64
		}{},
		"a pointer": &struct {
			A int
			B *int
			C []string
		}{},
	} {
		require.Error(t, kept.Unpack(b, now), name)
	}
}

func FuzzUnpack(f *testing.F) {
	b, err := kept.Pack(tree{S: "whole", List: []float64{1, 2}, By: map[string]leaf{"a": {}}, Next: &tree{}})
	require.NoError(f, err)
	f.Add(b)
	f.Fuzz(func(_ *testing.T, b []byte) { _ = kept.Unpack(b, new(tree)) })
}

var day = time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)

func at(days float64) time.Time { return day.Add(time.Duration(days * 24 * float64(time.Hour))) }

func house() *roof.Case {
	c := &roof.Case{ID: "larch-1", Property: roof.Property{Label: "Larch Cottage", Timezone: "Europe/London"}}
	c.Positions = []roof.Position{{ID: "loft", Place: roof.LoftAir},
		{ID: "felt", Place: roof.UnderlayUnderside, Meets: "loft"}}
	c.Loggers = []roof.Logger{{ID: "k7", Interval: time.Minute, Fitted: []roof.Fitting{{Position: "loft", From: at(-30)}}},
		{ID: "k8", Fitted: []roof.Fitting{{Position: "felt", From: at(-30)}}}}
	c.Contacts.Consultant = []string{"someone@example.org"}
	return c
}

type (
	usuals = map[string]int64
	sums   = []roof.DaySum
	change = func(c *roof.Case, u usuals, d sums)
)

// What bears on a day's hours changes its digest, and nothing else does.
func TestWhatADaysHoursRestOn(t *testing.T) {
	const padMS = 3600_000
	digest := func(do change) kept.Digest {
		c, usual := house(), map[string]int64{"k8": 60_000}
		n := kept.DayOf(day.UnixMilli())
		days := []roof.DaySum{{Logger: "k7", Day: n, Count: 1440, Sum: [32]byte{1}},
			{Logger: "k8", Day: n, Count: 1440, Sum: [32]byte{2}}, {Logger: "k7", Day: n + 1, Count: 1440, Sum: [32]byte{3}},
			{Logger: "k7", Day: n + 9, Count: 1440, Sum: [32]byte{4}}}
		if do != nil {
			do(c, usual, days)
		}
		return kept.NewHours("method", c, usual, padMS, days).Of(day.UnixMilli(), at(1).UnixMilli())
	}
	offset := func(days float64) change {
		return func(c *roof.Case, _ usuals, _ sums) {
			c.Loggers[0].Offsets = []roof.Offset{{From: at(days), RHPct: 2}}
		}
	}
	altitude := 340.0
	for name, of := range map[string]struct {
		bears  bool
		change change
	}{
		"nothing":                      {false, func(*roof.Case, usuals, sums) {}},
		"a reading of the day":         {true, func(_ *roof.Case, _ usuals, d sums) { d[0].Sum[0]++ }},
		"a reading of the next day":    {true, func(_ *roof.Case, _ usuals, d sums) { d[2].Count++ }},
		"a reading of nine days later": {false, func(_ *roof.Case, _ usuals, d sums) { d[3].Count++ }},
		"the label":                    {false, func(c *roof.Case, _ usuals, _ sums) { c.Property.Label = "x" }},
		"who is told":                  {false, func(c *roof.Case, _ usuals, _ sums) { c.Contacts = roof.Contacts{} }},
		"a note": {false, func(c *roof.Case, _ usuals, _ sums) {
			c.Events = []roof.Event{{At: day, Kind: roof.Note, What: "x"}}
		}},
		"the zone":                   {true, func(c *roof.Case, _ usuals, _ sums) { c.Property.Timezone = "UTC" }},
		"the altitude":               {true, func(c *roof.Case, _ usuals, _ sums) { c.Property.AltitudeM = &altitude }},
		"which air meets a surface":  {true, func(c *roof.Case, _ usuals, _ sums) { c.Positions[1].Meets = "" }},
		"an interval":                {true, func(c *roof.Case, _ usuals, _ sums) { c.Loggers[0].Interval = time.Hour }},
		"a usual interval":           {true, func(_ *roof.Case, u usuals, _ sums) { u["k8"] = 90_000 }},
		"an offset from before":      {true, offset(-3)},
		"an offset from that day on": {true, offset(0.5)},
		"an offset from later on":    {false, offset(2)},
		"an offset that another followed": {false, func(c *roof.Case, _ usuals, _ sums) {
			c.Loggers[0].Offsets = []roof.Offset{{From: at(-9), RHPct: 2}, {From: at(-5)}}
		}},
		"a fitting that ends that day": {true, func(c *roof.Case, _ usuals, _ sums) {
			c.Loggers[0].Fitted[0].To = at(0.5)
		}},
		"a fitting that ends later": {false, func(c *roof.Case, _ usuals, _ sums) {
			c.Loggers[0].Fitted[0].To = at(5)
		}},
		"a fitting that began that day": {true, func(c *roof.Case, _ usuals, _ sums) {
			c.Loggers[0].Fitted[0].From = at(0.5)
		}},
		"a fitting that began another day": {false, func(c *roof.Case, _ usuals, _ sums) {
			c.Loggers[0].Fitted[0].From = at(-9)
		}},
	} {
		t.Run(name, func(t *testing.T) { require.Equal(t, of.bears, digest(nil) != digest(of.change)) })
	}
	c := house()
	require.NotEqual(t, kept.NewHours("one", c, nil, 0, nil).Of(0, 1), kept.NewHours("two", c, nil, 0, nil).Of(0, 1),
		"another method")
}

func TestWhatAnAssessmentRestsOn(t *testing.T) {
	usual := map[string]int64{"k7": 60_000, "k8": 60_000} // the file says k7's
	of := func(change func(c *roof.Case)) kept.Digest {
		c := house()
		change(c)
		d, err := kept.OfCase("method", c, usual)
		require.NoError(t, err)
		return d
	}
	before := of(func(*roof.Case) {})
	require.Equal(t, before, of(func(c *roof.Case) { c.Property.Label = "x" }))
	require.Equal(t, before, of(func(c *roof.Case) { c.Contacts = roof.Contacts{} }))
	require.Equal(t, before, of(func(c *roof.Case) { c.Alerts.WetHours = 3 }))
	require.NotEqual(t, before, of(func(c *roof.Case) { c.Loggers[0].Offsets = []roof.Offset{{TempC: 1}} }))
	require.NotEqual(t, before, of(func(c *roof.Case) { c.Roof.EavesClear = roof.No }))
	require.NotEqual(t, before, of(func(c *roof.Case) { c.Events = []roof.Event{{Kind: roof.Note, What: "window open"}} }),
		"a note can say what the household did")
	usual["k7"] = 61_000
	require.Equal(t, before, of(func(*roof.Case) {}))
	usual["k8"] = 61_000
	require.NotEqual(t, before, of(func(*roof.Case) {}), "how often a logger sends, where its entry does not say")
	sums := []roof.DaySum{{Logger: "k7", Day: 3, Count: 1}, {Logger: "stranger", Day: 3, Count: 1}}
	record := kept.OfRecord(house(), sums)
	sums[1].Count++
	require.Equal(t, record, kept.OfRecord(house(), sums), "a logger that is not of the house")
	sums[0].Count++
	require.NotEqual(t, record, kept.OfRecord(house(), sums))
}

func TestHoursAreLocalUnlessTwoLoggersShareAPosition(t *testing.T) {
	c := house()
	require.True(t, kept.Local(c))
	c.Loggers[1].Fitted = append(c.Loggers[1].Fitted, roof.Fitting{Position: "loft", From: at(3)})
	require.False(t, kept.Local(c))
	c.Loggers[0].Fitted[0].To = at(3)
	require.True(t, kept.Local(c), "one after the other")
}

// A field that is new in the case file must be put into the digest, or be known
// not to bear on hours.
func TestEveryFieldOfACaseIsKnownToBearOnHoursOrNot(t *testing.T) {
	for of, known := range map[reflect.Type]string{
		reflect.TypeFor[roof.Case](): "ID Property Roof Positions Loggers Events Excluded Contacts Adviser " +
			"Alerts Planned Views",
		reflect.TypeFor[roof.Property](): "Label Timezone Zone AltitudeM Completed",
		reflect.TypeFor[roof.Position](): "ID Place Meets Untouched Material MouldClass",
		reflect.TypeFor[roof.Logger]():   "ID Interval Accuracy Fitted Offsets Station",
		reflect.TypeFor[roof.Fitting]():  "Position From To",
		reflect.TypeFor[roof.Offset]():   "From TempC RHPct Check TempUncC RHUncPct",
		reflect.TypeFor[roof.Station]():  "Source DistanceKM HeightDifferenceM",
	} {
		var names []string
		for i := range of.NumField() {
			names = append(names, of.Field(i).Name)
		}
		require.ElementsMatch(t, strings.Fields(known), names,
			"%s: decide in Hours.Of whether the new field bears on hours", of)
	}
}
