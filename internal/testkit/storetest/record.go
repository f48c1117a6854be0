package storetest

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

const house = "larkfield-9"

func exact(t *testing.T, s roof.ReadingStore) {
	values := []float64{0, math.Copysign(0, -1), 4.31, -0.1, 92.4, 100, 1.0 / 3, math.Pi, 1e300, -1e300, 1e-300,
		math.SmallestNonzeroFloat64, -math.SmallestNonzeroFloat64, math.MaxFloat64, 2.2250738585072014e-308 / 2,
		math.Nextafter(4.31, 5), 0.1 + 0.2, 1 << 53, 1<<53 + 2, 123456789.123456789, 9007199254740993, -40, 36.6 * 1.8}
	var want []roof.Reading
	for i, v := range values {
		want = append(want, TRH("k7", float64(60*i), v, float64(i)))
	}
	Put(t, s, house, want...)
	Same(t, want, All(t, s, house, "k7"))
}

func whole(t *testing.T, s roof.ReadingStore) {
	rng := rand.New(rand.NewPCG(1, 2))
	var want []roof.Reading
	for i := range 2 << roof.QuantityCount {
		r := At("k7", float64(i*300))
		for q := range roof.Quantity(roof.QuantityCount) {
			if (i+1)&(1<<q) != 0 {
				r.Values.Set(q, math.Round(rng.Float64()*1000)/10)
			}
		}
		if r.Values.Empty() {
			r.Values.Set(roof.TempC, 0)
		}
		r.Flags = roof.Flags(rng.Uint32())
		r.Arrived = r.At.Add(time.Duration(rng.Int64N(1e9)-5e8) * time.Millisecond)
		want = append(want, r)
	}
	Put(t, s, house, want...)
	Same(t, want, All(t, s, house, "k7"))
}

func empty(t *testing.T, s roof.ReadingStore) {
	require.Empty(t, All(t, s, house, "k7"))
	spans, err := s.Spans(t.Context(), house)
	require.NoError(t, err)
	require.Empty(t, spans)
	aside, err := s.Conflicts(t.Context(), house, 10)
	require.NoError(t, err)
	require.Empty(t, aside)
	require.Empty(t, Put(t, s, house))
}

func redelivery(t *testing.T, s roof.ReadingStore) {
	first := []roof.Reading{TRH("k7", 0, 4.31, 92.4), TRH("k7", 300, 4.2, 92.9), TRH("k8", 0, 4.31, 92.4)}
	require.Equal(t, []roof.Outcome{roof.Stored, roof.Stored, roof.Stored}, Put(t, s, house, first...))
	again := make([]roof.Reading, len(first))
	for i, r := range first {
		r.Arrived = r.Arrived.Add(time.Hour)
		r.Flags = roof.FlagRetained
		again[i] = r
	}
	for range 3 {
		require.Equal(t, []roof.Outcome{roof.Duplicate, roof.Duplicate, roof.Duplicate}, Put(t, s, house, again...))
	}
	require.Equal(t, []roof.Outcome{roof.Duplicate}, Put(t, s, house, At("k7", 0, float64(roof.RHPct), 92.4)),
		"a part of what is known")
	Same(t, first[:2], All(t, s, house, "k7"))
	Same(t, first[2:], All(t, s, house, "k8"))
}

// winter is three days of one logger at 5 min with a reading lost here and there.
func winter(logger string) []roof.Reading {
	rng := rand.New(rand.NewPCG(7, uint64(len(logger))))
	var out []roof.Reading
	for i := range 3 * 288 {
		if rng.IntN(20) == 0 {
			continue
		}
		out = append(out, TRH(logger, float64(i*300+rng.IntN(3)), math.Round(rng.Float64()*2000)/100,
			math.Round(rng.Float64()*1000)/10))
	}
	return out
}

