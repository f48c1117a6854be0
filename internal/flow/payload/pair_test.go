package payload

import (
	"testing"
	"time"

	"dewcase/internal/roof"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var start = time.Date(2026, 1, 14, 6, 0, 0, 0, time.UTC)

func half1(q roof.Quantity, x float64, after time.Duration) roof.Reading {
	r := roof.Reading{Logger: "a", At: start.Add(after), Arrived: start.Add(after)}
	r.Values.Set(q, x)
	return r
}

func TestHalvesOfOneTimeArePairedAndStaleOnesNever(t *testing.T) {
	var p Pairer
	r, _ := p.Pair("c", half1(roof.TempC, 4, 0), defaultPair)
	assert.Equal(t, start, r.At, "the first half is handed on at once")
	r, _ = p.Pair("c", half1(roof.RHPct, 90, 90*time.Second), defaultPair)
	assert.Equal(t, start, r.At, "the second under the first's time")
	assert.True(t, r.Values.Has(roof.TempC), "with what came before")
	r, _ = p.Pair("c", half1(roof.RHPct, 91, 91*time.Second), defaultPair)
	assert.Equal(t, start.Add(91*time.Second), r.At, "a half that was paired is not paired again")
	assert.False(t, r.Values.Has(roof.TempC))
	// Faults, row 34: humidity three hours late.
	r, _ = p.Pair("c", half1(roof.TempC, 5, 3*time.Hour), defaultPair)
	assert.False(t, r.Values.Has(roof.RHPct), "a stale half is not taken")
	other := half1(roof.RHPct, 90, 3*time.Hour)
	r, _ = p.Pair("another case", other, defaultPair)
	assert.False(t, r.Values.Has(roof.TempC), "nor one of another case")
}

func TestTheWindowIsNeverOverHalfTheInterval(t *testing.T) {
	d := decoder(t, "- {topic: \"h/{logger}/{quantity}\", case: c, form: number, fields: [{quantity: temp_c, segment: "+
		"t, unit: C}, {quantity: rh_pct, segment: h, unit: percent}]}\n",
		Intervals(func(caseID, logger string) time.Duration { return time.Minute }))
	d.Decode(Message{Topic: "h/a/t", Payload: []byte("4"), Arrived: start})
	_, readings, _ := d.Decode(Message{Topic: "h/a/h", Payload: []byte("90"), Arrived: start.Add(31 * time.Second)})
	require.Len(t, readings, 1)
	assert.False(t, readings[0].Values.Has(roof.TempC))
	_, readings, _ = d.Decode(Message{Topic: "h/a/t", Payload: []byte("4"), Arrived: start.Add(61 * time.Second)})
	require.Len(t, readings, 1)
	assert.True(t, readings[0].Values.Has(roof.RHPct))
}

func TestThePairersMemoryIsBounded(t *testing.T) {
	var p Pairer
	for i := range 3 * maxPending {
		r := half1(roof.TempC, 4, time.Duration(i)*time.Millisecond)
		r.Logger = time.Duration(i).String()
		_, ready := p.Pair("c", r, defaultPair)
		require.True(t, ready)
		require.LessOrEqual(t, len(p.pending), maxPending)
	}
}

func TestPairingNeitherLosesNorMakesUpAValue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p Pairer
		record := map[int64]roof.Reading{} // what a store makes of it
		sent := map[roof.Quantity][]float64{}
		at := time.Duration(0)
		for i := range rapid.IntRange(1, 40).Draw(t, "n") {
			at += time.Duration(rapid.IntRange(0, 200).Draw(t, "s")) * time.Second
			q := rapid.SampledFrom([]roof.Quantity{roof.TempC, roof.RHPct}).Draw(t, "q")
			in := half1(q, float64(i), at)
			sent[q] = append(sent[q], float64(i))
			r, ready := p.Pair("c", in, defaultPair)
			if !ready || in.At.Sub(r.At) > defaultPair || in.At.Before(r.At) {
				t.Fatalf("%v became %v", in, r)
			}
			if x, _ := r.Values.Get(q); x != float64(i) {
				t.Fatalf("%v is not in %v", in, r)
			}
			k, met := record[r.At.UnixMilli()]
			if met {
				outcome, joined := roof.Meet(k, nil, r)
				if outcome == roof.Conflict && at > 0 && in.At != r.At {
					t.Fatalf("%v clashes with %v", r, k)
				}
				if outcome != roof.Conflict {
					k = joined
				}
			} else {
				k = r
			}
			record[r.At.UnixMilli()] = k
		}
		for _, r := range record {
			for q, all := range sent {
				if x, ok := r.Values.Get(q); ok {
					found := false
					for _, y := range all {
						found = found || x == y
					}
					if !found {
						t.Fatalf("%v was never sent", x)
					}
				}
			}
		}
	})
}
