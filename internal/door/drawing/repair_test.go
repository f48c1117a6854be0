package drawing

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/repair"
)

func ptr(x float64) *float64 { return &x }

// judged is a repair after which the void stays 2 K warmer above its limit than
// it would have been.
func judged(at time.Time, halfHours int) repair.Result {
	r := repair.Result{At: at, Surface: "slate", Verdict: repair.Worked, ReductionPct: ptr(71), LowPct: ptr(55),
		HighPct: ptr(83)}
	for i := range halfHours {
		p := repair.Point{AtMS: at.UnixMilli() + int64(i)*halfHourMS, WithK: 1, WithoutK: -1, MeasuredK: ptr(1.5)}
		if i%48 >= 24 {
			p.MeasuredK, p.WithoutK = ptr(0.5), -0.9
		}
		r.Course = append(r.Course, p)
	}
	return r
}

func TestWhatARepairDidIsTheChangeBetweenTheModelsRuns(t *testing.T) {
	at := time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC)
	changes := Changes([]assessment.Repair{{Result: judged(at.AddDate(0, 0, -20), 96)}, {Result: judged(at, 96)}})
	require.Len(t, changes, 1, "the last repair of a surface counts")
	e := changes[0]
	assert.Equal(t, "slate", e.Surface)
	assert.InDelta(t, -2, e.ByK[0], 1e-9)
	x, ok := e.Over(at.UnixMilli(), at.Add(time.Hour).UnixMilli())
	require.True(t, ok)
	assert.InDelta(t, -2, x, 1e-9)
	x, ok = e.Over(at.Add(11*time.Hour).UnixMilli(), at.Add(13*time.Hour).UnixMilli())
	require.True(t, ok)
	assert.InDelta(t, -1.95, x, 1e-9, "a step over both takes their mean")
	_, ok = e.Over(at.Add(-2*time.Hour).UnixMilli(), at.UnixMilli())
	assert.False(t, ok, "before the repair there is nothing to compare")
	_, ok = e.Over(at.Add(48*time.Hour).UnixMilli(), at.Add(49*time.Hour).UnixMilli())
	assert.False(t, ok)
	assert.Empty(t, Changes(nil))
}

func TestTheUnrepairedCourseStandsOnWhatWasMeasured(t *testing.T) {
	at := time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC)
	e := Changes([]assessment.Repair{{Result: judged(at, 96)}})[0]
	mean := picture.NewFigures(3)
	mean.Set(0, 3)
	mean.Set(1, 0.7)
	m := picture.MarginChart{From: at.Add(-time.Hour), Until: at.Add(2 * time.Hour), Step: time.Hour, MarginMean: mean,
		Time: []time.Time{at.Add(-time.Hour), at, at.Add(time.Hour)}}
	c := Unrepaired(m, e)
	require.NotNil(t, c)
	_, ok := c.Get(0)
	assert.False(t, ok, "before the repair the roof was as it was")
	x, ok := c.Get(1)
	assert.True(t, ok)
	assert.InDelta(t, -1.3, x, 1e-9)
	_, ok = c.Get(2)
	assert.False(t, ok, "what was not observed stays unknown")
}

func TestNightsAreSetAgainstTheSameNightsUnrepaired(t *testing.T) {
	at := time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC)
	r := judged(at, 96)
	r.Course[50].MeasuredK = nil
	wet, risk := Paired(r, "0", time.UTC)
	require.Len(t, wet.Nights, 2)
	assert.InDelta(t, 0, *wet.Nights[0].Measured, 1e-9)
	assert.InDelta(t, 24, *wet.Nights[0].Without, 1e-9, "1.5 K less 2, and 0.5 less 1.9: wet all night")
	assert.InDelta(t, 12, *risk.Nights[0].Measured, 1e-9)
	for i := 48; i < 60; i++ {
		r.Course[i].MeasuredK = nil
	}
	wet, _ = Paired(r, "0", time.UTC)
	assert.Nil(t, wet.Nights[1].Measured, "a night observed for less than 80 % does not count")
}
