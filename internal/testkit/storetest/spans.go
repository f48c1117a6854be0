package storetest

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

func edges(t *testing.T, s roof.ReadingStore) {
	var all []roof.Reading
	for i := range 10 {
		all = append(all, TRH("k7", float64(i), float64(i), 50))
	}
	Put(t, s, house, all...)
	at := func(second float64) time.Time { return Epoch.Add(time.Duration(second * float64(time.Second))) }
	for _, c := range []struct {
		name        string
		from, until time.Time
		lo, hi      int
	}{
		{"both open", time.Time{}, time.Time{}, 0, 10},
		{"from is included", at(3), time.Time{}, 3, 10},
		{"until is not", time.Time{}, at(3), 0, 3},
		{"from just after", at(3.0000001), time.Time{}, 4, 10},
		{"until just after", time.Time{}, at(3.0000001), 0, 4},
		{"one reading", at(4), at(4.001), 4, 5},
		{"empty span", at(4), at(4), 0, 0},
		{"turned round", at(5), at(2), 0, 0},
		{"before all", at(-100), at(0), 0, 0},
		{"after all", at(9.001), at(100), 0, 0},
		{"another zone", at(3).In(time.FixedZone("x", 5*3600)), at(5), 3, 5},
		{"far open", time.Date(1, 1, 2, 0, 0, 0, 0, time.UTC), time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC), 0, 10},
	} {
		Same(t, all[c.lo:c.hi], Read(t, s, house, "k7", c.from, c.until))
	}
}

func milliseconds(t *testing.T, s roof.ReadingStore) {
	var want []roof.Reading
	for _, second := range []float64{-0.002, -0.001, 0, 0.001, 0.002, 0.999, 86399.999, 86400, 86400.001} {
		want = append(want, TRH("k7", second, second, 50))
	}
	old := TRH("k7", 0, 1, 1)
	old.At = time.Date(1969, 12, 31, 23, 59, 59, 999e6, time.UTC)
	want = append([]roof.Reading{old}, want...)
	Put(t, s, house, want...)
	Same(t, want, All(t, s, house, "k7"))

	finer := TRH("k7", 0, 0, 50)
	finer.At = finer.At.Add(400 * time.Microsecond).In(time.FixedZone("x", -3600))
	require.Equal(t, []roof.Outcome{roof.Duplicate}, Put(t, s, house, finer), "below a millisecond there is no other time")
}

func autumn(t *testing.T, s roof.ReadingStore) {
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	start := time.Date(2026, 10, 24, 22, 0, 0, 0, time.UTC)
	var want []roof.Reading
	for i := range 48 {
		r := TRH("k7", 0, float64(i), 50)
		r.At = start.Add(time.Duration(i) * 10 * time.Minute)
		want = append(want, r)
		r.At = r.At.In(zone)
		require.Equal(t, []roof.Outcome{roof.Stored}, Put(t, s, house, r))
	}
	Same(t, want, All(t, s, house, "k7"))
}

func names(t *testing.T, s roof.ReadingStore) {
	const letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-"
	loggers := []string{letters[:64], letters[1:], ".", "..", "-", "_", "a", "A", "a.", "a-", "a_", "0", "00", "NULL",
		"true", "-0", "1e3", "a..b", "k7", "K7", "k7 ", "k,7", "k=7", `k"7`, `k\7`, "k'7", "k%7", "ké7", "k/7"}
	for _, r := range letters {
		loggers = append(loggers, "x"+string(r)+"y")
	}
	for i, l := range loggers {
		require.Equal(t, []roof.Outcome{roof.Stored}, Put(t, s, house, TRH(l, 0, float64(i), 50)), l)
	}
	for i, l := range loggers {
		Same(t, []roof.Reading{TRH(l, 0, float64(i), 50)}, All(t, s, house, l))
	}
	spans, err := s.Spans(t.Context(), house)
	require.NoError(t, err)
	require.Len(t, spans, len(loggers))
}

func cases(t *testing.T, s roof.ReadingStore) {
	for i := range 30 {
		id := fmt.Sprintf("house-%d", i)
		Put(t, s, id, TRH("k7", 0, float64(i), 50), TRH("k7", 60, float64(i), 51))
		Put(t, s, id, TRH("k7", 0, float64(i)+0.5, 50))
	}
	long := strings.Repeat("z", 64)
	Put(t, s, long, TRH("k7", 0, 1, 1))
	for i := range 30 {
		id := fmt.Sprintf("house-%d", i)
		Same(t, []roof.Reading{TRH("k7", 0, float64(i), 50), TRH("k7", 60, float64(i), 51)}, All(t, s, id, "k7"))
		aside, err := s.Conflicts(t.Context(), id, 10)
		require.NoError(t, err)
		require.Len(t, aside, 1)
	}
	Same(t, []roof.Reading{TRH("k7", 0, 1, 1)}, All(t, s, long, "k7"))
	require.Empty(t, All(t, s, "house", "k7"))
}

