package evidence_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats"
	"pgregory.net/rapid"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

func zoneOf(t require.TestingT, name string) *time.Location {
	zone, err := time.LoadLocation(name)
	require.NoError(t, err)
	return zone
}

var zones = []string{"UTC", "Europe/London", "Australia/Lord_Howe", "Asia/Kolkata", "America/St_Johns", "Pacific/Apia"}

func TestNightsFollowOneAnotherAndAreNamedByTheDayTheyBeginOn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone := zoneOf(t, rapid.SampledFrom(zones).Draw(t, "zone"))
		from := rapid.Int64Range(0, 2_000_000_000_000).Draw(t, "from")
		until := from + rapid.Int64Range(1, 40*24*evidence.HourMS).Draw(t, "span")
		nights := evidence.Nights(zone, from, until)
		require.NotEmpty(t, nights)
		sum := 0.0
		for i, n := range nights {
			begin := time.UnixMilli(n.FromMS).In(zone)
			require.Equal(t, 12, begin.Hour())
			require.Equal(t, 12, time.UnixMilli(n.UntilMS).In(zone).Hour())
			require.Equal(t, begin.Format(time.DateOnly), n.Date)
			require.Equal(t, n, evidence.NightOf(time.UnixMilli(rapid.Int64Range(n.FromMS, n.UntilMS-1).Draw(t, "at")), zone))
			if i > 0 {
				require.Equal(t, nights[i-1].UntilMS, n.FromMS)
			}
			sum += n.Hours()
		}
		last := nights[len(nights)-1]
		require.LessOrEqual(t, nights[0].FromMS, from)
		require.Less(t, from, nights[0].UntilMS)
		require.Less(t, last.FromMS, until)
		require.GreaterOrEqual(t, last.UntilMS, until)
		require.InDelta(t, float64(last.UntilMS-nights[0].FromMS)/3.6e6, sum, 1e-9)
	})
	assert.Empty(t, evidence.Nights(time.UTC, 5, 5))
}

// The dates are those of the zones' rules for 2026 and 2027.
func TestANightHasItsTrueLength(t *testing.T) {
	for _, tc := range []struct {
		zone, date string
		hours      float64
	}{
		{"Europe/London", "2026-10-24", 25}, {"Europe/London", "2026-10-25", 24}, {"Europe/London", "2027-03-27", 23},
		{"Australia/Lord_Howe", "2027-04-03", 24.5}, {"Australia/Lord_Howe", "2026-10-03", 23.5},
		{"America/New_York", "2026-10-31", 25},
	} {
		zone := zoneOf(t, tc.zone)
		evening, err := time.ParseInLocation("2006-01-02 15", tc.date+" 20", zone)
		require.NoError(t, err)
		n := evidence.NightOf(evening, zone)
		assert.Equal(t, tc.date, n.Date)
		assert.InDelta(t, tc.hours, n.Hours(), 1e-12, tc)
		assert.Equal(t, n.UntilMS, evidence.NoonAfter(evidence.Noon(evening, zone), 1, zone).UnixMilli())
	}
}

// Loggers of one place differ by a constant; whichever of them falls silent, the
// joined course runs on as if it had not.
func TestAJoinedCourseHasNoStepWhenALoggerFallsSilent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(60, 200).Draw(t, "hours")
		rng := rand.New(rand.NewPCG(uint64(n), 5))
		whole := make([][]float64, rapid.IntRange(2, 4).Draw(t, "loggers"))
		for i := range whole {
			whole[i] = make([]float64, n)
		}
		truth := make([]float64, n)
		for k := range truth {
			truth[k] = 5*math.Sin(float64(k)/4) + rng.NormFloat64()
		}
		for i := range whole {
			off := rapid.Float64Range(-200, 200).Draw(t, "offset")
			for k := range truth {
				whole[i][k] = truth[k] + off
			}
		}
		gappy := make([][]float64, len(whole))
		for i := range whole {
			gappy[i] = append([]float64(nil), whole[i]...)
			if i == 0 {
				continue // one runs on throughout
			}
			silent := rapid.IntRange(24, n).Draw(t, "silent")
			for k := silent; k < n; k++ {
				gappy[i][k] = math.NaN()
			}
		}
		want, got := evidence.Join(whole, 1), evidence.Join(gappy, 1)
		for k := range want {
			require.InDelta(t, want[k], got[k], 1e-6, k)
			mean := 0.0
			for i := range whole {
				mean += whole[i][k] / float64(len(whole))
			}
			require.InDelta(t, mean, want[k], 1e-6, "with all of them it is their mean")
		}
	})
}

