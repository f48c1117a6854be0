package openings_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/reason/openings"
	"dewcase/internal/roof"
)

// mm is the least opening in each place.
type mm = map[openings.Where]float64

func num(x float64) *float64 { return &x }

func find(t *testing.T, a openings.Answer, w openings.Where) openings.Line {
	t.Helper()
	for _, l := range a.Lines {
		if l.Where == w {
			return l
		}
	}
	t.Fatalf("no line for %s in %+v", w, a.Lines)
	return openings.Line{}
}

func has(a openings.Answer, w openings.Where) bool {
	for _, l := range a.Lines {
		if l.Where == w {
			return true
		}
	}
	return false
}

// The sums are by hand: mm x 1000 x length x sides.
func TestLinesCountSlotAreaAndVents(t *testing.T) {
	b := roof.Build{PitchDeg: num(40), SpanM: num(8), LengthM: num(10), Shape: "duopitch", Insulation: "ceiling",
		EavesClear: roof.Yes,
		Covering:   roof.Covering{Air: "closed"}, Underlay: roof.Underlay{Class: "HR"}, Battens: "single",
		Openings: roof.Openings{LoftEavesMM: num(4), LoftRidgeMM: num(0)}}
	a, err := openings.Advise(b, "ceiling_leakage", "", 7500)
	require.NoError(t, err)
	l := find(t, a, openings.LoftEaves)
	assert.Equal(t, 10.0, l.NeededMM)
	assert.Equal(t, 200000.0, *l.NeededMM2)
	assert.Equal(t, 6.0, *l.ShortMM)
	assert.Equal(t, 120000.0, *l.ShortMM2)
	assert.Equal(t, 16, *l.Vents)
	high := find(t, a, openings.LoftRidge)
	assert.Equal(t, 5.0, *high.ShortMM)
	assert.Equal(t, 50000.0, *high.NeededMM2)
	assert.Empty(t, a.Asks)
	assert.Contains(t, a.Advice[0], "ceiling first")
	assert.NotEmpty(t, a.Cautions)
	assert.Contains(t, a.Licence, "no licence")
}

func TestUKNeedsFollowUnderlayPitchSpanAndCovering(t *testing.T) {
	base := func(change func(*roof.Build)) roof.Build {
		b := roof.Build{PitchDeg: num(30), SpanM: num(8), LengthM: num(10), Shape: "duopitch", Insulation: "ceiling",
			Covering: roof.Covering{Air: "open"}, Underlay: roof.Underlay{Class: "HR", AirPermeable: roof.No},
			Ceiling: roof.Ceiling{Sealed: roof.No}}
		change(&b)
		return b
	}
	cases := []struct {
		name   string
		change func(*roof.Build)
		want   mm
		asks   bool
	}{
		{"HR", func(b *roof.Build) {}, mm{openings.LoftEaves: 10}, false},
		{"HR at 15 degrees", func(b *roof.Build) { b.PitchDeg = num(15) }, mm{openings.LoftEaves: 25}, false},
		{"HR over 35 degrees", func(b *roof.Build) { b.PitchDeg = num(35.5) },
			mm{openings.LoftEaves: 10, openings.LoftRidge: 5},
			false},
		{"HR at 35 degrees", func(b *roof.Build) { b.PitchDeg = num(35) }, mm{openings.LoftEaves: 10}, false},
		{"HR over 10 m", func(b *roof.Build) { b.SpanM = num(10.5) },
			mm{openings.LoftEaves: 10, openings.LoftRidge: 5}, false},
		{"HR monopitch", func(b *roof.Build) { b.Shape = "monopitch" }, mm{openings.LoftEaves: 10, openings.LoftRidge: 5},
			false},
		{"HR, pitch unknown", func(b *roof.Build) { b.PitchDeg = nil }, mm{}, true},
		{"HR, span unknown", func(b *roof.Build) { b.SpanM = nil }, mm{openings.LoftEaves: 10}, true},
		{"LR, ordinary ceiling", func(b *roof.Build) { b.Underlay.Class = "LR" }, mm{openings.LoftEaves: 7}, false},
		{"LR, sealed ceiling, air-open", func(b *roof.Build) { b.Underlay.Class, b.Ceiling.Sealed = "LR", roof.Yes },
			mm{openings.LoftEaves: 3}, false},
		{"LR, ceiling unknown", func(b *roof.Build) { b.Underlay.Class, b.Ceiling.Sealed = "LR", roof.Unknown },
			mm{openings.LoftEaves: 7}, true},
		{"LR, close-fitting", func(b *roof.Build) { b.Underlay.Class, b.Covering.Air = "LR", "closed" },
			mm{openings.LoftEaves: 7, openings.VoidEaves: 25, openings.VoidRidge: 5}, false},
		{"LR, close-fitting, air-permeable underlay", func(b *roof.Build) {
			b.Underlay.Class, b.Underlay.AirPermeable, b.Covering.Air = "LR", roof.Yes, "closed"
		},
			mm{openings.VoidEaves: 25, openings.VoidRidge: 5}, false},
		{"LR, air-permeable, air-open", func(b *roof.Build) { b.Underlay.Class, b.Underlay.AirPermeable = "LR", roof.Yes },
			mm{}, false},
		{"underlay unknown", func(b *roof.Build) { b.Underlay.Class = "" }, mm{}, true},
		{"covering unknown over LR", func(b *roof.Build) { b.Underlay.Class, b.Covering.Air = "LR", "" },
			mm{openings.LoftEaves: 7}, true},
		{"rafter insulation", func(b *roof.Build) { b.Insulation = "rafter" },
			mm{openings.LoftEaves: 25, openings.LoftRidge: 5},
			false},
		{"rafter insulation, LR, sealed lining", func(b *roof.Build) {
			b.Insulation, b.Underlay.Class, b.Ceiling.Sealed, b.Ceiling.VapourControlLayer = "rafter", "LR", roof.Yes, roof.Yes
		},
			mm{}, false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r, err := openings.For(base(c.change), openings.UK)
			require.NoError(t, err)
			got := mm{}
			for _, n := range r.Needs {
				got[n.Where] = n.MM
			}
			assert.Equal(t, c.want, got)
			assert.Equal(t, c.asks, len(r.Asks) > 0, "%v", r.Asks)
		})
	}
}

