package record_test

import (
	"context"
	"iter"
	"log/slog"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/record"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// shelved is a store with its shelf, which notes what is read of the record.
type shelved struct {
	*sqlite.Store
	*sqlite.Derived
	from, until time.Time // of all reads
	reads       int
}

func (s *shelved) Close() error { return nil }

func (s *shelved) Range(ctx context.Context, caseID, logger string, from, until time.Time) iter.Seq2[roof.Reading,
	error] {
	if s.reads++; s.reads == 1 || from.Before(s.from) {
		s.from = from
	}
	if s.reads == 1 || until.After(s.until) {
		s.until = until
	}
	return s.Store.Range(ctx, caseID, logger, from, until)
}

// cleanups is what a test and a rapid test have in common.
type cleanups interface {
	Helper()
	Errorf(string, ...any)
	FailNow()
}

func shelf(t cleanups, dir string) (*shelved, func()) {
	ctx := context.Background()
	s, err := sqlite.Open(ctx, dir, sqlite.Options{SealAfter: -1})
	require.NoError(t, err)
	d, err := sqlite.OpenDerived(ctx, dir, false, time.Now, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	return &shelved{Store: s, Derived: d}, func() {
		require.NoError(t, d.Close())
		require.NoError(t, s.Close())
	}
}

// later is a clock for which every reading of these tests lies far back.
func later() time.Time { return start.AddDate(1, 0, 0) }

// month fills a store with a month of readings of a house.
func month(t cleanups, s *shelved, c *roof.Case) {
	rng := rand.New(rand.NewPCG(5, 5))
	var batch []roof.Reading
	for at := start; at.Before(start.AddDate(0, 1, 0)); at = at.Add(15 * time.Minute) {
		batch = append(batch, reading("a", at, rng), reading("s", at, rng))
	}
	_, err := s.Append(context.Background(), c.ID, batch)
	require.NoError(t, err)
}

func ask(t cleanups, s *shelved, method string, c *roof.Case) []timeline.Row {
	t.Helper()
	s.reads = 0
	return hours(t, record.New(s).On(s, method, later), c, 31)
}

func fresh(t cleanups, s *shelved, c *roof.Case) []timeline.Row {
	t.Helper()
	return hours(t, record.New(s.Store), c, 31)
}

func hours(t cleanups, r *record.Reader, c *roof.Case, days int64) []timeline.Row {
	t.Helper()
	from := record.HourAt(c, start.UnixMilli())
	rows, err := r.Hours(context.Background(), c, from, from+days*24*3600_000)
	require.NoError(t, err)
	return rows
}

// A reader that begins anew works nothing out that was worked out before, and
// what changed is worked out anew where it changed and nowhere else.
func TestARestartWorksOutOnlyWhatChanged(t *testing.T) {
	s, end := shelf(t, t.TempDir())
	defer end()
	c := house("Europe/London")
	month(t, s, c)
	require.Equal(t, fresh(t, s, c), ask(t, s, "1", c))
	require.NotZero(t, s.reads)
	require.Equal(t, fresh(t, s, c), ask(t, s, "1", c))
	require.Zero(t, s.reads, "a restart reads nothing of the record")

	within := func(from, until time.Time) {
		t.Helper()
		require.NotZero(t, s.reads)
		require.True(t, !s.from.Before(from) && !s.until.After(until), "read %s to %s, not within %s to %s", s.from, s.until,
			from, until)
	}
	day := time.Date(2026, 11, 10, 0, 0, 0, 0, time.UTC)
	late := roof.Reading{Logger: "a", At: day.Add(12*time.Hour + 7*time.Second), Arrived: later()}
	late.Values.Set(roof.TempC, 5)
	late.Values.Set(roof.RHPct, 99)
	_, err := s.Append(t.Context(), c.ID, []roof.Reading{late})
	require.NoError(t, err)
	require.Equal(t, fresh(t, s, c), ask(t, s, "1", c))
	within(day.AddDate(0, 0, -4), day.AddDate(0, 0, 5))
	require.Equal(t, fresh(t, s, c), ask(t, s, "1", c))
	require.Zero(t, s.reads)

	corrected := *c
	corrected.Loggers = append([]roof.Logger{}, c.Loggers...)
	corrected.Loggers[0].Offsets = []roof.Offset{{From: day, RHPct: 3}}
	require.Equal(t, fresh(t, s, &corrected), ask(t, s, "1", &corrected))
	within(day.AddDate(0, 0, -4), later())

	said := corrected
	said.Property.Label, said.Contacts.Consultant = "Larch Cottage", []string{"someone@example.org"}
	said.Events = []roof.Event{{At: day, Kind: roof.Note, What: "the cat got out"}}
	require.Equal(t, fresh(t, s, &said), ask(t, s, "1", &said))
	require.Zero(t, s.reads, "a label, people and notes touch no hour")

	require.Equal(t, fresh(t, s, &said), ask(t, s, "2", &said))
	within(start.AddDate(0, 0, -2), later())
	require.False(t, s.from.After(start), "another method works everything out")
}

// Of a logger whose file does not say how often it sends, the interval is found
// from the whole record once.
func TestTheUsualIntervalIsFoundOnce(t *testing.T) {
	s, end := shelf(t, t.TempDir())
	defer end()
	c := house("Europe/London")
	for i := range c.Loggers {
		c.Loggers[i].Interval = 0
	}
	month(t, s, c)
	ask(t, s, "1", c)
	require.Equal(t, fresh(t, s, c), ask(t, s, "1", c))
	require.False(t, s.from.Before(start.AddDate(0, 1, 0)), "read from %s", s.from)
}

// figuresOf lists every figure of some rows.
func figuresOf(rows []timeline.Row) (out []float64) {
	for _, r := range rows {
		for _, p := range r.Positions {
			out = append(out, float64(p.ObservedMS))
			for _, b := range []series.Bin{p.TempC, p.RHPct, p.DewPointC, p.FrostPointC} {
				out = append(out, float64(b.ObservedMS), b.Mean, b.Min, b.Max)
			}
		}
		for _, s := range r.Surfaces {
			out = append(out, s.ObservedMS, s.CondensingMS, s.AtRiskMS, s.FrostMS, s.MarginMean, s.MarginMin, s.MarginMax)
		}
	}
	return out
}

// Whatever comes late, is corrected or restarts, kept hours are those of a fresh
// look at the record. (Where an interval reaches over the end of what is looked at,
// the last bit of that hour depends on where the end is.)
func TestKeptHoursEqualAFreshLook(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, end := shelf(rt, t.TempDir())
		defer end()
		c := house(rapid.SampledFrom([]string{"Europe/London", "Asia/Kolkata"}).Draw(rt, "zone"))
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		for range rapid.IntRange(1, 5).Draw(rt, "steps") {
			switch rapid.IntRange(0, 2).Draw(rt, "step") {
			case 0:
				changed := *c
				changed.Loggers = append([]roof.Logger{}, c.Loggers...)
				l := &changed.Loggers[rapid.IntRange(0, 1).Draw(rt, "which")]
				at := start.Add(time.Duration(rapid.IntRange(-24, 9*24).Draw(rt, "when")) * time.Hour)
				switch rapid.IntRange(0, 2).Draw(rt, "what") {
				case 0:
					l.Offsets = append(append([]roof.Offset{}, l.Offsets...), roof.Offset{From: at, TempC: rng.Float64()})
				case 1:
					l.Fitted = []roof.Fitting{{Position: l.Fitted[0].Position, From: at}}
				default:
					l.Interval = time.Duration(rapid.IntRange(5, 18).Draw(rt, "interval")) * time.Minute
				}
				c = &changed
			default:
				var batch []roof.Reading
				at := start.Add(time.Duration(rapid.IntRange(0, 8*96).Draw(rt, "from")) * 15 * time.Minute)
				logger := rapid.SampledFrom([]string{"a", "s"}).Draw(rt, "logger")
				for range rapid.IntRange(1, 200).Draw(rt, "n") {
					at = at.Add(time.Duration(rapid.IntRange(1, 3).Draw(rt, "gap")) * 15 * time.Minute)
					batch = append(batch, reading(logger, at, rng))
				}
				_, err := s.Append(context.Background(), c.ID, batch)
				require.NoError(rt, err)
			}
			want, got := hours(rt, record.New(s.Store), c, 9), hours(rt, record.New(s).On(s, "1", later), c, 9)
			require.InDeltaSlice(rt, figuresOf(want), figuresOf(got), 1e-9)
		}
	})
}