func TestALoggerNeverSeenWithTheOthersIsLeftOut(t *testing.T) {
	nan := math.NaN()
	early, late := make([]float64, 100), make([]float64, 100)
	for k := range early {
		early[k], late[k] = 10, nan
		if k >= 70 {
			early[k], late[k] = nan, 30
		}
	}
	assert.True(t, floats.Same(early, evidence.Join([][]float64{late, early}, 1)))
	bridge := make([]float64, 100)
	for k := range bridge {
		bridge[k] = 40
		if k < 40 || k > 95 {
			bridge[k] = nan
		}
	}
	joined := evidence.Join([][]float64{late, early, bridge}, 1)
	for k, x := range joined {
		assert.InDelta(t, (10.0+30+40)/3, x, 1e-9, "hour %d: one after another they are levelled", k)
	}
	assert.Nil(t, evidence.Join(nil, 1))
}

// GUM: a rectangular distribution's standard deviation is its half-width over
// the root of three; a check replaces what the maker says.
func TestACheckReplacesTheMakersAccuracy(t *testing.T) {
	p := func(x float64) *float64 { return &x }
	for name, tc := range map[string]struct {
		stint          series.Stint
		temp, rh, half float64 // standard; half-width of humidity
	}{
		"limits":     {series.Stint{Accuracy: roof.Accuracy{TempC: p(0.3), RHPct: p(3)}}, 0.1732051, 1.7320508, 3},
		"two sigmas": {series.Stint{Accuracy: roof.Accuracy{TempC: p(0.3), RHPct: p(3), K: 2}}, 0.15, 1.5, 2.5980762},
		"checked": {series.Stint{Accuracy: roof.Accuracy{TempC: p(0.3), RHPct: p(3)},
			Offset: roof.Offset{TempUncC: p(0.1), RHUncPct: p(1)}}, 0.0577350, 0.5773503, 1},
		"checked, maker unknown": {series.Stint{Offset: roof.Offset{TempUncC: p(0.1), RHUncPct: p(1)}}, 0.0577350, 0.5773503,
			1},
	} {
		t.Run(name, func(t *testing.T) {
			temp, ok := evidence.Standard([]series.Stint{tc.stint}, roof.TempC)
			require.True(t, ok)
			assert.InDelta(t, tc.temp, temp, 1e-6)
			rh, ok := evidence.ErrorOf(tc.stint, roof.RHPct)
			require.True(t, ok)
			assert.InDelta(t, tc.rh, rh.Standard(), 1e-6)
			assert.InDelta(t, tc.half, rh.HalfWidth(), 1e-6)
			known, ok := evidence.Standard([]series.Stint{tc.stint, {}}, roof.RHPct)
			assert.False(t, ok, "one that says nothing: %v", known)
		})
	}
	_, ok := evidence.CheckError(series.Stint{Accuracy: roof.Accuracy{RHPct: p(3)}}, roof.RHPct)
	assert.False(t, ok)
}

// Against drawing both errors and working the pressure out anew.
func TestTheUncertaintyOfAVapourPressureIsThatOfItsDraws(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	pa, err := psychro.VapourPressurePa(5, 80)
	require.NoError(t, err)
	sum := 0.0
	const n = 20000
	for range n {
		x, err := psychro.VapourPressurePa(5+0.2*rng.NormFloat64(), 80+1.5*rng.NormFloat64())
		require.NoError(t, err)
		sum += (x - pa) * (x - pa)
	}
	assert.InEpsilon(t, math.Sqrt(sum/n), evidence.VapourUncPa(pa, 5, 0.2, 1.5), 0.02)
}

