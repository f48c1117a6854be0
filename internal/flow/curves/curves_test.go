package curves_test

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/record"
	"dewcase/internal/reason/risk"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/mem"
)

var start = time.Date(2026, 10, 20, 9, 0, 0, 0, time.UTC)

// house has a void under slates, and outdoors; clocks go back during its record.
func house(zone string) *roof.Case {
	z, err := time.LoadLocation(zone)
	if err != nil {
		panic(err)
	}
	c := &roof.Case{ID: "larch-1", Property: roof.Property{Zone: z, Timezone: zone}, Positions: []roof.Position{
		{ID: "void", Place: roof.BattenVoidAir}, {ID: "slate.n", Place: roof.CoveringUnderside, Meets: "void"},
		{ID: "outside", Place: roof.OutdoorAir}}}
	for id, pos := range map[string]string{"a": "void", "s": "slate.n", "o": "outside"} {
		c.Loggers = append(c.Loggers, roof.Logger{ID: id, Interval: 10 * time.Minute,
			Fitted: []roof.Fitting{{Position: pos, From: start.Add(-time.Hour)}}})
	}
	return c
}

func reading(logger string, at time.Time, tempC, rhPct float64) roof.Reading {
	r := roof.Reading{Logger: logger, At: at, Arrived: at}
	r.Values.Set(roof.TempC, tempC)
	if logger != "s" {
		r.Values.Set(roof.RHPct, rhPct)
	}
	if logger == "o" {
		r.Values.Set(roof.RainMM, 0.2)
	}
	return r
}

func stored(t require.TestingT, c *roof.Case, readings ...roof.Reading) (*mem.Store, *record.Reader, *curves.Keeper) {
	store := mem.New()
	_, err := store.Append(context.Background(), c.ID, readings)
	require.NoError(t, err)
	r := record.New(store)
	return store, r, curves.New(r)
}

// Check values: WMO-No. 8 Magnus over water gives 1227.9 Pa at 10 C; absolute
// humidity e / (461.523 J/(kg K) T).
func TestEachQuantityIsDerivedAtItsReadings(t *testing.T) {
	c := house("Europe/London")
	var rs []roof.Reading
	for i := range 4 {
		at := start.Add(time.Duration(i) * 10 * time.Minute)
		rs = append(rs, reading("a", at, 10, 80), reading("s", at, 5, 0), reading("o", at, 10, 50))
	}
	_, _, k := stored(t, c, rs...)
	for _, x := range []struct {
		key  string
		want float64
	}{{"void.temp", 10}, {"void.rh", 80}, {"void.vapour_pressure", 0.8 * 1226.0}, {"void.vapour_excess", 0.3 * 1226.0},
		{"void.absolute_humidity", 1000 * 0.8 * 1226.0 / (461.523 * 283.15)}, {"void.dew_point", 6.71},
		{"slate.n.margin", 5 - 6.71}, {"outside.rain", 0.2}} {
		keys := curves.ParseKeys(c, x.key)
		require.Len(t, keys, 1, x.key)
		assert.Equal(t, x.key, keys[0].String())
		v, err := k.Columns(t.Context(), c, keys, start.UnixMilli(), start.Add(time.Hour).UnixMilli(), 0)
		require.NoError(t, err)
		require.Equal(t, 4, v.Columns[0].Readings.Len(), x.key)
		assert.InEpsilon(t, x.want, v.Columns[0].Readings.Value[1], 0.003, x.key)
	}
	assert.Empty(t, curves.ParseKeys(c, "void.margin,slate.n,nowhere.temp,,void.temp.x"),
		"what makes no sense is left out")
}

func TestRainIsAddedUpAndNeverAveraged(t *testing.T) {
	c := house("Europe/London")
	var rs []roof.Reading
	for i := range 13 {
		rs = append(rs, reading("o", start.Add(time.Duration(i)*10*time.Minute), 8, 90))
	}
	_, _, k := stored(t, c, rs...)
	for _, step := range []time.Duration{time.Minute, 15 * time.Minute, time.Hour, 3 * time.Hour} {
		v, err := k.Columns(t.Context(), c, curves.ParseKeys(c, "outside.rain"), start.Add(-3*time.Hour).UnixMilli(),
			start.Add(3*time.Hour).UnixMilli(), step.Milliseconds())
		require.NoError(t, err)
		sum := 0.0
		for _, b := range v.Columns[0].Bins {
			sum += float64(b.Mean)
		}
		assert.InDelta(t, 13*0.2, sum, 1e-4, step)
	}
}

