package influx

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/record"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/mem"
	"dewcase/internal/testkit/storetest"
)

// twoPositions is a case of a void and the slate above it.
func twoPositions(t *testing.T) *roof.Case {
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	from := storetest.Epoch.Add(-24 * time.Hour)
	return &roof.Case{ID: house, Property: roof.Property{Timezone: "Europe/London", Zone: zone},
		Positions: []roof.Position{{ID: "void", Place: roof.BattenVoidAir},
			{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}},
		Loggers: []roof.Logger{
			{ID: "k1", Interval: 5 * time.Minute, Fitted: []roof.Fitting{{Position: "void", From: from}}},
			{ID: "k2", Interval: 5 * time.Minute, Fitted: []roof.Fitting{{Position: "slate", From: from}}},
		}}
}

func TestDerivedHoursAndNightsAreThoseOfTheTimeline(t *testing.T) {
	e := newEngine(t)
	client := e.bucket(t, t.Name())
	store := mem.New()
	c := twoPositions(t)
	var rs []roof.Reading
	for i := range 3 * 288 {
		if i > 300 && i < 400 {
			continue // a gap is no figure
		}
		phase := 2 * math.Pi * float64(i) / 288
		rs = append(rs, storetest.TRH("k1", float64(i*300), 5+3*math.Cos(phase), 90+3*math.Sin(phase)),
			storetest.At("k2", float64(i*300), float64(roof.TempC), 4+6*math.Cos(phase)))
	}
	storetest.Put(t, store, house, rs...)
	reader := record.New(store)
	d := NewDerived(client, Source{
		Cases:   func(context.Context) ([]*roof.Case, error) { return []*roof.Case{c}, nil },
		Version: reader.Version, Span: reader.Span, View: reader.Timeline,
	}, nil, 0)
	require.NoError(t, d.Copy(t.Context()))
	writes := e.writes.Load()
	require.NoError(t, d.Copy(t.Context()))
	require.Equal(t, writes, e.writes.Load(), "what did not change is not sent again")

	from := storetest.Epoch.Add(-12 * time.Hour)
	v, err := reader.Timeline(t.Context(), c, from.UnixMilli(), from.Add(4*24*time.Hour).UnixMilli(),
		time.Hour.Milliseconds())
	require.NoError(t, err)
	read := func(field, of, where string) map[int64]float64 {
		s, err := client.query(t.Context(), fmt.Sprintf(`SELECT %s FROM %s WHERE "case"='%s' AND %s`, field, of, house,
			where))
		require.NoError(t, err)
		require.Len(t, s, 1)
		out := map[int64]float64{}
		for _, row := range s[0].Values {
			at, err := row[0].Int64()
			require.NoError(t, err)
			x, err := row[1].Float64()
			require.NoError(t, err)
			out[at] = x
		}
		return out
	}
	equal := func(col timeline.Column, got map[int64]float64) {
		n := 0
		for i, at := range v.Time {
			want, ok := col.Get(i)
			x, had := got[at.UnixMilli()]
			require.Equal(t, ok, had, "at %v", at)
			if ok {
				require.Equal(t, math.Float64bits(want), math.Float64bits(x))
				n++
			}
		}
		require.Greater(t, n, 60)
		require.Less(t, n, 73, "the gap has no figures")
	}
	equal(v.Positions[0].DewPointC.Mean, read("dew_point_c", ofHour, `"position"='void'`))
	equal(v.Surfaces[0].MarginK.Mean, read("margin_k", ofHourSurface, `"surface"='slate'`))
	equal(v.Surfaces[0].CondensingMin, read("condensing_min", ofHourSurface, `"surface"='slate'`))

	nightly := read("condensing_min", ofNightSurface, `"surface"='slate'`)
	total, sum := 0.0, 0.0
	for i := range v.Time {
		if x, ok := v.Surfaces[0].CondensingMin.Get(i); ok {
			total += x
		}
	}
	for at, x := range nightly {
		require.Equal(t, 12, time.UnixMilli(at).In(c.Property.Zone).Hour(), "a night begins at noon")
		sum += x
	}
	require.Len(t, nightly, 4)
	require.Positive(t, total)
	require.InDelta(t, total, sum, 1e-6)

	late := storetest.TRH("k1", 2*86400+30, 5, 99)
	reader.Appended(house, []roof.Reading{late}, storetest.Put(t, store, house, late))
	require.NoError(t, d.Copy(t.Context()))
	require.Greater(t, e.writes.Load(), writes, "a late reading changes its hour, which is sent")
}
