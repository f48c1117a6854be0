package web

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/assessment"
	"dewcase/internal/cause"
	"dewcase/internal/picture"
	"dewcase/internal/repair"
)

func ptr(x float64) *float64 { return &x }

// judged is a repair after which the void stays 2 K warmer above its limit than
// it would have been.
func judged(at time.Time, halfHours int) repair.Result {
	r := repair.Result{At: at, Surface: "slate", Verdict: repair.Worked, ReductionPct: ptr(71), LowPct: ptr(55), HighPct: ptr(83)}
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
	e, ok := effectOf(assessment.Answer{Results: []repair.Result{judged(at, 96)}}, "slate")
	require.True(t, ok)
	assert.InDelta(t, -2, *e.ChangeK[0], 1e-9)
	x, ok := e.over(at.UnixMilli(), at.Add(time.Hour).UnixMilli())
	require.True(t, ok)
	assert.InDelta(t, -2, x, 1e-9)
	x, ok = e.over(at.Add(11*time.Hour).UnixMilli(), at.Add(13*time.Hour).UnixMilli())
	require.True(t, ok)
	assert.InDelta(t, -1.95, x, 1e-9, "a step over both takes their mean")
	_, ok = e.over(at.Add(-2*time.Hour).UnixMilli(), at.UnixMilli())
	assert.False(t, ok, "before the repair there is nothing to compare")
	_, ok = e.over(at.Add(48*time.Hour).UnixMilli(), at.Add(49*time.Hour).UnixMilli())
	assert.False(t, ok)
	_, ok = effectOf(assessment.Answer{}, "slate")
	assert.False(t, ok)
}

func TestTheUnrepairedCourseStandsOnWhatWasMeasured(t *testing.T) {
	at := time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC)
	e, _ := effectOf(assessment.Answer{Results: []repair.Result{judged(at, 96)}}, "slate")
	mean := picture.NewFigures(3)
	mean.Set(0, 3)
	mean.Set(1, 0.7)
	m := picture.MarginChart{From: at.Add(-time.Hour), Until: at.Add(2 * time.Hour), Step: time.Hour, MarginMean: mean,
		Time: []time.Time{at.Add(-time.Hour), at, at.Add(time.Hour)}}
	c := unrepairedColumn(m, e)
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
	h := &head{Zone: time.UTC}
	r := judged(at, 96)
	r.Course[50].MeasuredK = nil
	wet, risk := paired(h, r, 0)
	require.Len(t, wet.Nights, 2)
	assert.InDelta(t, 0, *wet.Nights[0].Measured, 1e-9)
	assert.InDelta(t, 24, *wet.Nights[0].Without, 1e-9, "1.5 K less 2, and 0.5 less 1.9: wet all night")
	assert.InDelta(t, 12, *risk.Nights[0].Measured, 1e-9)
	for i := 48; i < 60; i++ {
		r.Course[i].MeasuredK = nil
	}
	wet, _ = paired(h, r, 0)
	assert.Nil(t, wet.Nights[1].Measured, "a night observed for less than 80 % does not count")
}

func TestAVerdictIsSaidWithItsFigure(t *testing.T) {
	h := &head{Zone: time.UTC}
	at := time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		r    repair.Result
		want string
	}{
		{judged(at, 0), "The repair of 20 December 2026 worked: wet hours under the covering fell by 71 %, weather being equal (95 %: 55 to 83)."},
		{repair.Result{At: at, Verdict: repair.TooEarly}, "It is too early to say whether the repair of 20 December 2026 worked under the covering."},
		{repair.Result{At: at, Verdict: repair.NoChangeShown}, "The repair of 20 December 2026 has shown no change under the covering so far."},
		{repair.Result{At: at, Verdict: repair.NoChangeShown, ReductionPct: ptr(8), LowPct: ptr(-20), HighPct: ptr(31)},
			"The repair of 20 December 2026 has shown no change under the covering so far; wet hours under the covering fell by 8 %, weather being equal (95 %: -20 to 31)."},
		{repair.Result{At: at, Verdict: repair.GotWorse, ReductionPct: ptr(-40), LowPct: ptr(-70), HighPct: ptr(-12)},
			"The repair of 20 December 2026 made it worse: wet hours under the covering rose by 40 %, weather being equal (95 %: 12 to 70)."},
	} {
		assert.Equal(t, c.want, verdictSentence(h, "under the covering", c.r))
	}
}

func TestLinesOfTheAnalysisBecomeSentences(t *testing.T) {
	assert.Equal(t, "The loft holds −109 Pa (±42) more; this fits “"+cause.NoneFound.Words()+"” best.", prose("the loft holds -109 Pa (+-42) more; this fits none_found best"))
	assert.Equal(t, "temp_c is text.", prose("temp_c is text"))
	assert.Equal(t, "", prose(" "))
	assert.Equal(t, "Is light visible?", prose("Is light visible?"))
}

func TestFiguresAreWrittenAsThePagesPromise(t *testing.T) {
	assert.Equal(t, "9.9", hours(9.94))
	assert.Equal(t, "100", hours(99.96))
	assert.Equal(t, "0", percent(0))
	assert.Equal(t, "0.4", percent(0.004))
	assert.Equal(t, "97", percent(0.97))
	assert.Equal(t, "over 99", percent(0.999))
	assert.Equal(t, "100", percent(1))
	now := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	for d, want := range map[time.Duration]string{0: "0 s ago", 80 * time.Second: "80 s ago", 10 * time.Minute: "10 min ago", 5 * time.Hour: "5 h ago", 72 * time.Hour: "3 days ago", -time.Hour: "ahead of the clock"} {
		assert.Equal(t, want, age(now, now.Add(-d)))
	}
	assert.Equal(t, "never", age(now, time.Time{}))
}

func TestLongRecordsAreShownWinterByWinter(t *testing.T) {
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	h := &head{Zone: zone, From: time.Date(2025, 10, 3, 15, 0, 0, 0, zone), Until: time.Date(2027, 2, 1, 8, 0, 0, 0, zone)}
	w, years := winterOf(h, 0)
	assert.Equal(t, []int{2025, 2026}, years)
	assert.Equal(t, time.Date(2026, 7, 1, 12, 0, 0, 0, zone), w.From)
	assert.Equal(t, time.Date(2027, 2, 1, 12, 0, 0, 0, zone), w.Until)
	w, _ = winterOf(h, 2025)
	assert.Equal(t, time.Date(2025, 10, 3, 12, 0, 0, 0, zone), w.From)
	assert.Equal(t, time.Date(2026, 7, 1, 12, 0, 0, 0, zone), w.Until)
	h.From = time.Date(2026, 10, 3, 9, 0, 0, 0, zone)
	w, years = winterOf(h, 1999)
	assert.Empty(t, years)
	assert.Equal(t, time.Date(2026, 10, 2, 12, 0, 0, 0, zone), w.From, "a morning belongs to the night before")
}
