package drawing

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/curves"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
)

// hourly is a column of one value an hour, told by the hour since the first noon;
// nothing was observed where it says so.
func hourly(from time.Time, nights int, q curves.Quantity, value func(hour int) (float32, bool)) curves.View {
	v := curves.View{FromMS: from.UnixMilli(), UntilMS: from.Add(time.Duration(nights) * 24 * time.Hour).UnixMilli(),
		StepMS: evidence.HourMS, Columns: []curves.Column{{Key: curves.Key{Position: "slate", Quantity: q}}}}
	for i := range nights * 24 {
		b := curves.Bin{}
		if x, ok := value(i); ok {
			b = curves.Bin{Mean: x, Min: x - 1, Max: x + 1, Seen: 1}
		}
		v.Columns[0].Bins = append(v.Columns[0].Bins, b)
	}
	return v
}

func TestNightsAreDrawnAsOneFigureEach(t *testing.T) {
	c := &roof.Case{ID: "larch-1", Property: roof.Property{Zone: time.UTC}, Positions: []roof.Position{
		{ID: "slate", Place: roof.CoveringUnderside}}}
	noon := time.Date(2026, 11, 1, 12, 0, 0, 0, time.UTC)
	until := noon.AddDate(0, 0, 5)
	// The third night lacks seven hours.
	value := func(hour int) (float32, bool) { return float32(hour % 24), hour < 48 || hour >= 55 }
	lowest := Nightly(c, hourly(noon, 5, curves.MarginK, value), noon, until)
	assert.Equal(t, "K, lowest of each night", lowest.Panels[0].Unit)
	runs := lowest.Panels[0].Curves[0].Runs
	require.Len(t, runs, 2, "a night of which too little was observed parts them")
	assert.Len(t, runs[0], 2)
	assert.Len(t, runs[1], 2)
	assert.Equal(t, picture.Sample{At: noon.Add(12 * time.Hour), Mean: -1, Min: -1, Max: -1}, runs[0][0])
	means := Nightly(c, hourly(noon, 5, curves.VapourPa, value), noon, until)
	assert.InDelta(t, 11.5, means.Panels[0].Curves[0].Runs[0][1].Mean, 1e-9)

	both := TwoWinters(c, hourly(noon, 5, curves.MarginK, value), hourly(noon.AddDate(-1, 0, 0), 5, curves.MarginK, value),
		noon, until)
	require.Len(t, both.Panels[0].Curves, 2)
	assert.Equal(t, both.Panels[0].Curves[0].Runs, both.Panels[0].Curves[1].Runs,
		"a winter like the one before lies upon it")
	for _, k := range both.Panels[0].Curves {
		for _, run := range k.Runs {
			assert.False(t, run[0].At.Before(both.From) || run[len(run)-1].At.After(both.Until))
		}
	}
}
