package curves_test

import (
	"context"
	"log/slog"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/kept"
	"dewcase/internal/flow/record"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// shelved is a store with what was worked out from it; it counts what is read.
type shelved struct {
	*sqlite.Store
	*sqlite.Derived
	read int
}

func (s *shelved) DaySums(ctx context.Context, caseID string, from, until int64) ([]roof.DaySum, error) {
	return s.Store.DaySums(ctx, caseID, from, until)
}

// counting is a record that counts how often readings were asked for.
type counting struct {
	*record.Reader
	read *int
}

func (r counting) Around(ctx context.Context, c *roof.Case, fromMS, untilMS int64) (*series.Set, error) {
	*r.read++
	return r.Reader.Around(ctx, c, fromMS, untilMS)
}

// begun is a keeper as a start of the daemon makes it.
func (s *shelved) begun(method string, now time.Time) *curves.Keeper {
	r := record.New(s.Store).On(s, method, func() time.Time { return now })
	return curves.New(counting{r, &s.read}).On(s, func(ctx context.Context, c *roof.Case, fromMS, untilMS int64) (
		kept.Hours, int64, bool, error) {
		return r.Rests(ctx, c, method, fromMS, untilMS)
	})
}

func onShelf(t require.TestingT, dir string) *shelved {
	store, err := sqlite.Open(context.Background(), dir, sqlite.Options{SealAfter: -1})
	require.NoError(t, err)
	d, err := sqlite.OpenDerived(context.Background(), dir, false, time.Now, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	return &shelved{Store: store, Derived: d}
}

func (s *shelved) end(t require.TestingT) {
	require.NoError(t, s.Derived.Close())
	require.NoError(t, s.Store.Close())
}

const keptDays = 40

func weeks(c *roof.Case) (rs []roof.Reading) {
	for i := range keptDays * 144 {
		at := start.Add(time.Duration(i) * 10 * time.Minute)
		x := math.Sin(float64(i) / 23)
		rs = append(rs, reading("a", at, 8+3*x, 80-7*x), reading("s", at, 7+4*x, 0), reading("o", at, 5+4*x, 85-5*x))
	}
	return rs
}

func TestTheFirstChartAfterAStartReadsNoReadings(t *testing.T) {
	ctx := t.Context()
	s := onShelf(t, t.TempDir())
	defer s.end(t)
	c := house("Europe/London")
	_, err := s.Append(ctx, c.ID, weeks(c))
	require.NoError(t, err)
	end := start.AddDate(0, 0, keptDays)
	keys := curves.ParseKeys(c, "void.rh,void.vapour_pressure,void.vapour_excess,slate.n.margin,outside.rain")
	ask := func(k *curves.Keeper, c *roof.Case) curves.View {
		v, err := k.Columns(ctx, c, keys, start.UnixMilli(), end.AddDate(0, 0, -3).UnixMilli(), 3*3600_000)
		require.NoError(t, err)
		return v
	}
	now := end.AddDate(0, 0, 1)
	want := ask(s.begun("1", now), c)
	require.NotZero(t, s.read)
	s.read = 0
	require.Equal(t, want, ask(s.begun("1", now), c))
	require.Zero(t, s.read, "nothing is worked out twice")

	checked, differs, err := s.begun("1", now).Verify(ctx, c, 40)
	require.NoError(t, err)
	require.Empty(t, differs)
	require.Greater(t, checked, 30)
	values, err := s.Kept(ctx, curves.Kind, c.ID, 0, end.UnixMilli())
	require.NoError(t, err)
	sound := values[3]
	values[3].Data = values[4].Data // with a check value that fits
	require.NoError(t, s.Keep(ctx, curves.Kind, c.ID, values[3:4]))
	_, differs, err = s.begun("1", now).Verify(ctx, c, 40)
	require.NoError(t, err)
	require.Len(t, differs, 1)
	require.Contains(t, differs[0], " of 2026-10-2")
	require.NoError(t, s.Keep(ctx, curves.Kind, c.ID, []roof.Derived{sound}))
	s.read = 0

	late := reading("a", start.AddDate(0, 0, 20).Add(3*time.Minute), 2, 99)
	_, err = s.Append(ctx, c.ID, []roof.Reading{late})
	require.NoError(t, err)
	got := ask(s.begun("1", now), c)
	require.Equal(t, 1, s.read, "only the days about a late reading")
	require.NotEqual(t, want, got)
	require.Equal(t, ask(curves.New(record.New(s.Store)), c), got)

	corrected := *c
	corrected.Loggers = append([]roof.Logger{}, c.Loggers...)
	corrected.Loggers[0].Offsets = []roof.Offset{{From: start, RHPct: 1, TempC: 0.2}}
	require.Equal(t, ask(curves.New(record.New(s.Store)), &corrected), ask(s.begun("1", now), &corrected), "an offset")
	s.read = 0
	ask(s.begun("2", now), &corrected)
	require.NotZero(t, s.read, "another method works out anew")
}

// Whatever comes and whenever the daemon starts, what is kept is what the record
// gives.
func TestKeptDaysEqualAFreshLook(t *testing.T) {
	dir := t.TempDir()
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		ctx := context.Background()
		s := onShelf(t, dir)
		defer s.end(t)
		c := house("Europe/London")
		c.ID += "-" + string(rune('a'+n%26)) + string(rune('a'+n/26%26))
		keys := curves.ParseKeys(c, "void.rh,void.dew_point,void.vapour_excess,slate.n.margin,void.absolute_humidity")
		from, until := start.UnixMilli(), start.Add(8*24*time.Hour).UnixMilli()
		now := start.Add(time.Duration(rapid.IntRange(0, 10*24).Draw(t, "now")) * time.Hour)
		for range rapid.IntRange(1, 4).Draw(t, "starts") {
			batch := drawnBatch(t)
			_, err := s.Append(ctx, c.ID, batch)
			require.NoError(t, err)
			step := rapid.SampledFrom([]int64{3600_000, 3 * 3600_000, 24 * 3600_000}).Draw(t, "step")
			got, err := s.begun("1", now).Columns(ctx, c, keys, from, until, step)
			require.NoError(t, err)
			want, err := curves.New(record.New(s.Store)).Columns(ctx, c, keys, from, until, step)
			require.NoError(t, err)
			agree(t, want, got)
		}
	})
}

// agree allows the last bits of a figure, which depend on where a look begins.
func agree(t require.TestingT, want, got curves.View) {
	require.Equal(t, len(want.Columns), len(got.Columns))
	for i, c := range want.Columns {
		require.Equal(t, len(c.Bins), len(got.Columns[i].Bins))
		for k, b := range c.Bins {
			x := got.Columns[i].Bins[k]
			require.Equal(t, b.Seen, x.Seen)
			for _, p := range [][2]float32{{b.Mean, x.Mean}, {b.Min, x.Min}, {b.Max, x.Max}} {
				require.InDelta(t, float64(p[0]), float64(p[1]), 1e-5*math.Max(1, math.Abs(float64(p[0]))))
			}
		}
	}
}
