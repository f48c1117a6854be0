package sqlite

import (
	"bufio"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/benchwinter"
	"dewcase/internal/testkit/storetest"
)

// straight writes blocks whenever it can, so that each append meets only blocks.
var straight = Options{Now: wayAhead, SealAfter: time.Millisecond, SealQuiet: -1, BlockFrom: 1}

func TestStoreKeepsTheContractWhenEverythingGoesStraightToBlocks(t *testing.T) {
	storetest.Run(t, func(t *testing.T) roof.ReadingStore { return openIn(t, t.TempDir(), straight) })
}

// The bar: at most 3 bytes a reading, of which the noise and the stamps alone
// take 1.80. Every reading comes back to the last bit.
func TestABlockIsNearlyAsShortAsItsNoise(t *testing.T) {
	n, bytes := 0, 0
	for logger := range benchwinter.Loggers {
		all := slices.Collect(benchwinter.Readings(logger, 20))
		for day := range slices.Chunk(all, 24*60) {
			for i := range day {
				day[i].Arrived = benchwinter.Begin
			}
			data, err := seal(day)
			require.NoError(t, err)
			n += len(day)
			bytes += len(data)
		}
	}
	each := float64(bytes) / float64(n)
	t.Logf("%.3f bytes a reading; noise and stamps alone are %.3f", each, benchwinter.EntropyBytes())
	require.Less(t, each, 1.1*benchwinter.EntropyBytes())
}

// What loggers send, and what none should, comes back from a block as it was.
func TestABlockGivesBackWhatItWasGiven(t *testing.T) {
	noise := func(rt *rapid.T, what string) int64 {
		wide := rapid.SampledFrom([]int64{0, 1, 3, 40, 1000, 1 << 20, 1 << 33, 1 << 40}).Draw(rt, what+" as wide as")
		return rapid.Int64Range(-wide, wide).Draw(rt, what)
	}
	number := map[string]func(rt *rapid.T) float64{
		"hundredths": func(rt *rapid.T) float64 { return float64(rapid.IntRange(-4000, 8500).Draw(rt, "x")) / 100 },
		"rounded":    func(rt *rapid.T) float64 { return math.Round(rapid.Float64Range(-1, 1).Draw(rt, "x")*10) / 10 },
		"single": func(rt *rapid.T) float64 {
			return float64(float32(float64(rapid.IntRange(-4000, 8500).Draw(rt, "x")) / 10))
		},
		"Fahrenheit": func(rt *rapid.T) float64 {
			return payload.Fahrenheit.Convert(float64(rapid.IntRange(-400, 1850).Draw(rt, "x")) / 10)
		},
		"whatever": func(rt *rapid.T) float64 {
			return math.Float64frombits(rapid.Uint64().Draw(rt, "bits"))
		},
	}
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 400).Draw(rt, "n")
		kinds := slices.Sorted(func(yield func(string) bool) {
			for k := range number {
				if !yield(k) {
					return
				}
			}
		})
		kind := rapid.SampledFrom(kinds).Draw(rt, "kind")
		odd := rapid.SampledFrom(kinds).Draw(rt, "odd ones")
		at := storetest.Epoch.UnixMilli()
		in := make([]roof.Reading, n)
		for i := range in {
			at += max(1, 60_000+noise(rt, "jitter")%60_000)
			in[i] = roof.Reading{Logger: "k7", At: fromMS(at), Arrived: fromMS(at + noise(rt, "lag"))}
			of := kind
			if rapid.IntRange(0, 99).Draw(rt, "is odd") == 0 {
				of, in[i].Flags = odd, roof.Flags(rapid.Uint32().Draw(rt, "flags"))
			}
			for q := range roof.Quantity(roof.QuantityCount) {
				if q < 2 || rapid.IntRange(0, 9).Draw(rt, "has") == 0 {
					in[i].Values.Set(q, number[of](rt))
				}
			}
		}
		_, err := seal(in) // reads it back and compares every bit
		require.NoError(rt, err)
	})
}

func FuzzOpenBlock(f *testing.F) {
	day := slices.Collect(benchwinter.Readings(0, 1))[:200]
	for i := range day {
		day[i].Arrived = day[i].At
	}
	f.Add(packBlock(day), int64(200))
	day[7].Values.Set(roof.TempC, 1.0/3)
	day[8].Values.Set(roof.TempC, math.Copysign(0, -1))
	day[9].Flags = roof.FlagJump
	f.Add(packBlock(day), int64(200))
	for i := range day {
		day[i].Values.Set(roof.RHPct, math.Sqrt(float64(i)))
		day[i].Arrived = fromMS(int64(binary.LittleEndian.Uint32([]byte{byte(i * 7), byte(i), byte(i * 31), 0})))
	}
	f.Add(packBlock(day), int64(200))
	f.Fuzz(func(t *testing.T, data []byte, n int64) {
		if readings, err := unpackBlock(data, n, "k7", nil); err == nil {
			require.Len(t, readings, int(n))
		}
	})
}

