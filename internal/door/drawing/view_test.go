package drawing

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
)

// hours are hourly means, nil where nothing was observed.
func hours(c ...any) []float64 {
	out := make([]float64, len(c))
	for i, x := range c {
		out[i] = math.NaN()
		if x, ok := x.(float64); ok {
			out[i] = x
		}
	}
	return out
}

func TestUndercoolingIsWhatHeldForThreeHoursOfAWellObservedNight(t *testing.T) {
	none := -1.0
	for name, c := range map[string]struct {
		covering []float64
		until    int
		want     float64
	}{
		"the third largest":              {hours(4.0, 9.0, 7.0, 8.0, 5.0), 5, 3},
		"two hours do not make three":    {hours(4.0, 9.0, nil), 3, none},
		"three hours do":                 {hours(4.0, 9.0, 6.0), 3, 1},
		"half a night seen is enough":    {hours(4.0, 5.0, 6.0, nil, nil, nil), 6, 4},
		"less than half is no night":     {hours(4.0, 5.0, 6.0, nil, nil, nil, nil), 7, none},
		"a covering that is never below": {hours(11.0, 12.0, 13.0), 3, -3},
	} {
		t.Run(name, func(t *testing.T) {
			outdoor := hours(10.0, 10.0, 10.0, 10.0, 10.0, 10.0, 10.0)
			got := undercooling(outdoor[:c.until], c.covering[:c.until], 3)
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

// The clocks of Lord Howe Island go back by half an hour in the morning of
// 4 April 2027: that night is 24.5 h long and can be wet for no longer.
func TestANightOfHalfAnHourMoreIsWetForAsLongAsItLasts(t *testing.T) {
	zone, err := time.LoadLocation("Australia/Lord_Howe")
	require.NoError(t, err)
	from := time.Date(2027, 4, 2, 12, 0, 0, 0, zone)
	until := evidence.NoonAfter(from, 3, zone)
	step := evidence.SheetStep(zone, from, until)
	c := &roof.Case{Property: roof.Property{Zone: zone}, Positions: []roof.Position{
		{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}, {ID: "void", Place: roof.BattenVoidAir}}}
	seconds := int64(step.Seconds())
	n := int(until.Sub(from) / step)
	v := timeline.View{StepS: &seconds, Surfaces: []timeline.Surface{{Surface: "slate", Coverage: timeline.NewColumn(n),
		CondensingMin: timeline.NewColumn(n), AtRiskMin: timeline.NewColumn(n), FrostMin: timeline.NewColumn(n)}}}
	for i := range n {
		v.Time = append(v.Time, from.Add(time.Duration(i)*step))
		v.Surfaces[0].Coverage.Set(i, 1)
		v.Surfaces[0].CondensingMin.Set(i, step.Minutes())
	}
	var wet []float64
	for _, night := range Sheet(c, v, c.Positions[0], from, until, zone).Nights {
		wet = append(wet, night.Sum().CondensingMin/60)
		assert.InDelta(t, 1, night.Coverage(), 1e-9)
	}
	assert.InDeltaSlice(t, []float64{24, 24.5, 24}, wet, 1e-9)
	assert.Equal(t, time.Hour, evidence.SheetStep(zone, from.AddDate(0, 1, 0), until.AddDate(0, 1, 0)))
}
