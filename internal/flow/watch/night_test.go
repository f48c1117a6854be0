package watch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/record"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/risk"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// What a bar of the household's page is: an hour in all makes a wet night, ten
// minutes a briefly wet one, and of a night that was seen too little only water
// is known.
func TestHowMuchWaterMakesABarOfTheHouseholdsPage(t *testing.T) {
	noon := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	for _, x := range []struct {
		observedH, wetH, frostH float64
		want                    words.NightState
		frost                   bool
	}{
		{24, 0, 0, words.DryNight, false},
		{24, 0.16, 0, words.DryNight, false},
		{24, 0.17, 0, words.BrieflyWet, false},
		{24, 0.99, 0.4, words.BrieflyWet, false},
		{24, 0.99, 0.6, words.BrieflyWet, true},
		{24, 1, 0.5, words.WetNight, false},
		{24, 14, 8, words.WetNight, true},
		{19.1, 0, 0, words.NotSeen, false},
		{19.1, 0.9, 0, words.NotSeen, false},
		{19.2, 0, 0, words.DryNight, false},
		{3, 1, 0, words.WetNight, false},
	} {
		n := watch.Night{From: noon, Observed: x.observedH, Wet: x.wetH, Frost: x.frostH}.Said()
		assert.Equal(t, x.want, n.State, "%+v", x)
		if x.wetH > 0 {
			assert.Equal(t, x.frost, n.Frost, "%+v", x)
		}
	}
}

// The running night is no night that was not seen: until it is wet it gives its
// place to an earlier one, on the household's page as in the count of wet nights.
func TestTheRunningNightCountsOnceItIsWet(t *testing.T) {
	over := func(n int) (out []watch.Night) {
		for i := range n {
			out = append(out, watch.Night{From: time.Date(2026, 12, 1+i, 12, 0, 0, 0, time.UTC), Observed: 24})
		}
		return out
	}
	for name, x := range map[string]struct {
		over        int
		running     watch.Night
		first, last int // days of December
	}{
		"dry so far":         {20, watch.Night{Observed: 17}, 7, 20},
		"briefly wet so far": {20, watch.Night{Observed: 17, Wet: 0.8}, 7, 20},
		"wet for an hour":    {20, watch.Night{Observed: 17, Wet: 1}, 8, 21},
		"a record too short": {3, watch.Night{Observed: 17}, 1, 4},
	} {
		all := over(x.over)
		x.running.From = time.Date(2026, 12, 1+x.over, 12, 0, 0, 0, time.UTC)
		got := watch.Last(append(all, x.running), 14)
		assert.Equal(t, x.first, got[0].From.Day(), name)
		assert.Equal(t, x.last, got[len(got)-1].From.Day(), name)
		assert.LessOrEqual(t, len(got), 14, name)
	}
}

// On Lord Howe Island the clocks change by half an hour, so that for one half of
// the year the rows' hours begin at half past.
func TestAnHourThatANoonDividesCountsForBothNights(t *testing.T) {
	zone, err := time.LoadLocation("Australia/Lord_Howe")
	require.NoError(t, err)
	c := &roof.Case{Property: roof.Property{Zone: zone}, Positions: []roof.Position{
		{ID: "slate", Place: roof.CoveringUnderside}}}
	for name, month := range map[string]time.Month{"standard time": time.July, "summer time": time.January} {
		noon := time.Date(2027, month, 10, 12, 0, 0, 0, zone)
		from := record.HourAt(c, noon.UnixMilli())
		// Two days of hours, wet throughout.
		rows := make([]timeline.Row, 48)
		for i := range rows {
			rows[i] = timeline.Row{Positions: make([]timeline.PositionRow, 1), Surfaces: []risk.Spell{
				{ObservedMS: 3.6e6, CondensingMS: 3.6e6}}}
		}
		nights := watch.Nights(watch.Input{Case: c, Rows: rows, FromMS: from, Now: noon.Add(48 * time.Hour)}, "slate")
		early := noon.Sub(time.UnixMilli(from)).Hours()
		var wet []float64
		for _, n := range nights {
			wet = append(wet, n.Wet)
			assert.Equal(t, 12, n.From.Hour(), name)
		}
		want := []float64{24, 24}
		if early > 0 {
			want = []float64{early, 24, 24 - early}
		}
		assert.Equal(t, want, wet, name)
	}
}
