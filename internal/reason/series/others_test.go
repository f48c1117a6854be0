package series_test

import (
	"cmp"
	"iter"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// What has neither temperature nor humidity (a look with a moisture meter, a rain
// gauge) must not change what is known of the air: not its gaps, its stints, nor
// the span of the record.
func TestReadingsOfWoodOrRainAloneChangeNothingOfTheAir(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := loft(roof.Logger{ID: "k", Fitted: []roof.Fitting{fitted("loft", 0)}},
			roof.Logger{ID: "m", Interval: time.Minute, Fitted: []roof.Fitting{fitted("loft", 0)}},
			roof.Logger{ID: "pins", Fitted: []roof.Fitting{fitted("loft", -1e5)}},
			roof.Logger{ID: "gauge", Fitted: []roof.Fitting{fitted("void", -1e6)}})
		air := map[string][]roof.Reading{}
		for _, id := range []string{"k", "m"} {
			for _, minute := range rapid.SliceOfNDistinct(rapid.IntRange(0, 3000), 5, 60, rapid.ID[int]).Draw(t, id) {
				r := roof.Reading{Logger: id, At: at(float64(minute))}
				r.Values.Set(roof.TempC, rapid.Float64Range(-5, 20).Draw(t, "temp"))
				if rapid.Bool().Draw(t, "rh too") {
					r.Values.Set(roof.RHPct, rapid.Float64Range(30, 100).Draw(t, "rh"))
				}
				air[id] = append(air[id], r)
			}
		}
		all := map[string][]roof.Reading{"k": slices.Clone(air["k"]), "m": slices.Clone(air["m"])}
		for _, id := range []string{"k", "m", "pins", "gauge"} {
			for _, s := range rapid.SliceOfN(rapid.IntRange(-50_000*60, 5000*60), 1, 30).Draw(t, id+" others") {
				r := roof.Reading{Logger: id, At: start.Add(time.Duration(s)*time.Second + time.Millisecond)}
				q := rapid.SampledFrom([]roof.Quantity{roof.WoodPct, roof.RainMM, roof.WindMS, roof.SunWM2}).Draw(t, "quantity")
				r.Values.Set(q, rapid.Float64Range(0, 40).Draw(t, "x"))
				all[id] = append(all[id], r)
			}
		}
		want, got := setOf(t, c, air), setOf(t, c, all)
		assert.Equal(t, want.FromMS, got.FromMS)
		assert.Equal(t, want.UntilMS, got.UntilMS)
		wood := 0
		for i := range want.Courses {
			w, g := want.Courses[i], got.Courses[i]
			assert.Equal(t, w.TempC, g.TempC)
			assert.Equal(t, w.RHPct, g.RHPct)
			assert.Equal(t, w.VapourPa, g.VapourPa)
			assert.Equal(t, w.Stints, g.Stints)
			for _, track := range []series.Track{g.WoodPct, g.RainMM, g.WindMS, g.SunWM2} {
				wood += track.Len()
				assert.True(t, slices.IsSorted(track.AtMS))
				assert.Len(t, track.Joined, track.Len())
			}
		}
		assert.Positive(t, wood)
	})
}

func setOf(t require.TestingT, c *roof.Case, data map[string][]roof.Reading) *series.Set {
	s, err := series.Build(c, 0, func(logger string) iter.Seq2[roof.Reading, error] {
		rows := slices.SortedStableFunc(slices.Values(data[logger]),
			func(a, b roof.Reading) int { return cmp.Compare(a.At.UnixMilli(), b.At.UnixMilli()) })
		return func(yield func(roof.Reading, error) bool) {
			for _, r := range rows {
				if !yield(r, nil) {
					return
				}
			}
		}
	})
	require.NoError(t, err)
	return s
}

// A meter's readings before and after a logger's at one position join it; those
// between its first and last are left aside, and told.
func TestAMetersReadingsStandWhereNoLoggersDo(t *testing.T) {
	c := loft(roof.Logger{ID: "k", Fitted: []roof.Fitting{fitted("loft", 0)}},
		roof.Logger{ID: "meter", Fitted: []roof.Fitting{fitted("loft", 0)}})
	wood := func(id string, minute, pct float64) (r roof.Reading) {
		r = roof.Reading{Logger: id, At: at(minute)}
		r.Values.Set(roof.WoodPct, pct)
		return r
	}
	k := []roof.Reading{wood("k", 10, 20), wood("k", 20, 19)}
	for i := range k {
		k[i].Values.Set(roof.TempC, 4)
	}
	s := setOf(t, c, map[string][]roof.Reading{"k": k,
		"meter": {wood("meter", 5, 22), wood("meter", 15, 30), wood("meter", 30, 18)}})
	assert.Equal(t, []float64{22, 20, 19, 18}, s.Course("loft").WoodPct.Value)
	assert.Equal(t, []string{"meter"}, s.Course("loft").Shadowed)
}
