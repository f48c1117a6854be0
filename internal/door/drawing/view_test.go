package drawing

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
)

func band(c ...any) *timeline.Band {
	out := timeline.NewColumn(len(c))
	for i, x := range c {
		if x, ok := x.(float64); ok {
			out.Set(i, x)
		}
	}
	return &timeline.Band{Mean: out}
}

func TestUndercoolingIsWhatHeldForThreeHoursOfAWellObservedNight(t *testing.T) {
	none := -1.0
	for name, c := range map[string]struct {
		covering *timeline.Band
		until    int
		want     float64
	}{
		"the third largest":              {band(4.0, 9.0, 7.0, 8.0, 5.0), 5, 3},
		"two hours do not make three":    {band(4.0, 9.0, nil), 3, none},
		"three hours do":                 {band(4.0, 9.0, 6.0), 3, 1},
		"half a night seen is enough":    {band(4.0, 5.0, 6.0, nil, nil, nil), 6, 4},
		"less than half is no night":     {band(4.0, 5.0, 6.0, nil, nil, nil, nil), 7, none},
		"a covering that is never below": {band(11.0, 12.0, 13.0), 3, -3},
	} {
		t.Run(name, func(t *testing.T) {
			outdoor := band(10.0, 10.0, 10.0, 10.0, 10.0, 10.0, 10.0)
			got := undercooling(outdoor, c.covering, 0, c.until)
			if c.want == none {
				assert.Nil(t, got)
			} else if assert.NotNil(t, got) {
				assert.InDelta(t, c.want, *got, 1e-9)
			}
		})
	}
}

// From the rooms outwards, as heat and vapour go (the roof from inside out).
func TestPlacesStandInTheOrderFromIndoorsToOutdoors(t *testing.T) {
	want := []roof.Place{roof.IndoorAir, roof.LoftAir, roof.Timber, roof.UnderlayUnderside, roof.BattenVoidAir,
		roof.CoveringUnderside, roof.OutdoorAir, roof.Other}
	got := slices.Clone(want)
	slices.Reverse(got)
	slices.SortStableFunc(got, func(a, b roof.Place) int { return Rank(a) - Rank(b) })
	assert.Equal(t, want, got)
}