// drawnBatch draws readings of three loggers within eight days, in time order.
func drawnBatch(t *rapid.T) (batch []roof.Reading) {
	at := start.Add(time.Duration(rapid.IntRange(0, 7*24*60).Draw(t, "minute")) * time.Minute)
	for range rapid.IntRange(1, 60).Draw(t, "n") {
		at = at.Add(time.Duration(rapid.IntRange(1, 40).Draw(t, "gap")) * time.Minute)
		l := rapid.SampledFrom([]string{"a", "s", "o"}).Draw(t, "logger")
		batch = append(batch, reading(l, at, rapid.Float64Range(-5, 15).Draw(t, "t"),
			rapid.Float64Range(40, 99).Draw(t, "rh")))
	}
	return batch
}

// What is kept in memory must be what a fresh look at the record gives, and each
// step the sum of what was observed in it, whatever came late and in any order.
func TestColumnsEqualTheRecordAtEveryStepAndAfterEveryReading(t *testing.T) {
	for _, zone := range []string{"Europe/London", "Asia/Kathmandu", "Australia/Lord_Howe"} {
		t.Run(zone, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				ctx := context.Background()
				c := house(zone)
				store, r, k := stored(t, c)
				keys := curves.ParseKeys(c, "void.rh,void.dew_point,void.vapour_excess,slate.n.margin,void.absolute_humidity")
				from, until := start.UnixMilli(), start.Add(8*24*time.Hour).UnixMilli()
				for range rapid.IntRange(1, 4).Draw(t, "batches") {
					batch := drawnBatch(t)
					outcomes, err := store.Append(ctx, c.ID, batch)
					require.NoError(t, err)
					r.Appended(c.ID, batch, outcomes)
					k.Appended(c.ID, batch, outcomes)
					step := rapid.SampledFrom(curves.Steps).Draw(t, "step")
					if step < 5*60_000 {
						step = 0
					}
					got, err := k.Columns(ctx, c, keys, from, until, step)
					require.NoError(t, err)
					want, err := curves.New(r).Columns(ctx, c, keys, from, until, step)
					require.NoError(t, err)
					require.Equal(t, want, got)
					set, err := r.Around(ctx, c, got.FromMS, got.UntilMS)
					require.NoError(t, err)
					agrees(t, got, 0, set.Course("void").RHPct.ObservedMS)
					m, err := risk.Margin(set, "slate.n")
					if err != nil || step == 0 {
						continue
					}
					for i, b := range got.Columns[3].Bins {
						a := got.FromMS + int64(i)*step
						s := m.Sum(a, a+step)
						require.InDelta(t, s.ObservedMS/float64(step), float64(b.Seen), 1e-4)
						if s.ObservedMS > 0 {
							require.InDelta(t, s.MarginMean, float64(b.Mean), 2e-4)
							require.InDelta(t, s.MarginMin, float64(b.Min), 2e-4)
							require.InDelta(t, s.MarginMax, float64(b.Max), 2e-4)
						}
					}
				}
			})
		})
	}
}

// agrees checks how much of each step was observed.
func agrees(t require.TestingT, v curves.View, column int, observedMS func(from, until int64) int64) {
	for i, b := range v.Columns[column].Bins {
		a := v.FromMS + int64(i)*v.StepMS
		require.InDelta(t, float64(observedMS(a, a+v.StepMS))/float64(v.StepMS), float64(b.Seen), 1e-4)
		if b.Seen > 0 {
			require.LessOrEqual(t, b.Min, b.Mean+1e-3)
			require.GreaterOrEqual(t, b.Max, b.Mean-1e-3)
			require.False(t, math.IsNaN(float64(b.Mean)))
		}
	}
}

func TestAChangedCaseFileIsSeenAtOnce(t *testing.T) {
	c := house("Europe/London")
	var rs []roof.Reading
	for i := range 100 {
		rs = append(rs, reading("a", start.Add(time.Duration(i)*10*time.Minute), 10, 80))
	}
	_, r, k := stored(t, c, rs...)
	ask := func(c *roof.Case) float32 {
		v, err := k.Columns(t.Context(), c, curves.ParseKeys(c, "void.temp"), start.UnixMilli(),
			start.Add(12*time.Hour).UnixMilli(), 3600_000)
		require.NoError(t, err)
		return v.Columns[0].Bins[5].Mean
	}
	assert.InDelta(t, 10, ask(c), 1e-6)
	corrected := *c
	corrected.Loggers = append([]roof.Logger{}, c.Loggers...)
	for i := range corrected.Loggers {
		corrected.Loggers[i].Offsets = []roof.Offset{{From: start.Add(-time.Hour), TempC: -0.5}}
	}
	r.CaseChanged(c.ID)
	k.CaseChanged(c.ID)
	assert.InDelta(t, 9.5, ask(&corrected), 1e-6)
}