func spans(t *testing.T, s roof.ReadingStore) {
	Put(t, s, house, TRH("b", 600, 1, 1), TRH("a", 60, 1, 1), TRH("b", 0, 1, 1), TRH("b", 300, 1, 1), TRH("b", 300, 2, 1),
		At("b", 300, float64(roof.WoodPct), 15))
	got, err := s.Spans(t.Context(), house)
	require.NoError(t, err)
	require.Equal(t, []roof.LoggerSpan{
		{Logger: "a", Count: 1, First: Epoch.Add(time.Minute), Last: Epoch.Add(time.Minute)},
		{Logger: "b", Count: 3, First: Epoch, Last: Epoch.Add(10 * time.Minute)},
	}, got)
}

func conflictList(t *testing.T, s roof.ReadingStore) {
	for i := range 20 {
		Put(t, s, house, TRH("k7", float64(i), 1, 50))
	}
	order := []int{3, 17, 0, 9, 4}
	for _, i := range order {
		require.Equal(t, []roof.Outcome{roof.Conflict}, Put(t, s, house, TRH("k7", float64(i), 2, 50)))
	}
	got, err := s.Conflicts(t.Context(), house, 3)
	require.NoError(t, err)
	require.Len(t, got, 3)
	for k, i := range []int{4, 9, 0} {
		require.Empty(t, Difference(TRH("k7", float64(i), 2, 50), got[k].Reading), "the one kept aside last comes first")
		kept, _ := got[k].Kept.Get(roof.TempC)
		require.Equal(t, 1.0, kept)
	}
}

func cancelled(t *testing.T, s roof.ReadingStore) {
	want := winter("k7")
	Put(t, s, house, want...)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := s.Append(ctx, house, []roof.Reading{TRH("k7", -60, 1, 1)})
	require.ErrorIs(t, err, context.Canceled)
	_, err = s.Spans(ctx, house)
	require.ErrorIs(t, err, context.Canceled)
	_, err = s.Conflicts(ctx, house, 1)
	require.ErrorIs(t, err, context.Canceled)
	n := 0
	for _, err = range s.Range(ctx, house, "k7", time.Time{}, time.Time{}) {
		n++
	}
	require.ErrorIs(t, err, context.Canceled)
	require.Equal(t, 1, n, "the error comes once and ends the reading")
	Same(t, want, All(t, s, house, "k7"))
}

func stopEarly(t *testing.T, s roof.ReadingStore) {
	want := winter("k7")
	Put(t, s, house, want...)
	seq := s.Range(t.Context(), house, "k7", time.Time{}, time.Time{})
	for range 50 {
		n := 0
		for _, err := range seq {
			require.NoError(t, err)
			if n++; n == 3 {
				break
			}
		}
	}
	for r, err := range seq {
		require.NoError(t, err)
		require.Empty(t, Difference(want[0], r))
		Same(t, want, All(t, s, house, "k7"))
		break
	}
	Same(t, want, All(t, s, house, "k7"))
}

func concurrent(t *testing.T, s roof.ReadingStore) {
	const writers, rounds, batch = 8, 20, 5
	var wg sync.WaitGroup
	errs := make(chan error, 4*writers)
	counts := make([][4]int, writers)
	for w := range writers {
		wg.Go(func() {
			for i := range rounds {
				var rs []roof.Reading
				for k := range batch { // every reading is sent by two writers
					rs = append(rs, TRH(fmt.Sprint("k", w/2), float64(i*batch+k), float64(i), 50))
				}
				out, err := s.Append(t.Context(), house, rs)
				if err != nil {
					errs <- err
					return
				}
				for _, o := range out {
					counts[w][o]++
				}
			}
		})
		wg.Go(func() {
			for range rounds {
				last := time.Time{}
				for r, err := range s.Range(t.Context(), house, fmt.Sprint("k", w/2), time.Time{}, time.Time{}) {
					if err == nil && !r.At.After(last) {
						err = fmt.Errorf("time went back to %v after %v", r.At, last)
					}
					if err != nil {
						errs <- err
						return
					}
					last = r.At
				}
				if _, err := s.Spans(t.Context(), house); err != nil {
					errs <- err
					return
				}
			}
		})
	}
	wg.Wait()
	close(errs)
	for err := range errs {
		require.NoError(t, err)
	}
	for w := 0; w < writers; w += 2 {
		require.Equal(t, rounds*batch, counts[w][roof.Stored]+counts[w+1][roof.Stored], "each stored once")
		require.Equal(t, rounds*batch, counts[w][roof.Duplicate]+counts[w+1][roof.Duplicate])
		require.Len(t, All(t, s, house, fmt.Sprint("k", w/2)), rounds*batch)
	}
}
