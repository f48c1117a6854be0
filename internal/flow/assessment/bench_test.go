package assessment_test

import (
	"bytes"
	"fmt"
	"iter"
	"runtime"
	"runtime/debug"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/flow/qc"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

const winterDays = 180

// winter is a simulated winter of one house with a repair in its middle, as
// the two files a consultant brings.
func winter(b *testing.B, interval time.Duration) (*roof.Case, []byte) {
	world := roofworlds.Draw(11, roofsim.UnventedBattenVoid)
	start := roofsim.Run(world, roofsim.Options{Days: 1}).Start
	open := 25.0
	w := roofsim.Run(world, roofsim.Options{Days: winterDays,
		Repairs: []roofsim.Repair{{At: start.AddDate(0, 0, winterDays/2), VoidEavesMM: &open, VoidRidgeMM: &open}}})
	m := roofworlds.Kit{Interval: interval, Faults: roofsim.FieldFaults()}.Measure(w, 3)
	var csv bytes.Buffer
	_, err := csvreadings.Write(&csv, iter.Seq2[roof.Reading, error](func(yield func(roof.Reading, error) bool) {
		for _, r := range m.Readings {
			if !yield(r, nil) {
				return
			}
		}
	}))
	require.NoError(b, err)
	return m.Case, csv.Bytes()
}

// One winter of one property from the readings file to the whole answer, on one
// core: what `dewcase assess` does. peak-MiB is the largest heap seen from the
// system.
func BenchmarkWinterAssessed(b *testing.B) {
	for _, interval := range []time.Duration{5 * time.Minute, time.Minute} {
		b.Run(fmt.Sprintf("every-%s", interval), func(b *testing.B) {
			c, csv := winter(b, interval)
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
			defer debug.SetGCPercent(debug.SetGCPercent(50))
			runtime.GC()
			debug.FreeOSMemory()
			b.ReportMetric(float64(bytes.Count(csv, []byte("\n"))), "readings")
			var parts [3]time.Duration
			for b.Loop() {
				t0 := time.Now()
				cols := csvreadings.NewColumns()
				_, err := csvreadings.Read("winter.csv", bytes.NewReader(csv), time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC),
					func(r roof.Reading, _ int) error {
						cols.Add(r)
						return nil
					})
				require.NoError(b, err)
				flagged, err := qc.Flag(c, cols.Readings)
				require.NoError(b, err)
				set, err := series.Build(c, 0, flagged)
				require.NoError(b, err)
				t1 := time.Now()
				behind := assessment.PhysicsOf(set)
				require.NotEmpty(b, behind.Surfaces)
				t2 := time.Now()
				a := assessment.Of(set)
				require.NotEmpty(b, a.Repairs)
				parts[0] += t1.Sub(t0)
				parts[1] += t2.Sub(t1)
				parts[2] += time.Since(t2)
			}
			for i, name := range []string{"read-s", "physics-s", "whole-after-reading-s"} {
				b.ReportMetric(parts[i].Seconds()/float64(b.N), name)
			}
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			b.ReportMetric(float64(m.HeapSys)/(1<<20), "heap-MiB")
		})
	}
}
