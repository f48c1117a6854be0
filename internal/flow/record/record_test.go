package record_test

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/flow/record"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/mem"
)

var start = time.Date(2026, 10, 24, 9, 0, 0, 0, time.UTC) // clocks go back on the 25th

func house(zone string) *roof.Case {
	z, err := time.LoadLocation(zone)
	if err != nil {
		panic(err)
	}
	fit := func(pos string) []roof.Fitting { return []roof.Fitting{{Position: pos, From: start.Add(-time.Hour)}} }
	return &roof.Case{ID: "larch-1", Property: roof.Property{Zone: z, Timezone: zone},
		Positions: []roof.Position{{ID: "void", Place: roof.BattenVoidAir},
			{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}},
		Loggers: []roof.Logger{
			{ID: "a", Interval: 15 * time.Minute, Fitted: fit("void")},
			{ID: "s", Interval: 15 * time.Minute, Fitted: fit("slate")},
		}}
}

func reading(logger string, at time.Time, rng *rand.Rand) roof.Reading {
	r := roof.Reading{Logger: logger, At: at, Arrived: at}
	r.Values.Set(roof.TempC, 3+4*rng.Float64())
	if logger == "a" {
		r.Values.Set(roof.RHPct, 80+20*rng.Float64())
	}
	return r
}

// What is kept at hand must be what a fresh look at the whole record gives,
// whatever came late and in whatever order.
func TestHoursAtHandEqualAFreshReadingOfTheRecord(t *testing.T) {
	for _, zone := range []string{"Europe/London", "Asia/Kolkata", "Australia/Adelaide"} {
		t.Run(zone, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				ctx := context.Background()
				c := house(zone)
				store := mem.New()
				r := record.New(store)
				rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
				from := record.HourAt(c, start.UnixMilli())
				until := from + 72*3600_000
				for range rapid.IntRange(1, 6).Draw(t, "batches") {
					var batch []roof.Reading
					at := start.Add(time.Duration(rapid.IntRange(0, 70*4).Draw(t, "from")) * 15 * time.Minute)
					for range rapid.IntRange(1, 30).Draw(t, "n") {
						at = at.Add(time.Duration(rapid.IntRange(1, 5).Draw(t, "step")) * 15 * time.Minute)
						batch = append(batch, reading(rapid.SampledFrom([]string{"a", "s"}).Draw(t, "logger"), at, rng))
					}
					outcomes, err := store.Append(ctx, c.ID, batch)
					require.NoError(t, err)
					r.Appended(c.ID, batch, outcomes)
					step := int64(rapid.SampledFrom([]int{1, 2, 24}).Draw(t, "hours")) * 3600_000
					got, err := r.Timeline(ctx, c, from, until, step)
					require.NoError(t, err)
					whole, err := record.New(store).Whole(ctx, c, roof.InTurn)
					require.NoError(t, err)
					want, err := timeline.Stepped(whole, from, until, step)
					require.NoError(t, err)
					require.True(t, near(decoded(t, want), decoded(t, got)), "kept and fresh differ for steps of %d h", step/3600_000)
				}
			})
		})
	}
}

// The zone's summer time is half an hour, so that its local noons lie on the grid
// of hours in one half of the year and off it in the other.
func TestAStretchFromNoonToNoonIsRightWhereSummerTimeIsHalfAnHour(t *testing.T) {
	ctx := context.Background()
	c := house("Australia/Lord_Howe")
	rng := rand.New(rand.NewPCG(7, 1))
	for name, day := range map[string]time.Time{
		"summer time": time.Date(2026, 12, 1, 12, 0, 0, 0, c.Property.Zone),
		"winter time": time.Date(2027, 6, 1, 12, 0, 0, 0, c.Property.Zone),
		"the change":  time.Date(2027, 4, 3, 12, 0, 0, 0, c.Property.Zone),
	} {
		t.Run(name, func(t *testing.T) {
			store := mem.New()
			r := record.New(store)
			var batch []roof.Reading
			for at := day.Add(-2 * time.Hour); at.Before(day.Add(50 * time.Hour)); at = at.Add(15 * time.Minute) {
				batch = append(batch, reading("a", at.UTC(), rng), reading("s", at.UTC(), rng))
			}
			_, err := store.Append(ctx, c.ID, batch)
			require.NoError(t, err)
			from, until := day.UnixMilli(), day.AddDate(0, 0, 1).UnixMilli()
			got, err := r.Timeline(ctx, c, from, until, 3600_000)
			require.NoError(t, err)
			whole, err := r.Whole(ctx, c, roof.InTurn)
			require.NoError(t, err)
			want, err := timeline.Stepped(whole, from, until, 3600_000)
			require.NoError(t, err)
			require.Equal(t, day.UTC(), got.Time[0].UTC())
			require.True(t, near(decoded(t, want), decoded(t, got)))
		})
	}
}

