package record_test

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
)

// winterCase has six positions whose loggers report every minute.
func winterCase() *roof.Case {
	c := &roof.Case{ID: "winter-1", Property: roof.Property{Zone: time.UTC}}
	for i, p := range []roof.Position{{ID: "landing", Place: roof.IndoorAir}, {ID: "loft", Place: roof.LoftAir},
		{ID: "void", Place: roof.BattenVoidAir},
		{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"},
		{ID: "felt", Place: roof.UnderlayUnderside, Meets: "loft"}, {ID: "outside", Place: roof.OutdoorAir}} {
		c.Positions = append(c.Positions, p)
		c.Loggers = append(c.Loggers, roof.Logger{ID: fmt.Sprintf("k%d", i), Interval: time.Minute,
			Fitted: []roof.Fitting{{Position: p.ID, From: winterStart}}})
	}
	return c
}

var winterStart = time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)

const winterDays = 180

func winterStore(b *testing.B) (*sqlite.Store, *roof.Case) {
	ctx := context.Background()
	store, err := sqlite.Open(ctx, b.TempDir(),
		sqlite.Options{SealQuiet: -1, Now: func() time.Time { return winterStart.AddDate(0, 0, winterDays) }})
	require.NoError(b, err)
	b.Cleanup(func() { _ = store.Close() })
	c := winterCase()
	rng := rand.New(rand.NewPCG(1, 2))
	for day := range winterDays {
		var batch []roof.Reading
		for m := range 1440 {
			at := winterStart.Add(time.Duration(day*1440+m) * time.Minute)
			for i, l := range c.Loggers {
				r := roof.Reading{Logger: l.ID, At: at, Arrived: at}
				r.Values.Set(roof.TempC, math.Round(
					100*(4+3*math.Sin(float64(day*1440+m)/229)+float64(i)+0.1*rng.NormFloat64()))/100)
				r.Values.Set(roof.RHPct, math.Round(10*math.Min(99, 85+8*math.Cos(float64(m)/229)+0.5*rng.NormFloat64()))/10)
				batch = append(batch, r)
			}
		}
		_, err := store.Append(ctx, c.ID, batch)
		require.NoError(b, err)
	}
	// As a daemon does within a minute: days over a week old are sealed.
	_, err = store.Seal(ctx)
	require.NoError(b, err)
	return store, c
}

// One winter of one house, six loggers a minute: what a consultant waits for
// when the timeline is opened for the first time, and again.
func BenchmarkWinterTimeline(b *testing.B) {
	ctx := context.Background()
	store, c := winterStore(b)
	from, until := winterStart.UnixMilli(), winterStart.AddDate(0, 0, winterDays).UnixMilli()
	ask := func(b *testing.B, r *record.Reader) {
		v, err := r.Timeline(ctx, c, from, until, 3600_000)
		require.NoError(b, err)
		text, err := v.AppendJSON(nil)
		require.NoError(b, err)
		b.SetBytes(int64(len(text)))
	}
	b.Run("scan", func(b *testing.B) {
		for b.Loop() {
			n := 0
			for _, l := range c.Loggers {
				for _, err := range store.Range(ctx, c.ID, l.ID, time.Time{}, time.Time{}) {
					require.NoError(b, err)
					n++
				}
			}
			require.Equal(b, winterDays*1440*6, n)
		}
	})
	b.Run("cold", func(b *testing.B) {
		for b.Loop() {
			ask(b, record.New(store))
		}
	})
	b.Run("kept", func(b *testing.B) { // the first query after a restart
		d, err := sqlite.OpenDerived(ctx, b.TempDir(), false, time.Now, slog.New(slog.DiscardHandler))
		require.NoError(b, err)
		defer func() { _ = d.Close() }()
		s := &shelved{Store: store, Derived: d}
		now := func() time.Time { return winterStart.AddDate(0, 0, winterDays) }
		ask(b, record.New(store).On(s, "1", now))
		for b.Loop() {
			ask(b, record.New(store).On(s, "1", now))
		}
	})
	b.Run("warm", func(b *testing.B) {
		r := record.New(store)
		ask(b, r)
		for b.Loop() {
			ask(b, r)
		}
	})
	b.Run("one-more-reading", func(b *testing.B) {
		r := record.New(store)
		ask(b, r)
		at := winterStart.AddDate(0, 0, winterDays-2).Add(30 * time.Second)
		for b.Loop() {
			at = at.Add(time.Minute)
			x := roof.Reading{Logger: "k2", At: at, Arrived: at}
			x.Values.Set(roof.TempC, 3)
			x.Values.Set(roof.RHPct, 90)
			outcomes, err := store.Append(ctx, c.ID, []roof.Reading{x})
			require.NoError(b, err)
			r.Appended(c.ID, []roof.Reading{x}, outcomes)
			ask(b, r)
		}
	})
}

// What is asked of the newest winter costs the same however old the case is: the
// first query after a restart, and one after a reading more. (The first scan of
// what was never worked out grows with what is asked for.)
func BenchmarkRecordAge(b *testing.B) {
	ctx := context.Background()
	for _, winters := range []int{1, 2, 4, 8} {
		b.Run(fmt.Sprintf("winters-%d", winters), func(b *testing.B) {
			c := winterCase()
			end := winterStart.AddDate(0, 0, winters*winterDays)
			store, err := sqlite.Open(ctx, b.TempDir(), sqlite.Options{SealQuiet: -1, Now: func() time.Time { return end }})
			require.NoError(b, err)
			defer func() { _ = store.Close() }()
			for i := range c.Loggers {
				c.Loggers[i].Interval = 30 * time.Minute
			}
			for day := range winters * winterDays {
				var batch []roof.Reading
				for m := 0; m < 1440; m += 30 {
					at := winterStart.Add(time.Duration(day*1440+m) * time.Minute)
					for i, l := range c.Loggers {
						r := roof.Reading{Logger: l.ID, At: at, Arrived: at}
						r.Values.Set(roof.TempC, math.Round(100*(4+3*math.Sin(float64(day*1440+m)/229)+float64(i)))/100)
						r.Values.Set(roof.RHPct, math.Round(10*(85+8*math.Cos(float64(m)/229)))/10)
						batch = append(batch, r)
					}
				}
				_, err := store.Append(ctx, c.ID, batch)
				require.NoError(b, err)
			}
			d, err := sqlite.OpenDerived(ctx, b.TempDir(), false, time.Now, slog.New(slog.DiscardHandler))
			require.NoError(b, err)
			defer func() { _ = d.Close() }()
			s := &shelved{Store: store, Derived: d}
			reader := func() *record.Reader { return record.New(store).On(s, "1", func() time.Time { return end }) }
			ask := func(r *record.Reader) {
				_, err := r.Hours(ctx, c, end.AddDate(0, 0, -winterDays).UnixMilli(), end.UnixMilli())
				require.NoError(b, err)
			}
			ask(reader())
			b.Run("restart", func(b *testing.B) {
				for b.Loop() {
					ask(reader())
				}
			})
			b.Run("one-more-reading", func(b *testing.B) {
				r, at := reader(), end
				ask(r)
				for b.Loop() {
					at = at.Add(time.Second)
					x := roof.Reading{Logger: "k2", At: at, Arrived: at}
					x.Values.Set(roof.TempC, 3)
					x.Values.Set(roof.RHPct, 90)
					outcomes, err := store.Append(ctx, c.ID, []roof.Reading{x})
					require.NoError(b, err)
					r.Appended(c.ID, []roof.Reading{x}, outcomes)
					ask(r)
				}
			})
		})
	}
}