func TestAQuantileLiesBetweenTheMembersOfItsSample(t *testing.T) {
	assert.InDelta(t, 2.5, evidence.Median([]float64{4, 1, 3, 2}), 0)
	assert.InDelta(t, 3, evidence.Median([]float64{5, 1, 3}), 0)
	assert.InDelta(t, 1.3, evidence.Quantile([]float64{1, 2, 3, 4}, 0.1), 1e-12)
	assert.Zero(t, evidence.Quantile(nil, 0.5))
	assert.InDelta(t, 7, evidence.Quantile([]float64{7}, 0.9), 0)
}

// Nights run noon to noon local time, and are 25 or 23 h where the clocks
// change (Europe/London: 25 October 2026 and 28 March 2027).
func TestNightsFollowTheClockOfTheHouse(t *testing.T) {
	london := zoneOf(t, "Europe/London")
	at := func(y int, m time.Month, d, h int) int64 { return time.Date(y, m, d, h, 0, 0, 0, london).UnixMilli() }
	nights := evidence.Nights(london, at(2026, 10, 24, 13), at(2026, 10, 26, 11))
	require.Len(t, nights, 2)
	assert.Equal(t, "2026-10-24", nights[0].Date)
	assert.EqualValues(t, 25*3600_000, nights[0].UntilMS-nights[0].FromMS)
	assert.EqualValues(t, 24*3600_000, nights[1].UntilMS-nights[1].FromMS)
	nights = evidence.Nights(london, at(2027, 3, 28, 3), at(2027, 3, 28, 4))
	require.Len(t, nights, 1)
	assert.Equal(t, "2027-03-27", nights[0].Date)
	assert.EqualValues(t, 23*3600_000, nights[0].UntilMS-nights[0].FromMS)
	assert.Empty(t, evidence.Nights(london, 5, 5))
}

func TestANightIsWhatItsHoursMakeIt(t *testing.T) {
	for _, c := range []struct {
		wet, observed, length float64
		want                  roof.NightState
	}{
		{0.8, 24, 24, roof.BrieflyWet}, {1, 24, 24, roof.WetNight}, {1, 3, 24, roof.WetNight},
		{0.1, 24, 24, roof.DryNight}, {0.8, 12, 24, roof.NotSeen}, {0, 19.2, 24, roof.DryNight},
		{0, 19.1, 24, roof.NotSeen}, {0, 19.2, 24.5, roof.NotSeen},
	} {
		assert.Equal(t, c.want, evidence.State(c.wet, c.observed, c.length), "%+v", c)
	}
}

func TestAStepIsSampledWhereEnoughOfItWasObserved(t *testing.T) {
	const minute = int64(60_000)
	track := series.Track{AtMS: []int64{0, 40 * minute, 60 * minute, 120 * minute, 180 * minute},
		Value: []float64{0, 4, 9, 3, 3}, Joined: []bool{true, false, true, true, false}}
	for share, want := range map[float64][]float64{0.5: {2, 6, 3}, 2.0 / 3: {2, 6, 3}, 0.7: {math.NaN(), 6, 3}} {
		got := evidence.Sampled(track, 0, 60*minute, 4, share)
		require.Len(t, got, 4)
		for k, x := range append(want, math.NaN()) {
			assert.True(t,
				got[k] == x || math.IsNaN(x) && math.IsNaN(got[k]), "share %g, step %d: %g, want %g", share, k, got[k], x)
		}
	}
}

// In saturated air the limit is the air's own temperature, above 0 C: an error of
// the air's temperature moves it as far. At 10 C a per cent of humidity is 0.15 K
// (Magnus: d ln p / dT = 0.067 per K).
func TestTheLimitMovesWithTheErrorsOfAir(t *testing.T) {
	perK, perPct := evidence.LimitSlopes(10, psychro.SatWaterPa(10), 100)
	assert.InDelta(t, 1, perK, 1e-3)
	assert.InDelta(t, 0.149, perPct, 1e-3)
	dryK, dryPct := evidence.LimitSlopes(10, psychro.SatWaterPa(10)/2, 50)
	assert.Less(t, dryK, perK)
	assert.Greater(t, dryPct, perPct)
}
