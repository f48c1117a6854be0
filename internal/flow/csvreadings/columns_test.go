package csvreadings

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"dewcase/internal/roof"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func gather(t testing.TB, text string) *Columns {
	c := NewColumns()
	_, err := Read("r.csv", strings.NewReader(text), now, func(r roof.Reading, _ int) error {
		c.Add(r)
		return nil
	})
	require.NoError(t, err)
	return c
}

func TestRowsOfOneTimeAreOneReading(t *testing.T) {
	c := gather(t, header+
		"2026-11-25T06:20:00Z,a,5,80\n"+ // out of order
		"2026-11-25T06:10:00Z,a,4,\n"+
		"2026-11-25T06:10:00Z,a,,90\n"+ // the other half
		"2026-11-25T06:10:00Z,a,4,90\n"+ // says nothing new
		"2026-11-25T07:10:00+01:00,a,4.5,90\n"+ // the same time, another value
		"2026-11-25T06:10:00Z,a,4.5,90\n"+ // that again
		"2026-11-25T06:10:00Z,b,1,2\n")
	assert.Equal(t, Counts{Kept: 3, Merged: 1, Duplicates: 2, Conflicts: 1}, c.Counts())
	assert.Equal(t, []string{"a", "b"}, c.Loggers())
	var got []string
	for r, err := range c.Readings("a") {
		require.NoError(t, err)
		temp, _ := r.Values.Get(roof.TempC)
		rh, _ := r.Values.Get(roof.RHPct)
		got = append(got, fmt.Sprint(r.At.Format("15:04"), " ", temp, " ", rh))
	}
	assert.Equal(t, []string{"06:10 4 90", "06:20 5 80"}, got)
	for range c.Readings("nobody") {
		t.Fatal("a logger that was never heard has no reading")
	}
}

func TestTheCollectorKeepsWhatAStoreKeeps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := NewColumns()
		kept := map[int64]roof.Reading{}
		aside := map[int64][]roof.Values{}
		want := Counts{}
		for range rapid.IntRange(0, 30).Draw(t, "n") {
			r := roof.Reading{Logger: "a", At: time.UnixMilli(1.7e12 + rapid.Int64Range(0, 5).Draw(t, "at")).UTC(),
				Arrived: time.UnixMilli(rapid.Int64Range(0, 1).Draw(t, "arrived")).UTC(),
				Flags:   roof.Flags(rapid.Uint32Range(0, 3).Draw(t, "flags"))}
			for _, q := range rapid.SliceOfNDistinct(rapid.Uint8Range(0, uint8(roof.QuantityCount)-1), 1,
				3, rapid.ID[uint8]).Draw(t, "q") {
				r.Values.Set(roof.Quantity(q), float64(rapid.IntRange(0, 2).Draw(t, "x")))
			}
			c.Add(r)
			at := r.At.UnixMilli()
			k, met := kept[at]
			if !met {
				kept[at] = r
				want.Kept++
				continue
			}
			var outcome roof.Outcome
			outcome, kept[at] = roof.Meet(k, aside[at], r)
			switch outcome {
			case roof.Merged:
				want.Merged++
			case roof.Duplicate:
				want.Duplicates++
			case roof.Conflict:
				want.Conflicts++
				aside[at] = append(aside[at], r.Values)
			}
		}
		if got := c.Counts(); got != want {
			t.Fatalf("%+v, want %+v", got, want)
		}
		var last int64
		for r := range c.Readings("a") {
			if at := r.At.UnixMilli(); at <= last || r != kept[at] {
				t.Fatalf("%+v, want %+v", r, kept[at])
			}
			last = r.At.UnixMilli()
			want.Kept--
		}
		if want.Kept != 0 {
			t.Fatal("not every record came back")
		}
	})
}

// winter is a file of 180 days of six loggers, one row a minute.
func winter(shuffled bool) []byte {
	rng := rand.New(rand.NewPCG(1, 2))
	start := time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)
	rows := make([][]byte, 0, 180*24*60*6)
	for m := range 180 * 24 * 60 {
		at := start.Add(time.Duration(m)*time.Minute).AppendFormat(nil, time.RFC3339)
		for _, logger := range []string{"k7-indoor", "k7-loft", "k7-void", "k7-slate", "k7-outside", "k7-void-e"} {
			rows = append(rows, fmt.Appendf(nil, "%s,%s,%.2f,%.1f\n", at, logger, rng.Float64()*30-10, 50+rng.Float64()*50))
		}
	}
	if shuffled {
		rng.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	}
	return append([]byte(header), slices.Concat(rows...)...)
}

func BenchmarkReadWinter(b *testing.B) {
	for name, shuffled := range map[string]bool{"sorted": false, "shuffled": true} {
		data := winter(shuffled)
		for _, collect := range []bool{false, true} {
			b.Run(fmt.Sprintf("%s/collect=%v", name, collect), func(b *testing.B) {
				b.SetBytes(int64(len(data)))
				for b.Loop() {
					c := NewColumns()
					sum, err := Read("r.csv", bytes.NewReader(data), now, func(r roof.Reading, _ int) error {
						if collect {
							c.Add(r)
						}
						return nil
					})
					if err != nil || sum.Good != 180*24*60*6 {
						b.Fatal(sum, err)
					}
					c.Counts()
					if collect {
						runtime.GC()
						var m runtime.MemStats
						runtime.ReadMemStats(&m)
						b.ReportMetric(float64(m.HeapAlloc-uint64(len(data)))/float64(sum.Good), "B/reading")
						runtime.KeepAlive(c)
						b.ReportMetric(float64(m.Sys)/(1<<20), "MiB-sys")
					}
				}
			})
		}
	}
}