func decoded(t require.TestingT, v timeline.View) any {
	b, err := json.Marshal(v)
	require.NoError(t, err)
	var out any
	require.NoError(t, json.Unmarshal(b, &out))
	return out
}

// near compares two answers; sums taken in another order differ in the last
// digits.
func near(a, b any) bool {
	switch a := a.(type) {
	case float64:
		b, ok := b.(float64)
		return ok && math.Abs(a-b) < 1e-5
	case []any:
		b, ok := b.([]any)
		return ok && slices.EqualFunc(a, b, near)
	case map[string]any:
		b, ok := b.(map[string]any)
		if !ok || len(a) != len(b) {
			return false
		}
		for k := range a {
			if !near(a[k], b[k]) {
				return false
			}
		}
		return true
	}
	return a == b
}

func TestAChangedOffsetIsSeenAtOnce(t *testing.T) {
	ctx := context.Background()
	store := mem.New()
	c := house("Europe/London")
	r := record.New(store)
	rng := rand.New(rand.NewPCG(1, 2))
	var batch []roof.Reading
	for i := range 20 {
		batch = append(batch, reading("a", start.Add(time.Duration(i)*15*time.Minute), rng),
			reading("s", start.Add(time.Duration(i)*15*time.Minute), rng))
	}
	outcomes, err := store.Append(ctx, c.ID, batch)
	require.NoError(t, err)
	r.Appended(c.ID, batch, outcomes)
	from := record.HourAt(c, start.UnixMilli())
	before, err := r.Timeline(ctx, c, from, from+4*3600_000, 3600_000)
	require.NoError(t, err)
	changed := *c
	changed.Loggers = []roof.Logger{c.Loggers[0], c.Loggers[1]}
	changed.Loggers[1].Offsets = []roof.Offset{{From: start.Add(-time.Hour), TempC: -1}}
	r.CaseChanged(c.ID)
	after, err := r.Timeline(ctx, &changed, from, from+4*3600_000, 3600_000)
	require.NoError(t, err)
	for i := range 4 {
		x, _ := before.Positions[1].TempC.Mean.Get(i)
		y, _ := after.Positions[1].TempC.Mean.Get(i)
		require.InDelta(t, x-1, y, 1e-9)
	}
}

// A clock that fell back to 2000 must not stretch the default view by decades.
func TestAReadingOfBeforeTheFittingDoesNotStretchTheSpan(t *testing.T) {
	ctx := context.Background()
	store := mem.New()
	c := house("Europe/London")
	rng := rand.New(rand.NewPCG(1, 2))
	_, err := store.Append(ctx, c.ID, []roof.Reading{reading("a", time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC), rng),
		reading("a", start, rng)})
	require.NoError(t, err)
	from, until, ok, err := record.New(store).Span(ctx, c)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, start.UnixMilli(), from)
	require.Equal(t, start.UnixMilli(), until)
}

// What bears on an answer that ends at noon is what was measured up to noon, and the
// case file.
func TestChangesTellWhatBearsOnWhatEndsAtATime(t *testing.T) {
	noon := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	for name, tc := range map[string]struct {
		change func(*record.Reader)
		same   bool
	}{
		"nothing":                {func(*record.Reader) {}, true},
		"a later reading":        {come(noon.Add(time.Millisecond), roof.Stored), true},
		"one of that very time":  {come(noon, roof.Stored), false},
		"an earlier one":         {come(noon.Add(-time.Hour), roof.Stored), false},
		"an earlier half of one": {come(noon.Add(-time.Hour), roof.Merged), false},
		"one that was there":     {come(noon.Add(-time.Hour), roof.Duplicate), true},
		"an earlier one, then a later": {func(r *record.Reader) {
			come(noon.Add(-time.Hour), roof.Stored)(r)
			come(noon.Add(time.Hour), roof.Stored)(r)
		}, false},
		"another case file": {func(r *record.Reader) { r.CaseChanged("larch-3") }, false},
		"another house's":   {func(r *record.Reader) { r.CaseChanged("birch-1") }, true},
	} {
		t.Run(name, func(t *testing.T) {
			r := record.New(mem.New())
			before := r.Changes("larch-3")
			before.Close()
			noted := r.Changes("larch-3")
			defer noted.Close()
			tc.change(r)
			require.Equal(t, tc.same, noted.None(noon))
			require.True(t, before.None(noon), "one that ended is told no more")
		})
	}
}

func come(at time.Time, o roof.Outcome) func(*record.Reader) {
	return func(r *record.Reader) {
		r.Appended("larch-3", []roof.Reading{{Logger: "a", At: at}}, []roof.Outcome{o})
	}
}