// A day that is opened again, added to in any order, or told twice is one block
// with each reading once.
func TestWhatComesTogetherForAPastDayIsOneBlock(t *testing.T) {
	s := openIn(t, t.TempDir(), Options{Now: wayAhead})
	day := slices.Collect(benchwinter.Readings(0, 3))
	for i := range day {
		day[i].Arrived = benchwinter.Begin
	}
	for _, part := range [][]roof.Reading{day[200:1700], day[100:300], day[1700:], day[:150]} {
		shuffled := slices.Clone(part)
		slices.Reverse(shuffled)
		storetest.Put(t, s, house, shuffled...)
	}
	var blocks, rows int
	require.NoError(t, s.read.QueryRow(`SELECT (SELECT count(*) FROM block), (SELECT count(*) FROM reading)`).Scan(&blocks,
		&rows))
	require.Equal(t, 3, blocks)
	require.Zero(t, rows)
	got := storetest.All(t, s, house, "k1")
	require.Len(t, got, len(day))
	for i := range got {
		require.True(t, identical(&day[i], &got[i]))
	}
	r, err := s.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Err())
}

// A logger that hands over a past day in many small parts would have the whole day
// packed for each of them; from where that is the dearer way the day stays rows.
func TestADayThatComesInSmallPartsIsNotPackedForEach(t *testing.T) {
	s := openIn(t, t.TempDir(), Options{Now: wayAhead})
	day := slices.Collect(benchwinter.Readings(0, 1))
	for i := range day {
		day[i].Arrived = benchwinter.Begin
	}
	for part := range slices.Chunk(day, 40) {
		storetest.Put(t, s, house, part...)
	}
	var blocks, rows int
	require.NoError(t, s.read.QueryRow(`SELECT (SELECT count(*) FROM block), (SELECT count(*) FROM reading)`).Scan(&blocks,
		&rows))
	require.Zero(t, blocks)
	require.Equal(t, len(day), rows)
	got := storetest.All(t, s, house, "k1")
	require.Len(t, got, len(day))
	for i := range got {
		require.True(t, identical(&day[i], &got[i]))
	}
	r, err := s.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Err())
}

// fileParts is a file as it is stored: parts that end in the middle of days.
func fileParts() [][]roof.Reading {
	all := slices.Collect(benchwinter.Interleaved(12))
	for i := range all {
		all[i].Arrived = benchwinter.Begin
	}
	return slices.Collect(slices.Chunk(all, 7000))
}

// storeFileUntilKilled stores the parts again and again, and says each that is
// acknowledged.
func storeFileUntilKilled(dir string) int {
	s, err := Open(context.Background(), dir, Options{Now: wayAhead})
	if err != nil {
		fmt.Println("open", err)
		return 3
	}
	parts := fileParts()
	fmt.Println("ready")
	for i := 0; ; i++ {
		if _, err := s.Append(context.Background(), house, parts[i%len(parts)]); err != nil {
			fmt.Println("fail", err)
			return 1
		}
		fmt.Println("ack", i)
	}
}

// Faults, row 1: killed while a file goes to blocks, every acknowledged part is
// there, each reading once, and what was being written is there whole days or
// not at all.
func TestKilledWhileAFileIsStoredNothingAcknowledgedIsLost(t *testing.T) {
	dir, acked := t.TempDir(), 0
	parts := fileParts()
	t.Setenv(childFile, "1")
	for kill := range 15 {
		cmd, out := child(t, dir, 0, 0)
		lines := bufio.NewScanner(out)
		require.True(t, lines.Scan() && lines.Text() == "ready", "the writer starts again after kill %d", kill)
		time.AfterFunc(time.Duration(kill*12)*time.Millisecond, func() { _ = cmd.Process.Kill() })
		for lines.Scan() {
			var n int
			_, err := fmt.Sscanf(lines.Text(), "ack %d", &n)
			require.NoError(t, err, lines.Text())
			acked = max(acked, min(n+1, len(parts)))
		}
		require.Error(t, cmd.Wait())
		r, err := Check(t.Context(), dir)
		require.NoError(t, err)
		require.NoError(t, r.Err())
	}
	t.Logf("%d of %d parts acknowledged over 15 kills", acked, len(parts))
	s := openIn(t, dir, Options{SealAfter: -1})
	require.Empty(t, incidents(t, s), "no commit that was made is missing")
	want := map[string][]roof.Reading{}
	for _, part := range parts[:acked] {
		for _, r := range part {
			want[r.Logger] = append(want[r.Logger], r)
		}
	}
	for logger, of := range want {
		got := storetest.All(t, s, house, logger)
		require.GreaterOrEqual(t, len(got), len(of))
		for i := range of {
			require.True(t, identical(&of[i], &got[i]), "reading %d of %s", i, logger)
		}
	}
}
