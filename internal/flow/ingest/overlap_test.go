package ingest

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// Of any stream that two instances took for a while, what is here and what is taken
// over from the other is the stream, each message once.
func TestWhatTwoInstancesTookOfOneStreamIsEachMessageOnce(t *testing.T) {
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 4))
		every := time.Duration(1+r.IntN(300)) * time.Second
		clock := time.Duration(r.Int64N(int64(min(every, 20*time.Second)))) / 3 // of the one here, ahead
		distinct := 1 + r.IntN(6)
		var stream []roof.Reading
		for i := range 2 + r.IntN(80) {
			x := roof.Reading{Logger: "k1", At: arrived.Add(time.Duration(i) * every), Flags: roof.FlagArrivalTime}
			x.Values.Set(roof.TempC, float64(r.IntN(distinct)))
			stream = append(stream, x)
		}
		// The other took the beginning, the one here the end; they overlap.
		end := 1 + r.IntN(len(stream))
		begin := r.IntN(end)
		theirs := stream[:end]
		var here []roof.Reading
		for _, x := range stream[begin:] {
			x.At = x.At.Add(clock + time.Duration(r.Int64N(int64(min(every/10, 10*time.Second)))))
			here = append(here, x)
		}
		lagging := r.IntN(4) == 0 && len(here) > 1
		if lagging {
			here = here[:1+r.IntN(len(here)-1)]
		}
		repeats, late := Repeats(here, theirs)
		n := len(here)
		for _, again := range repeats {
			if !again {
				n++
			}
		}
		if !lagging {
			require.Equal(t, len(stream), n, "seed %d", seed)
			assert.Zero(t, late)
		} else {
			require.Equal(t, max(end-begin-len(here), 0), late, "seed %d", seed)
		}
	}
}

func TestNothingIsARepeatWhereTheInstancesTookNothingTogether(t *testing.T) {
	at := func(s int, temp float64) roof.Reading {
		x := roof.Reading{At: arrived.Add(time.Duration(s) * time.Second), Flags: roof.FlagArrivalTime}
		x.Values.Set(roof.TempC, temp)
		return x
	}
	for name, c := range map[string]struct{ here, theirs []roof.Reading }{
		"nothing here":    {nil, []roof.Reading{at(0, 4), at(1, 5)}},
		"nothing there":   {[]roof.Reading{at(0, 4)}, nil},
		"long before":     {[]roof.Reading{at(300, 4)}, []roof.Reading{at(0, 4)}},
		"of other values": {[]roof.Reading{at(0, 4), at(10, 4)}, []roof.Reading{at(0, 7), at(10, 8)}},
		"of another quantity": {[]roof.Reading{at(0, 4)}, []roof.Reading{func() roof.Reading {
			x := at(0, 4)
			x.Values.Set(roof.RHPct, 90)
			return x
		}()}},
	} {
		repeats, late := Repeats(c.here, c.theirs)
		assert.NotContains(t, repeats, true, name)
		assert.Zero(t, late, name)
	}
}
