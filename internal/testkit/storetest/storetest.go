// Package storetest is the suite that every roof.ReadingStore must pass.
package storetest

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// Open makes an empty store that ends with the test.
type Open func(t *testing.T) roof.ReadingStore

// Run runs the whole suite, each part on a store of its own.
func Run(t *testing.T, open Open) {
	parts := []struct {
		name string
		run  func(t *testing.T, s roof.ReadingStore)
	}{
		{"what was stored comes back exactly", exact},
		{"every quantity, flag and arrival time is kept", whole},
		{"an empty store answers with nothing", empty},
		{"a redelivered reading is a duplicate", redelivery},
		{"late and out of order arrival gives the same record", outOfOrder},
		{"a store old readings arrive at keeps its order", backlog},
		{"temperature and humidity of one time become one record", merge},
		{"another value for the same time is kept aside", conflict},
		{"the same holds inside one batch", oneBatch},
		{"spans are closed below and open above", edges},
		{"times are kept to the millisecond", milliseconds},
		{"the clock going back in autumn loses nothing", autumn},
		{"names with every allowed character stay apart", names},
		{"cases do not see each other", cases},
		{"spans summarise every logger", spans},
		{"conflicts come newest first and at most the limit", conflictList},
		{"what cannot be kept is refused and harms nothing", refused},
		{"a cancelled context stops the work", cancelled},
		{"a reader may stop early and read again", stopEarly},
		{"many write and read at once", concurrent},
		{"any sequence of appends agrees with the model", model},
	}
	for _, p := range parts {
		t.Run(p.name, func(t *testing.T) { p.run(t, open(t)) })
	}
}

// Epoch is where the suite's readings start: midnight UTC of a winter's day.
var Epoch = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

// At makes a reading some seconds after Epoch from pairs of quantity and value.
func At(logger string, second float64, pairs ...float64) roof.Reading {
	at := Epoch.Add(time.Duration(second * 1000 * float64(time.Millisecond)))
	r := roof.Reading{Logger: logger, At: at, Arrived: at.Add(1500 * time.Millisecond)}
	for i := 0; i+1 < len(pairs); i += 2 {
		r.Values.Set(roof.Quantity(pairs[i]), pairs[i+1])
	}
	return r
}

// TRH makes a reading of temperature and humidity.
func TRH(logger string, second, tempC, rhPct float64) roof.Reading {
	return At(logger, second, float64(roof.TempC), tempC, float64(roof.RHPct), rhPct)
}

// Read gathers all that a span of a logger holds.
func Read(t testing.TB, s roof.ReadingStore, caseID, logger string, from, until time.Time) []roof.Reading {
	t.Helper()
	var out []roof.Reading
	for r, err := range s.Range(context.Background(), caseID, logger, from, until) {
		require.NoError(t, err)
		out = append(out, r)
	}
	return out
}

// All gathers the whole record of a logger.
func All(t testing.TB, s roof.ReadingStore, caseID, logger string) []roof.Reading {
	t.Helper()
	return Read(t, s, caseID, logger, time.Time{}, time.Time{})
}

// Put appends and returns the outcomes.
func Put(t testing.TB, s roof.ReadingStore, caseID string, readings ...roof.Reading) []roof.Outcome {
	t.Helper()
	out, err := s.Append(context.Background(), caseID, readings)
	require.NoError(t, err)
	require.Len(t, out, len(readings), "one outcome a reading")
	return out
}

// Same requires two lists of readings to be equal bit for bit.
func Same(t testing.TB, want, got []roof.Reading) {
	t.Helper()
	require.Len(t, got, len(want))
	for i := range want {
		if d := Difference(want[i], got[i]); d != "" {
			require.Fail(t, "reading differs", "number %d of %s: %s", i, want[i].Logger, d)
		}
	}
}

// Difference says in what two readings differ, values by their bits; "" if in
// nothing.
func Difference(want, got roof.Reading) string {
	switch {
	case want.Logger != got.Logger:
		return fmt.Sprintf("logger %q, want %q", got.Logger, want.Logger)
	case want.At.UnixMilli() != got.At.UnixMilli() || !got.At.Equal(got.At.Truncate(time.Millisecond)):
		return fmt.Sprintf("time %v, want %v", got.At, want.At)
	case got.At.Location() != time.UTC || got.Arrived.Location() != time.UTC:
		return "a time that is not in UTC"
	case want.Arrived.UnixMilli() != got.Arrived.UnixMilli():
		return fmt.Sprintf("arrived %v, want %v", got.Arrived, want.Arrived)
	case want.Flags != got.Flags:
		return fmt.Sprintf("flags %v, want %v", got.Flags.Names(), want.Flags.Names())
	}
	for q := range roof.Quantity(roof.QuantityCount) {
		w, hadW := want.Values.Get(q)
		g, hadG := got.Values.Get(q)
		if hadW != hadG || math.Float64bits(w) != math.Float64bits(g) {
			return fmt.Sprintf("%s %v (%x, present %v), want %v (%x, present %v)", q, g, math.Float64bits(g), hadG, w,
				math.Float64bits(w), hadW)
		}
	}
	return ""
}