// Sums by hand from the rule sets' own words.
func TestOtherCountriesRules(t *testing.T) {
	b := roof.Build{PitchDeg: num(60), SpanM: num(12), LengthM: num(10), Shape: "duopitch", Insulation: "ceiling",
		Covering: roof.Covering{Air: "closed"},
		Underlay: roof.Underlay{Class: "LR"}, Ceiling: roof.Ceiling{VapourControlLayer: roof.No}}
	t.Run("Germany: a slope of 12 m asks for 2 per mille, not the least", func(t *testing.T) {
		a, err := openings.Advise(b, "", openings.Germany, 0)
		require.NoError(t, err)
		assert.InDelta(t, 24, find(t, a, openings.VoidEaves).NeededMM, 1e-9) // 12 m x 2 per mille = 240 cm2/m
		assert.InDelta(t, 6, find(t, a, openings.VoidRidge).NeededMM, 1e-9)
		assert.False(t, has(a, openings.LoftEaves))
		assert.Equal(t, 60.0, a.Depths[0].MM)
	})
	t.Run("Germany: a short slope asks for the least", func(t *testing.T) {
		s := b
		s.SpanM, s.Underlay.Class = num(6), "HR"
		a, err := openings.Advise(s, "", openings.Germany, 0)
		require.NoError(t, err)
		assert.InDelta(t, 20, find(t, a, openings.LoftEaves).NeededMM, 1e-9)
		assert.InDelta(t, 5, find(t, a, openings.LoftRidge).NeededMM, 1e-9)
	})
	t.Run("United States: a 150th, half low and half high", func(t *testing.T) {
		a, err := openings.Advise(b, "", openings.USA, 0)
		require.NoError(t, err)
		assert.InDelta(t, 800000, *find(t, a, openings.LoftEaves).NeededMM2+*find(t, a, openings.LoftRidge).NeededMM2, 1e-6)
		assert.InDelta(t, 400000, *find(t, a, openings.LoftRidge).NeededMM2, 1e-6)
	})
	t.Run("United States: a 300th with a vapour retarder", func(t *testing.T) {
		s := b
		s.Ceiling.VapourControlLayer = roof.Yes
		a, err := openings.Advise(s, "", openings.USA, 0)
		require.NoError(t, err)
		assert.InDelta(t, 400000, *find(t, a, openings.LoftEaves).NeededMM2+*find(t, a, openings.LoftRidge).NeededMM2, 1e-6)
		assert.InDelta(t, 160000, *find(t, a, openings.LoftRidge).NeededMM2, 1e-6)
	})
	t.Run("Australia, from memory", func(t *testing.T) {
		a, err := openings.Advise(b, "", openings.Australia, 0)
		require.NoError(t, err)
		assert.Equal(t, 7.0, find(t, a, openings.LoftEaves).NeededMM)
		assert.Equal(t, openings.FromMemory, find(t, a, openings.LoftEaves).Rule.Standing)
	})
	t.Run("NHBC adds high level over a permeable underlay", func(t *testing.T) {
		a, err := openings.Advise(b, "", openings.UKNHBC, 0)
		require.NoError(t, err)
		assert.Equal(t, 5.0, find(t, a, openings.LoftRidge).NeededMM)
	})
}

