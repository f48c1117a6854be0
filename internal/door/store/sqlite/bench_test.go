package sqlite

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/benchwinter"
	"dewcase/internal/testkit/storetest"
)

// winterOf is the record of one logger, arrived after some time as from a broker.
func winterOf(logger int) []roof.Reading {
	rng := rand.New(rand.NewPCG(5, uint64(logger)))
	out := make([]roof.Reading, 0, benchwinter.PerLogger)
	for r := range benchwinter.Readings(logger, benchwinter.Days) {
		r.Arrived = r.At.Add(time.Duration(rng.IntN(1500)) * time.Millisecond)
		out = append(out, r)
	}
	return out
}

func winterStore(b *testing.B, seal bool) (*Store, int) {
	opt := toSeal
	if !seal {
		opt = Options{SealAfter: -1}
	}
	s := openIn(b, b.TempDir(), opt)
	n := 0
	for position := range 6 {
		rs := winterOf(position)
		n += len(rs)
		for i := 0; i < len(rs); i += 5000 {
			_, err := s.Append(context.Background(), house, rs[i:min(i+5000, len(rs))])
			require.NoError(b, err)
		}
	}
	if seal {
		for days := 1; days > 0; {
			var err error
			days, err = s.Seal(context.Background())
			require.NoError(b, err)
		}
	}
	return s, n
}

// The bar: a winter of six positions at a reading a minute scanned in under 1 s.
func BenchmarkWinterScan(b *testing.B) {
	for _, kind := range []string{"rows", "sealed"} {
		b.Run(kind, func(b *testing.B) {
			s, n := winterStore(b, kind == "sealed")
			b.ResetTimer()
			for range b.N {
				got := 0
				for position := range 6 {
					for _, err := range s.Range(context.Background(), house, benchwinter.Name(position), time.Time{}, time.Time{}) {
						if err != nil {
							b.Fatal(err)
						}
						got++
					}
				}
				require.Equal(b, n, got)
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
			b.ReportMetric(b.Elapsed().Seconds()*1000/float64(b.N), "ms/winter")
		})
	}
}

func BenchmarkOneDay(b *testing.B) {
	s, _ := winterStore(b, true)
	from := benchwinter.Begin.Add(90*24*time.Hour + 12*time.Hour)
	b.ResetTimer()
	for range b.N {
		for _, err := range s.Range(context.Background(), house, "k4", from, from.Add(24*time.Hour)) {
			if err != nil {
				b.Fatal(err)
			}
		}
	}
}

// Appends in batches by one caller, as an import does.
func BenchmarkAppendBatch(b *testing.B) {
	for _, size := range []int{1, 100, 5000} {
		b.Run(fmt.Sprint(size), func(b *testing.B) {
			s := openIn(b, b.TempDir(), Options{SealAfter: -1})
			rs := winterOf(0)
			n := 0
			b.ResetTimer()
			for i := range b.N {
				k := i * size
				if k+size > len(rs) {
					break
				}
				_, err := s.Append(context.Background(), house, rs[k:k+size])
				require.NoError(b, err)
				n += size
			}
			b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "readings/s")
		})
	}
}

// Single readings by many callers at once, as from MQTT: they share commits.
func BenchmarkAppendGrouped(b *testing.B) {
	for _, callers := range []int{1, 16, 256} {
		b.Run(fmt.Sprint(callers), func(b *testing.B) {
			s := openIn(b, b.TempDir(), Options{SealAfter: -1})
			var next atomic.Int64
			b.SetParallelism(max(callers/2, 1))
			b.ResetTimer()
			b.RunParallel(func(pb *testing.PB) {
				name := fmt.Sprint("k", next.Add(1))
				for i := 0; pb.Next(); i++ {
					if _, err := s.Append(context.Background(), house,
						[]roof.Reading{storetest.TRH(name, float64(i*60), 4.31, 92.4)}); err != nil {
						b.Error(err)
						return
					}
				}
			})
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "readings/s")
			b.ReportMetric(float64(b.N)/float64(max(s.Commits(), 1)), "readings/commit")
		})
	}
}

func BenchmarkCheck(b *testing.B) {
	s, _ := winterStore(b, true)
	b.ResetTimer()
	for range b.N {
		r, err := s.Check(context.Background())
		require.NoError(b, err)
		require.NoError(b, r.Err())
	}
}

// A winter that comes as a file does, straight to blocks, of readings every so
// many minutes, arriving at once or each after its own
// after its own delay as from a broker.
func BenchmarkAppendFile(b *testing.B) {
	for _, of := range []struct {
		name  string
		every int
		live  bool
	}{{"a minute", 1, false}, {"a minute, from a broker", 1, true}, {"5 minutes", 5, false}, {"15 minutes", 15, false}} {
		b.Run(of.name, func(b *testing.B) {
			rng := rand.New(rand.NewPCG(5, 1))
			var all []roof.Reading
			n := 0
			for r := range benchwinter.Interleaved(benchwinter.Days) {
				if n++; (n-1)/benchwinter.Loggers%of.every != 0 {
					continue
				}
				if r.Arrived = benchwinter.Begin.Add(benchwinter.Days * 24 * time.Hour); of.live {
					r.Arrived = r.At.Add(time.Duration(20+100*rng.ExpFloat64()) * time.Millisecond)
				}
				all = append(all, r)
			}
			b.ResetTimer()
			for range b.N {
				dir := b.TempDir()
				s := openIn(b, dir, Options{Now: wayAhead})
				for part := range slices.Chunk(all, 1<<16) {
					_, err := s.Append(context.Background(), house, part)
					require.NoError(b, err)
				}
				b.StopTimer()
				require.NoError(b, s.Close())
				st, err := os.Stat(filepath.Join(dir, fileName))
				require.NoError(b, err)
				b.ReportMetric(float64(st.Size())/float64(len(all)), "B/reading")
				b.StartTimer()
			}
			b.ReportMetric(float64(len(all))*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
		})
	}
}
