//go:build trials

package watch

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"dewcase/internal/outlook"
	"dewcase/internal/roofsim"
)

// TestTrain fits the outlook's general coefficients on simulated winters that no
// other test uses and writes them to the file DEWCASE_TRAIN names.
func TestTrain(t *testing.T) {
	name := os.Getenv("DEWCASE_TRAIN")
	if name == "" {
		t.Skip("DEWCASE_TRAIN names the file to write")
	}
	var e outlook.Evenings
	for i, c := range roofsim.Causes() {
		for k := range 12 {
			world := roofsim.Draw(uint64(40_000+1000*i+k), c)
			w := measured(t, roofsim.Run(world, roofsim.Options{Days: 110}), uint64(k))
			r := newRecord(Input{Case: w.c, Rows: w.hours, FromMS: w.from, Now: w.input(w.n, nil).Now})
			rng := rand.New(rand.NewPCG(uint64(i), uint64(k)))
			for s := range r.surfaces {
				c := r.course(s)
				for d := 22; d < 109; d++ {
					now := time.UnixMilli(w.from).UTC().Truncate(24*time.Hour).AddDate(0, 0, d).Add(time.Duration(16+rng.IntN(3)) * time.Hour)
					j := int((now.UnixMilli() - w.from) / hourMS)
					low := math.Inf(1)
					for q := j; q < j+18 && q < r.n; q++ {
						if v := c.OutdoorC[q]; !math.IsNaN(v) {
							low = math.Min(low, v)
						}
					}
					e.Add(c.Back(j, 24*Days), c, now, &outlook.Forecast{MinC: low + 1.5*rng.NormFloat64()})
				}
			}
		}
	}
	if err := os.WriteFile(name, []byte(e.Fit()), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Log(e.Len())
}
