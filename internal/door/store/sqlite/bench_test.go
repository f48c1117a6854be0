package sqlite

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

// winterOf is 180 days of one position at one reading a minute, some lost, times
// off by up to a second, temperature in 0.01 K and humidity in 0.1 %.
func winterOf(position int) []roof.Reading {
	rng := rand.New(rand.NewPCG(5, uint64(position)))
	name := fmt.Sprint("k", position)
	out := make([]roof.Reading, 0, 180*1440)
	for i := range 180 * 1440 {
		if rng.IntN(500) == 0 {
			continue
		}
		day := float64(i) / 1440
		temp := 5*math.Sin(2*math.Pi*day) - 3*math.Cos(2*math.Pi*day/180) + rng.NormFloat64()*0.05
		rh := 85 + 8*math.Sin(2*math.Pi*day+2) + rng.NormFloat64()*0.3
		r := storetest.TRH(name, float64(i*60)+float64(rng.IntN(3)-1), math.Round(temp*100)/100, math.Round(rh*10)/10)
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
					for _, err := range s.Range(context.Background(), house, fmt.Sprint("k", position), time.Time{}, time.Time{}) {
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
	from := storetest.Epoch.Add(90*24*time.Hour + 12*time.Hour)
	b.ResetTimer()
	for range b.N {
		for _, err := range s.Range(context.Background(), house, "k3", from, from.Add(24*time.Hour)) {
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
