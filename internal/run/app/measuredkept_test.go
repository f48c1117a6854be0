package app

import (
	"fmt"
	"iter"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/record"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/measuredroofs"
	"dewcase/internal/testkit/roofworlds"
)

// What a start answers from kept values is what one answers that worked it all out,
// to the last digit: hours, columns of a chart, and the assessment.

func TestKeptValuesOfMeasuredRoofsAreWhatTheirRecordsGive(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Helsinki")
	require.NoError(t, err)
	for _, name := range []string{"R2", "R3"} {
		t.Run(name, func(t *testing.T) {
			m := measuredroofs.Load(t, name)
			c := &roof.Case{ID: "measured", Property: roof.Property{Timezone: "Europe/Helsinki", Zone: zone}}
			accK, accPct := 0.3, 2.0
			var readings []roof.Reading
			for _, f := range []struct {
				sensor string
				at     roof.Position
			}{{"station", roof.Position{ID: "outside", Place: roof.OutdoorAir}},
				{"indoor1", roof.Position{ID: "room", Place: roof.IndoorAir}},
				{"roofmiddle_airmiddle", roof.Position{ID: "loft", Place: roof.LoftAir}},
				{"roofmiddle_airtop", roof.Position{ID: "deck", Place: roof.UnderlayUnderside, Meets: "loft"}}} {
				c.Positions = append(c.Positions, f.at)
				l := roof.Logger{ID: "k-" + f.at.ID, Interval: time.Hour, Accuracy: roof.Accuracy{TempC: &accK, RHPct: &accPct},
					Fitted: []roof.Fitting{{Position: f.at.ID, From: m.At[0]}}}
				c.Loggers = append(c.Loggers, l)
				readings = append(readings, collected(t, m.Readings(l.ID, f.sensor, m.At[0], m.At[len(m.At)-1]))...)
			}
			require.Greater(t, len(readings), 10_000)
			keptIsFresh(t, c, readings)
		})
	}
}

func collected(t *testing.T, readings iter.Seq2[roof.Reading, error]) (out []roof.Reading) {
	for r, err := range readings {
		require.NoError(t, err)
		out = append(out, r)
	}
	return out
}

func TestKeptValuesOfTwentyWintersAreWhatTheirRecordsGive(t *testing.T) {
	causes := []roofsim.Cause{roofsim.UnventedBattenVoid, roofsim.CeilingLeakage, roofsim.WaterIngress,
		roofsim.BlockedVentilation, roofsim.NightSkyCooling}
	for seed := range uint64(20) {
		cause := causes[seed%uint64(len(causes))]
		t.Run(fmt.Sprintf("%d %s", seed, cause), func(t *testing.T) {
			world := roofworlds.Draw(seed, cause)
			w := roofsim.Run(world, roofsim.Options{Days: 24})
			kit := roofworlds.Kit{Interval: 30 * time.Minute, Faults: roofsim.FieldFaults()}
			m := kit.Measure(w, seed)
			if seed%2 == 1 { // how often a logger sends is found from its readings
				for i := range m.Case.Loggers {
					m.Case.Loggers[i].Interval = 0
				}
			}
			keptIsFresh(t, m.Case, m.Readings)
		})
	}
}

// keptIsFresh has a daemon work everything out, starts another, and compares what
// that one takes from the shelf with a look that knows of none.
func keptIsFresh(t *testing.T, c *roof.Case, readings []roof.Reading) {
	t.Helper()
	ctx, dir := t.Context(), t.TempDir()
	byTime := func(a, b roof.Reading) int { return a.At.Compare(b.At) }
	first, last := slices.MinFunc(readings, byTime).At, slices.MaxFunc(readings, byTime).At
	now := last.AddDate(0, 0, 3)
	from, until := first.Truncate(24*time.Hour).UnixMilli(), last.Truncate(24*time.Hour).UnixMilli()
	var keys []curves.Key
	for _, p := range c.Positions {
		for _, q := range curves.Offered(c, p) {
			if q != curves.UnrepairedK {
				keys = append(keys, curves.Key{Position: p.ID, Quantity: q})
			}
		}
	}
	text := func(r *record.Reader, k *curves.Keeper) (string, curves.View) {
		v, err := r.Timeline(ctx, c, from, until, 3600_000)
		require.NoError(t, err)
		b, err := v.AppendJSON(nil)
		require.NoError(t, err)
		columns, err := k.Columns(ctx, c, keys, from, until, 3*3600_000)
		require.NoError(t, err)
		return string(b), columns
	}
	d, end := begun(t, dir, "1", now)
	for batch := range slices.Chunk(readings, 5000) {
		d.append(t, c, batch...)
	}
	_, err := d.Current(ctx, c)
	require.NoError(t, err)
	text(d.record, keeperOf(d))
	end()

	d, end = begun(t, dir, "1", now)
	defer end()
	require.True(t, d.isKept(t, c))
	got, err := d.Current(ctx, c)
	require.NoError(t, err)
	gotHours, gotColumns := text(d.record, keeperOf(d))

	fresh := record.New(d.store)
	set, err := fresh.Whole(ctx, c, roof.InTurn)
	require.NoError(t, err)
	same(t, assessment.Of(set), got)
	wantHours, wantColumns := text(fresh, curves.New(fresh))
	require.Equal(t, wantHours, gotHours)
	require.Equal(t, wantColumns, gotColumns)
}

func keeperOf(d daemon) *curves.Keeper {
	s := d.shelf.(shelf)
	return curves.New(d.record).On(s, restsBy(d.record))
}