func TestARuleSetThatIsNotKnownNamesThoseThatAre(t *testing.T) {
	_, err := openings.Advise(roof.Build{}, "", "mars", 0)
	require.Error(t, err)
	assert.Contains(t, err.Error(), openings.UK)
	assert.False(t, openings.Known("mars"))
	assert.True(t, openings.Known(""))
	for _, s := range openings.RuleSets() {
		assert.True(t, openings.Known(s.ID))
		_, err := openings.For(roof.Build{}, s.ID)
		assert.NoError(t, err)
	}
	_, err = openings.Advise(roof.Build{}, "", "", math.NaN())
	assert.Error(t, err)
	_, err = openings.Advise(roof.Build{}, "", "", -1)
	assert.Error(t, err)
}

func TestEveryFindingSaysWhatItMeansForOpening(t *testing.T) {
	seen := map[string]bool{}
	for _, f := range []string{"ceiling_leakage", "unvented_batten_void", "night_sky_cooling", "water_ingress",
		"construction_moisture", "blocked_ventilation", "none_found", "undetermined"} {
		a, err := openings.Advise(roof.Build{}, f, "", 0)
		require.NoError(t, err)
		require.NotEmpty(t, a.Advice)
		assert.False(t, seen[a.Advice[0]], f)
		seen[a.Advice[0]] = true
		assert.NotEmpty(t, a.Asks, "an empty survey leaves questions")
	}
}

func TestAnySurveyGivesFiniteFiguresThatAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		maybe := func(name string, lo, hi float64) *float64 {
			if rapid.Bool().Draw(t, name+" known") {
				return num(rapid.Float64Range(lo, hi).Draw(t, name))
			}
			return nil
		}
		pick := func(name string, of ...string) string { return rapid.SampledFrom(of).Draw(t, name) }
		b := roof.Build{PitchDeg: maybe("pitch", 0, 90), SpanM: maybe("span", 0.1, 40), LengthM: maybe("length", 0.1, 60),
			Shape: pick("shape", "", "duopitch", "monopitch"), Insulation: pick("insulation", "", "ceiling", "rafter", "none"),
			Covering: roof.Covering{Air: pick("air", "", "open", "closed")},
			Underlay: roof.Underlay{Class: pick("class", "", "HR", "LR", "none"),
				AirPermeable: roof.Answer(pick("permeable", "", "yes", "no"))},
			Ceiling: roof.Ceiling{Sealed: roof.Answer(pick("sealed", "", "yes", "no")),
				VapourControlLayer: roof.Answer(pick("vcl", "", "yes", "no"))},
			Openings: roof.Openings{LoftEavesMM: maybe("le", 0, 60), LoftRidgeMM: maybe("lr", 0, 60),
				VoidEavesMM: maybe("ve", 0, 60), VoidRidgeMM: maybe("vr", 0, 60)}}
		for _, s := range openings.RuleSets() {
			a, err := openings.Advise(b, "undetermined", s.ID, rapid.Float64Range(0, 20000).Draw(t, "vent"))
			require.NoError(t, err)
			for _, l := range a.Lines {
				require.False(t, math.IsNaN(l.NeededMM) || math.IsInf(l.NeededMM, 0))
				require.GreaterOrEqual(t, l.NeededMM, 0.0)
				require.Contains(t, []int{1, 2}, l.Sides)
				if l.ShortMM != nil {
					require.LessOrEqual(t, *l.ShortMM, l.NeededMM)
					require.NotNil(t, l.HaveMM)
				}
				if l.NeededMM2 != nil && l.ShortMM2 != nil {
					require.LessOrEqual(t, *l.ShortMM2, *l.NeededMM2+1e-9)
				}
			}
		}
	})
}
