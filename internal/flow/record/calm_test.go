package record_test

import (
	"context"
	"fmt"
	"iter"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/flow/qc"
	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
)

// A record that grows as readings come, with probes that stand still, loggers that
// fall silent and hand their memory over, and readings that overtake each other:
// the hours at hand are those of a fresh look after each, to the last bit.
func TestHoursAtHandAreThoseOfAFreshLookWhateverComesNext(t *testing.T) {
	s, end := shelf(t, t.TempDir())
	defer end()
	houses, narrow := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		c := house(rapid.SampledFrom([]string{"Europe/London", "Asia/Kolkata"}).Draw(rt, "zone"))
		houses++
		c.ID = fmt.Sprint("larch-", houses)
		now := start.Add(time.Duration(rapid.IntRange(0, 24).Draw(rt, "begin")) * time.Hour)
		r := record.New(s).On(s, "1", func() time.Time { return now })
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		last := map[string]roof.Values{}
		var known *qc.Calm
		// take stores readings; arrived zero is each a second after it was measured.
		take := func(arrived time.Time, logger string, ats ...time.Time) {
			still := rng.IntN(4) == 0
			var batch []roof.Reading
			for _, at := range ats {
				x := reading(logger, at, rng)
				if still {
					x.Values = last[logger]
				}
				if x.Values.Empty() {
					x = reading(logger, at, rng)
				}
				last[logger] = x.Values
				if x.Arrived = arrived; arrived.IsZero() {
					x.Arrived = at.Add(time.Second)
				}
				batch = append(batch, x)
			}
			outcomes, err := s.Append(context.Background(), c.ID, batch)
			require.NoError(rt, err)
			r.Appended(c.ID, batch, outcomes)
		}
		const beat = 15 * time.Minute
		for step := range rapid.IntRange(3, 12).Draw(rt, "steps") {
			was := now
			now = now.Add(time.Duration(rapid.IntRange(1, 60).Draw(rt, "beats")) * beat)
			for _, logger := range []string{"a", "s"} {
				kind := rapid.IntRange(0, 9).Draw(rt, "kind")
				var ats []time.Time
				for at := was; at.Before(now); at = at.Add(beat) {
					ats = append(ats, at.Add(time.Duration(rng.IntN(60_000))*time.Millisecond))
				}
				switch kind {
				case 0: // silent
				case 1: // the past, once more and between what came
					take(now, logger, now.Add(-time.Duration(rng.IntN(90*60))*time.Minute))
				case 2: // its memory at once
					take(now, logger, ats...)
				case 3: // in no order
					rng.Shuffle(len(ats), func(i, j int) { ats[i], ats[j] = ats[j], ats[i] })
					take(now, logger, ats...)
				default:
					take(time.Time{}, logger, ats...)
				}
			}
			until := record.HourAt(c, now.UnixMilli()) + 3600_000
			from := until - 5*24*3600_000
			s.reads = 0
			got, err := r.Hours(context.Background(), c, from, until)
			require.NoError(rt, err)
			if s.reads > 0 && s.until.Sub(s.from) < now.Sub(was)+8*time.Hour {
				narrow++
			}
			want, err := record.New(s.Store).Hours(context.Background(), c, from, until)
			require.NoError(rt, err)
			require.Equal(rt, fmt.Sprint(figuresOf(want)), fmt.Sprint(figuresOf(got)), "step %d", step)
			since := now.AddDate(0, 0, -1)
			flagged, calm, err := r.Flagged(context.Background(), c, since, known)
			require.NoError(rt, err)
			known = calm
			whole, err := qc.Flag(c, func(logger string) iter.Seq2[roof.Reading, error] {
				return s.Store.Range(context.Background(), c.ID, logger, time.Time{}, time.Time{})
			})
			require.NoError(rt, err)
			require.Equal(rt, flagsFrom(whole, c, since), flagsFrom(flagged, c, since))
		}
	})
	require.Greater(t, narrow, 50, "most looks read what is new and no more")
}

// flagsFrom lists the flags of the readings from a time on.
func flagsFrom(of func(string) iter.Seq2[roof.Reading, error], c *roof.Case, from time.Time) (out []string) {
	for _, l := range c.Loggers {
		for r := range of(l.ID) {
			if !r.At.Before(from) {
				out = append(out, fmt.Sprint(l.ID, r.At, r.Flags.Names()))
			}
		}
	}
	return out
}

// A new reading of a house in which all is calm costs the readings of its own hour
// and those beside it, however long the record is.
func TestANewReadingCostsTheWorkOfItsOwnHour(t *testing.T) {
	s, end := shelf(t, t.TempDir())
	defer end()
	c := house("Europe/London")
	month(t, s, c)
	now := start.AddDate(0, 1, 0)
	r := record.New(s).On(s, "1", func() time.Time { return now })
	look := func() {
		until := record.HourAt(c, now.UnixMilli()) + 3600_000
		_, err := r.Hours(t.Context(), c, until-21*24*3600_000, until)
		require.NoError(t, err)
	}
	look()
	rng := rand.New(rand.NewPCG(6, 6))
	for range 100 {
		now = now.Add(15 * time.Minute)
		batch := []roof.Reading{reading("a", now, rng), reading("s", now, rng)}
		outcomes, err := s.Append(t.Context(), c.ID, batch)
		require.NoError(t, err)
		r.Appended(c.ID, batch, outcomes)
		s.reads = 0
		look()
		if s.until.Sub(s.from) > 24*time.Hour {
			continue // a sheet went to the shelf
		}
		require.LessOrEqual(t, s.until.Sub(s.from), 6*time.Hour)
		require.LessOrEqual(t, s.reads, 4)
	}
}