func outOfOrder(t *testing.T, s roof.ReadingStore) {
	want := winter("k7")
	shuffled := append([]roof.Reading(nil), want...)
	rand.New(rand.NewPCG(3, 4)).Shuffle(len(shuffled),
		func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	for i := 0; i < len(shuffled); i += 50 {
		Put(t, s, house, shuffled[i:min(i+50, len(shuffled))]...)
	}
	Same(t, want, All(t, s, house, "k7"))
}

// backlog has a logger come back with what it kept from long before the
// readings that are there, interleaved with them.
func backlog(t *testing.T, s roof.ReadingStore) {
	want := winter("k7")
	var early, late []roof.Reading
	for i, r := range want {
		if i%3 == 0 || i < 200 {
			late = append(late, r)
		} else {
			early = append(early, r)
		}
	}
	Put(t, s, house, early...)
	Same(t, early, All(t, s, house, "k7"))
	for _, o := range Put(t, s, house, late...) {
		require.Equal(t, roof.Stored, o)
	}
	Same(t, want, All(t, s, house, "k7"))
	for _, o := range Put(t, s, house, want...) {
		require.Equal(t, roof.Duplicate, o)
	}
}

func merge(t *testing.T, s roof.ReadingStore) {
	temp := At("k7", 0, float64(roof.TempC), 4.31)
	temp.Flags = roof.FlagRetained
	rh := At("k7", 0, float64(roof.RHPct), 101)
	rh.Flags = roof.FlagOverRange
	rh.Arrived = rh.Arrived.Add(time.Second)
	require.Equal(t, []roof.Outcome{roof.Stored}, Put(t, s, house, temp))
	require.Equal(t, []roof.Outcome{roof.Merged}, Put(t, s, house, rh))
	require.Equal(t, []roof.Outcome{roof.Duplicate}, Put(t, s, house, rh))
	require.Equal(t, []roof.Outcome{roof.Duplicate}, Put(t, s, house, temp))
	more := At("k7", 0, float64(roof.TempC), 4.31, float64(roof.BatteryPct), 88)
	require.Equal(t, []roof.Outcome{roof.Merged}, Put(t, s, house, more), "one value known, one new")

	want := At("k7", 0, float64(roof.TempC), 4.31, float64(roof.RHPct), 101, float64(roof.BatteryPct), 88)
	want.Flags = roof.FlagRetained | roof.FlagOverRange
	Same(t, []roof.Reading{want}, All(t, s, house, "k7"))
	aside, err := s.Conflicts(t.Context(), house, 10)
	require.NoError(t, err)
	require.Empty(t, aside)
}

func conflict(t *testing.T, s roof.ReadingStore) {
	first := TRH("k7", 0, 4.31, 92.4)
	other := TRH("k7", 0, 4.32, 92.4)
	other.Flags = roof.FlagJump
	third := TRH("k7", 0, 4.33, 92.4)
	half := At("k7", 0, float64(roof.TempC), 5, float64(roof.BatteryPct), 50)
	Put(t, s, house, first)
	require.Equal(t, []roof.Outcome{roof.Conflict}, Put(t, s, house, other))
	require.Equal(t, []roof.Outcome{roof.Duplicate}, Put(t, s, house, other), "a repeated conflict counts once")
	require.Equal(t, []roof.Outcome{roof.Conflict}, Put(t, s, house, third))
	require.Equal(t, []roof.Outcome{roof.Conflict}, Put(t, s, house, half), "kept aside whole, its new quantity too")
	require.Equal(t, []roof.Outcome{roof.Duplicate}, Put(t, s, house, third, other)[:1])
	require.Equal(t, []roof.Outcome{roof.Duplicate}, Put(t, s, house, first))
	Same(t, []roof.Reading{first}, All(t, s, house, "k7"))

	aside, err := s.Conflicts(t.Context(), house, 10)
	require.NoError(t, err)
	require.Len(t, aside, 3)
	for i, want := range []roof.Reading{half, third, other} {
		require.Empty(t, Difference(want, aside[i].Reading))
		require.True(t, aside[i].Kept.Says(first.Values))
		require.True(t, first.Values.Says(aside[i].Kept))
	}
}

func oneBatch(t *testing.T, s roof.ReadingStore) {
	temp, rh := At("k7", 0, float64(roof.TempC), 4.31), At("k7", 0, float64(roof.RHPct), 92.4)
	got := Put(t, s, house, temp, rh, temp, At("k7", 0, float64(roof.RHPct), 93), At("k7", 0, float64(roof.RHPct), 93),
		TRH("k7", 60, 1, 2), TRH("k8", 0, 9, 9))
	require.Equal(t, []roof.Outcome{roof.Stored, roof.Merged, roof.Duplicate, roof.Conflict, roof.Duplicate, roof.Stored,
		roof.Stored}, got)
	Same(t, []roof.Reading{TRH("k7", 0, 4.31, 92.4), TRH("k7", 60, 1, 2)}, All(t, s, house, "k7"))
	aside, err := s.Conflicts(t.Context(), house, 10)
	require.NoError(t, err)
	require.Len(t, aside, 1)
}

func refused(t *testing.T, s roof.ReadingStore) {
	good := TRH("k7", 0, 4.31, 92.4)
	Put(t, s, house, good)
	for name, bad := range map[string]roof.Reading{
		"no quantity":     At("k7", 60),
		"NaN":             TRH("k7", 60, math.NaN(), 50),
		"infinite":        TRH("k7", 60, 4, math.Inf(1)),
		"no logger":       TRH("", 60, 4, 50),
		"year 10000":      {Logger: "k7", At: time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC), Values: good.Values},
		"before year one": {Logger: "k7", At: time.Date(0, 12, 31, 0, 0, 0, 0, time.UTC), Values: good.Values},
	} {
		_, err := s.Append(t.Context(), house, []roof.Reading{bad})
		require.Error(t, err, name)
	}
	Same(t, []roof.Reading{good}, All(t, s, house, "k7"))
	spans, err := s.Spans(t.Context(), house)
	require.NoError(t, err)
	require.Len(t, spans, 1)
}
