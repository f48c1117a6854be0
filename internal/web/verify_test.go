package web

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/cause"
	"dewcase/internal/repair"
)

func ptr(x float64) *float64 { return &x }

// worked is a repair that worked.
func worked(at time.Time) repair.Result {
	return repair.Result{At: at, Surface: "slate", Verdict: repair.Worked, ReductionPct: ptr(71), LowPct: ptr(55), HighPct: ptr(83)}
}

func TestAVerdictIsSaidWithItsFigure(t *testing.T) {
	h := &head{Zone: time.UTC}
	at := time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		r    repair.Result
		want string
	}{
		{worked(at), "The repair of 20 December 2026 worked: wet hours under the covering fell by 71 %, weather being equal (95 %: 55 to 83)."},
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
