package storetest

import (
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/roof"
)

// simple is the contract written as plainly as can be, to compare a store with.
type simple struct {
	kept  map[string]map[int64]roof.Reading
	aside []roof.Reading
}

func (m *simple) append(r roof.Reading) roof.Outcome {
	of := m.kept[r.Logger]
	if of == nil {
		of = map[int64]roof.Reading{}
		m.kept[r.Logger] = of
	}
	at := r.At.UnixMilli()
	k, ok := of[at]
	if !ok {
		of[at] = r
		return roof.Stored
	}
	differs, adds := false, false
	for q := range roof.Quantity(roof.QuantityCount) {
		x, has := r.Values.Get(q)
		y, had := k.Values.Get(q)
		differs = differs || has && had && x != y
		adds = adds || has && !had
	}
	switch {
	case differs:
		for _, a := range m.aside {
			if a.Logger == r.Logger && a.At.Equal(r.At) && a.Values.Says(r.Values) {
				return roof.Duplicate
			}
		}
		m.aside = append(m.aside, r)
		return roof.Conflict
	case !adds:
		return roof.Duplicate
	}
	for q := range roof.Quantity(roof.QuantityCount) {
		if x, has := r.Values.Get(q); has {
			k.Values.Set(q, x)
		}
	}
	k.Flags |= r.Flags
	of[at] = k
	return roof.Merged
}

// model appends whatever rapid thinks of, in batches, each run to a case of its
// own, and compares outcomes and record with the plain model.
func model(t *testing.T, s roof.ReadingStore) {
	run := 0
	rapid.Check(t, func(rt *rapid.T) {
		run++
		caseID := "model-" + time.UnixMilli(int64(run)).UTC().Format("150405.000")
		m := simple{kept: map[string]map[int64]roof.Reading{}}
		reading := rapid.Custom(func(rt *rapid.T) roof.Reading {
			r := At(rapid.SampledFrom([]string{"k7", "k8"}).Draw(rt, "logger"),
				float64(rapid.IntRange(0, 5).Draw(rt, "day"))*86400+float64(rapid.IntRange(-1, 2).Draw(rt, "step")))
			has := rapid.IntRange(1, 1<<roof.QuantityCount-1).Draw(rt, "has")
			for q := range roof.Quantity(roof.QuantityCount) {
				if has&(1<<q) != 0 {
					r.Values.Set(q, rapid.SampledFrom([]float64{0, 4.31, 92.4, 1.0 / 3}).Draw(rt, "value"))
				}
			}
			r.Flags = roof.Flags(1 << rapid.IntRange(0, 11).Draw(rt, "flag"))
			return r
		})
		for _, batch := range rapid.SliceOfN(rapid.SliceOfN(reading, 1, 12), 1, 6).Draw(rt, "batches") {
			var want []roof.Outcome
			for _, r := range batch {
				want = append(want, m.append(r))
			}
			got, err := s.Append(t.Context(), caseID, batch)
			require.NoError(rt, err)
			require.Equal(rt, want, got)
		}
		for logger, of := range m.kept {
			var want, got []roof.Reading
			for _, at := range slices.Sorted(maps.Keys(of)) {
				want = append(want, of[at])
			}
			for r, err := range s.Range(t.Context(), caseID, logger, time.Time{}, time.Time{}) {
				require.NoError(rt, err)
				got = append(got, r)
			}
			require.Len(rt, got, len(want))
			for i := range want {
				require.Empty(rt, Difference(want[i], got[i]))
			}
		}
		aside, err := s.Conflicts(t.Context(), caseID, 1000)
		require.NoError(rt, err)
		require.Len(rt, aside, len(m.aside))
		for i, a := range aside {
			require.Empty(rt, Difference(m.aside[len(m.aside)-1-i], a.Reading))
			kept := m.kept[a.Reading.Logger][a.Reading.At.UnixMilli()].Values
			require.True(rt, a.Kept.Says(kept) && kept.Says(a.Kept))
		}
	})
}