func TestAStretchThatCannotBeIsRefused(t *testing.T) {
	c := house("Europe/London")
	_, _, k := stored(t, c)
	for _, x := range []struct {
		name              string
		from, until, step int64
	}{{"backwards", 10, 5, 0}, {"a step of none", 0, 1e9, 7000}, {"too many steps", 0, 1e13, 60_000},
		{"readings of a year", 0, 366 * 86400e3, 0}} {
		_, err := k.Columns(t.Context(), c, curves.ParseKeys(c, "void.temp"), x.from, x.until, x.step)
		require.Error(t, err, x.name)
		assert.Equal(t, roof.Request, roof.ProblemOf(err), x.name)
	}
}

func TestStepsFollowTheWidthDownToTheReading(t *testing.T) {
	day := int64(86400e3)
	for _, x := range []struct{ span, usual, want int64 }{{180 * day, 60_000, day},
		{30 * day, 60_000, 60 * 60_000},
		{7 * day, 60_000, 15 * 60_000}, {2 * day, 60_000, 5 * 60_000}, {day / 2, 60_000, 0}, {7 * day, 900_000, 0}} {
		assert.Equal(t, x.want, curves.StepFor(x.span, x.usual, 1000), x)
	}
}

// The margin without a repair is what was measured plus what the model says that
// the repair changed, at every step: what was measured before the repair, and
// nothing where the model says nothing.
func TestAMarginWithoutTheRepairIsWhatWasMeasuredAndTheChange(t *testing.T) {
	c := house("Asia/Kathmandu")
	c.Events = []roof.Event{{Kind: roof.Repair, At: start.Add(3 * time.Hour)}}
	var rs []roof.Reading
	for i := range 12 * 6 {
		at := start.Add(time.Duration(i) * 10 * time.Minute)
		rs = append(rs, reading("a", at, 10+float64(i%7), 80), reading("s", at, 5+float64(i%5), 0))
	}
	_, _, k := stored(t, c, rs...)
	change := curves.Change{Surface: "slate.n", FromMS: start.Add(3 * time.Hour).UnixMilli()}
	for i := range 10 { // five hours
		change.ByK = append(change.ByK, -0.5*float64(i))
	}
	change.ByK[4] = math.NaN()
	keys := curves.ParseKeys(c, "slate.n.margin,slate.n.margin_unrepaired")
	require.Len(t, keys, 2)
	byK := func(ms int64) (float64, bool) { return change.Over(ms, ms+1) }
	var quarters []curves.Bin
	first := start.Truncate(24 * time.Hour).Add(9*time.Hour + 15*time.Minute).UnixMilli() // a whole step in Nepal
	for _, step := range []int64{0, 60_000, 5 * 60_000, curves.BaseMS, 60 * 60_000, 180 * 60_000} {
		v, err := k.Columns(t.Context(), c, keys, first, first+12*3600_000, step, change)
		require.NoError(t, err)
		with, without := v.Columns[0], v.Columns[1]
		for i, b := range with.Bins {
			w, at := without.Bins[i], v.FromMS+int64(i)*step
			switch by, ok := byK(at); {
			case step > curves.BaseMS:
				n, sum := int(step/curves.BaseMS), 0.0
				for _, q := range quarters[i*n : (i+1)*n] {
					sum += float64(q.Mean * q.Seen)
				}
				assert.InDelta(t, sum/float64(n), float64(w.Mean*w.Seen), 1e-4)
			case at < change.FromMS:
				assert.Equal(t, b, w)
			case !ok:
				assert.Zero(t, w.Seen)
			case b.Seen > 0:
				assert.InDelta(t, float64(b.Mean)+by, float64(w.Mean), 1e-5)
				assert.InDelta(t, float64(b.Max)+by, float64(w.Max), 1e-5)
			}
		}
		if step == curves.BaseMS {
			quarters = without.Bins
		}
		if step == 0 {
			assert.Equal(t, 17+9*3, without.Readings.Len(), "all before the repair, and nine half hours of which is known")
		}
	}
	v, err := k.Columns(t.Context(), c, keys, start.UnixMilli(), start.Add(12*time.Hour).UnixMilli(), 0)
	require.NoError(t, err)
	assert.Empty(t, v.Columns[1].Readings.AtMS, "nothing is known of a repair that was not judged")
	c.Events = nil
	assert.Len(t, curves.ParseKeys(c, "slate.n.margin,slate.n.margin_unrepaired"), 1, "nor is it offered without one")
}