// A sample of what is kept is compared with the record.
func TestKeptHoursThatDifferFromTheRecordAreNamed(t *testing.T) {
	s, end := shelf(t, t.TempDir())
	defer end()
	c := house("Europe/London")
	month(t, s, c)
	ask(t, s, "1", c)
	n, differs, err := record.Verify(t.Context(), s, s, "1", c, 40)
	require.NoError(t, err)
	require.Empty(t, differs)
	require.Greater(t, n, 25)
	n, _, err = record.Verify(t.Context(), s, s, "2", c, 40)
	require.NoError(t, err)
	require.Zero(t, n, "what another method made is not served and not compared")

	values, err := s.Kept(t.Context(), "hours", c.ID, 0, later().UnixMilli())
	require.NoError(t, err)
	values[3].Data = values[4].Data // with a check value that fits
	require.NoError(t, s.Keep(t.Context(), "hours", c.ID, values[3:4]))
	_, differs, err = record.Verify(t.Context(), s, s, "1", c, 40)
	require.NoError(t, err)
	require.NotEmpty(t, differs)
	require.Contains(t, differs[0], "case "+c.ID+": the hour from 2026-10-2")
}

// A new reading has the hours near the present worked out once, and no sheet
// before them.
func TestANewReadingLeavesTheSheetsBeforeItsDay(t *testing.T) {
	s, end := shelf(t, t.TempDir())
	defer end()
	c := house("Europe/London")
	month(t, s, c)
	now := start.AddDate(0, 1, 0).Truncate(24 * time.Hour).Add(15 * time.Hour)
	again := func() {
		s.reads = 0
		hours(t, record.New(s).On(s, "1", func() time.Time { return now }), c, 33)
	}
	again()
	again()
	without := s.reads
	rng := rand.New(rand.NewPCG(6, 6))
	_, err := s.Append(t.Context(), c.ID, []roof.Reading{reading("a", now.Add(-time.Minute), rng)})
	require.NoError(t, err)
	again()
	require.Equal(t, without, s.reads)
}
