package qc

import (
	"errors"
	"iter"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dewcase/internal/roof"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var start = time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)

// course makes a logger's readings every five minutes from a function of the
// minutes since the start.
func course(minutes int, at func(m float64) (t, rh float64)) []roof.Reading {
	var out []roof.Reading
	for m := 0; m < minutes; m += 5 {
		r := roof.Reading{At: start.Add(time.Duration(m) * time.Minute)}
		r.Arrived = r.At.Add(time.Second)
		t, rh := at(float64(m))
		if !math.IsNaN(t) {
			r.Values.Set(roof.TempC, t)
		}
		if !math.IsNaN(rh) {
			r.Values.Set(roof.RHPct, rh)
		}
		out = append(out, r)
	}
	return out
}

// daily is the course of a day, 8 K and 30 %RH wide.
func daily(m float64) (t, rh float64) {
	s := math.Sin(2 * math.Pi * m / 1440)
	return math.Round(100*(5+4*s)) / 100, math.Round(10*(80-15*s)) / 10
}

func seq(all []roof.Reading) iter.Seq2[roof.Reading, error] {
	return func(yield func(roof.Reading, error) bool) {
		for _, r := range all {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// flagged runs the history over a case's loggers and returns those of a.
func flagged(t testing.TB, fitted []roof.Fitting, of map[string][]roof.Reading) []roof.Reading {
	c := &roof.Case{Loggers: []roof.Logger{{ID: "a", Fitted: fitted}}}
	for id := range of {
		if id != "a" {
			c.Loggers = append(c.Loggers, roof.Logger{ID: id})
		}
	}
	readings, err := Flag(c, func(logger string) iter.Seq2[roof.Reading, error] { return seq(of[logger]) })
	require.NoError(t, err)
	var out []roof.Reading
	for r, err := range readings("a") {
		require.NoError(t, err)
		out = append(out, r)
	}
	require.Len(t, out, len(of["a"]), "nothing is left out")
	return out
}

func count(all []roof.Reading, f roof.Flags) (n int) {
	for _, r := range all {
		if r.Flags&f != 0 {
			n++
		}
	}
	return n
}

// stuck is the daily course that is stuck between two minutes.
func stuck(from, to, rh float64) func(m float64) (float64, float64) {
	return func(m float64) (float64, float64) {
		if m >= from && m <= to {
			return 4, rh
		}
		return daily(m)
	}
}

func TestAFlatLineWhileNeighboursMoveIsAStuckProbe(t *testing.T) {
	for name, tc := range map[string]struct {
		a, b func(m float64) (float64, float64)
		want int
	}{
		"eight hours and more": {stuck(600, 1500, 70), daily, 181},
		"exactly eight hours":  {stuck(600, 1080, 70), daily, 97},
		"short of eight hours": {stuck(600, 1075, 70), daily, 0},
		"near saturation":      {stuck(600, 1500, 98.5), daily, 0},
		"just below it":        {stuck(600, 1500, 98.4), daily, 181},
		"neighbours stand still too": {stuck(600, 1500, 70),
			func(m float64) (float64, float64) { return 4 + m/1440*0.5, 70 }, 0},
		"temperature only": {stuck(600, 1500, math.NaN()), daily, 181},
		"humidity alive":   {func(m float64) (float64, float64) { return 4, 70 + 0.1*math.Mod(m/5, 2) }, daily, 0},
		"temperature alive": {func(m float64) (float64, float64) {
			temp, rh := daily(m)
			if m >= 600 && m < 1320 {
				rh = 80.0
			}
			return temp, rh
		}, daily, 144},
		"its last digit alone moves": {func(m float64) (float64, float64) {
			temp, rh := stuck(600, 1500, 80)(m)
			if m >= 600 && m <= 1500 {
				rh += 0.001 * math.Mod(m/5, 2)
			}
			return temp, rh
		}, daily, 181},
		"whole percents in steady air": {wholePercents(600, 1500), daily, 0},
		"whole percents for a day":     {wholePercents(600, 2100), daily, 301},
		"whole percents that never moved": {func(m float64) (float64, float64) { return 4 + m/1e4, 80 }, daily,
			576},
	} {
		t.Run(name, func(t *testing.T) {
			got := flagged(t, nil, map[string][]roof.Reading{"a": course(2880, tc.a), "b": course(2880, tc.b)})
			assert.Equal(t, tc.want, count(got, roof.FlagFlatLine))
		})
	}
	alone := flagged(t, nil, map[string][]roof.Reading{"a": course(2880, stuck(600, 1500, 70))})
	assert.Zero(t, count(alone, roof.FlagFlatLine), "without a neighbour nothing is known")
}

// wholePercents is a logger that rounds to whole percents, in air that stands
// nearly still between two minutes.
func wholePercents(from, to float64) func(m float64) (float64, float64) {
	return func(m float64) (float64, float64) {
		temp, rh := daily(m)
		if m >= from && m <= to {
			rh = 80 + 0.3*math.Sin(m)
		}
		return temp, math.Round(rh)
	}
}

func TestOfAStuckHumidityTheTemperatureStillCounts(t *testing.T) {
	alive := func(m float64) (float64, float64) {
		temp, _ := daily(m)
		return temp, 80
	}
	for name, tc := range map[string]struct {
		a    func(m float64) (float64, float64)
		want roof.Flags
	}{
		"temperature alive": {alive, roof.FlagFlatLine | roof.FlagTempAlive},
		"both stuck":        {stuck(0, 2880, 70.3), roof.FlagFlatLine},
	} {
		t.Run(name, func(t *testing.T) {
			for _, r := range flagged(t, nil, map[string][]roof.Reading{"a": course(2880, tc.a), "b": course(2880, daily)}) {
				require.Equal(t, tc.want.Names(), r.Flags.Names())
			}
		})
	}
}

func TestSilenceIsNotAFlatLine(t *testing.T) {
	a := course(2880, stuck(600, 1500, 70))
	var thinned []roof.Reading
	for i, r := range a {
		if m := 5 * i; m < 700 || m > 1400 {
			thinned = append(thinned, r)
		}
	}
	got := flagged(t, nil, map[string][]roof.Reading{"a": thinned, "b": course(2880, daily)})
	assert.Zero(t, count(got, roof.FlagFlatLine))
}

// A part of a record, padded by Reach, is judged as the whole is.
func TestAPartIsJudgedAsTheWhole(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	of := map[string][]roof.Reading{
		"a": course(6*1440, func(m float64) (float64, float64) {
			temp, rh := daily(m)
			switch d := math.Mod(m, 2880); {
			case m > 4320: // whole percents
				if d > 0 && d < 1500 {
					rh = 60
				}
				return temp, math.Round(rh)
			case d > 300 && d < 2100:
				return temp, 60
			}
			return temp, rh
		}),
		"b": course(6*1440, func(m float64) (float64, float64) {
			if math.Mod(m, 4000) < 1500 {
				return 10, 50
			}
			return daily(m)
		}),
	}
	whole := flagged(t, nil, of)
	require.NotZero(t, count(whole, roof.FlagFlatLine))
	for range 50 {
		from := start.Add(time.Duration(rng.IntN(5*1440)) * time.Minute)
		until := from.Add(time.Duration(rng.IntN(1440)) * time.Minute)
		part := map[string][]roof.Reading{}
		for id, all := range of {
			for _, r := range all {
				if !r.At.Before(from.Add(-Reach)) && r.At.Before(until.Add(Reach)) {
					part[id] = append(part[id], r)
				}
			}
		}
		got := map[int64]roof.Flags{}
		for _, r := range flagged(t, nil, part) {
			got[r.At.UnixMilli()] = r.Flags
		}
		for _, r := range whole {
			if !r.At.Before(from) && r.At.Before(until) {
				require.Equal(t, r.Flags, got[r.At.UnixMilli()], "%s within %s..%s", r.At, from, until)
			}
		}
	}
}

func TestAStepFurtherThanAirCanIsShown(t *testing.T) {
	for name, tc := range map[string]struct {
		step func(m float64) (float64, float64)
		want int
	}{
		"sun on the slates":    {func(m float64) (float64, float64) { return m * 0.5, 60 }, 0},
		"a step of 5 K in 5":   {func(m float64) (float64, float64) { return 5 * math.Floor(m/500), 60 }, 0},
		"a step of 5.1 K in 5": {func(m float64) (float64, float64) { return 5.1 * math.Floor(m/500), 60 }, 2},
		"a step of 18.1 %RH":   {func(m float64) (float64, float64) { return 4, 50 + 18.1*math.Floor(m/500) }, 2},
		"C becomes F at noon": {func(m float64) (float64, float64) {
			t, rh := daily(m)
			if m >= 720 {
				t = t*1.8 + 32
			}
			return t, rh
		}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			got := flagged(t, nil, map[string][]roof.Reading{"a": course(1440, tc.step)})
			assert.Equal(t, tc.want, count(got, roof.FlagJump))
			assert.Zero(t, roof.FlagJump&roof.Excluding, "it is shown and not left out")
		})
	}
}

func TestAReadingBeforeTheFirstFittingIsFlagged(t *testing.T) {
	fitted := []roof.Fitting{{Position: "loft", From: start.Add(2 * time.Hour)},
		{Position: "void", From: start.Add(time.Hour)}}
	got := flagged(t, fitted, map[string][]roof.Reading{"a": course(240, daily)})
	assert.Equal(t, 12, count(got, roof.FlagBeforeFitting))
	assert.Zero(t, got[12].Flags)
}

// Faults, row 35.
func TestAClockThatIsWrongIsToldFromACatchUp(t *testing.T) {
	year := 365 * 24 * time.Hour
	for name, tc := range map[string]struct {
		arrived func(i int, at time.Time) time.Time
		flags   roof.Flags
		want    int
	}{
		"a year behind, arriving one by one": {func(i int, at time.Time) time.Time { return at.Add(year) }, 0, 288},
		"with jitter of the network": {func(i int,
			at time.Time) time.Time {
			return at.Add(year + time.Duration(i%7)*3*time.Second)
		}, 0, 288},
		"a year of readings at once": {func(i int,
			at time.Time) time.Time {
			return start.Add(year + time.Duration(i)*time.Millisecond)
		}, 0, 0},
		"a day's readings hour by hour": {func(i int,
			at time.Time) time.Time {
			return start.Add(year + time.Duration(i)*time.Minute)
		}, 0, 0},
		"on time":                          {func(i int, at time.Time) time.Time { return at.Add(time.Second) }, 0, 0},
		"an hour late, as in a wrong zone": {func(i int, at time.Time) time.Time { return at.Add(time.Hour) }, 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			a := course(1440, daily)
			for i := range a {
				a[i].Arrived = tc.arrived(i, a[i].At)
			}
			got := flagged(t, nil, map[string][]roof.Reading{"a": a})
			assert.Equal(t, tc.want, count(got, roof.FlagClockWrong))
		})
	}
}

func TestAnErrorOfTheRecordIsPassedOn(t *testing.T) {
	broken := errors.New("page gone")
	bad := func(yield func(roof.Reading, error) bool) { yield(roof.Reading{}, broken) }
	_, err := Flag(&roof.Case{Loggers: []roof.Logger{{ID: "a"}}},
		func(string) iter.Seq2[roof.Reading, error] { return bad })
	assert.ErrorIs(t, err, broken)
	for _, err := range new(History).Flagged(roof.Logger{ID: "a"}, bad) {
		assert.ErrorIs(t, err, broken)
	}
}

func TestWhatComesAfterTheCutDecidesNothing(t *testing.T) {
	of := map[string][]roof.Reading{"a": course(2880, stuck(600, 1500, 70)), "b": course(2880, daily)}
	all := func(logger string) iter.Seq2[roof.Reading, error] { return seq(of[logger]) }
	c := &roof.Case{Loggers: []roof.Logger{{ID: "a"}, {ID: "b"}}}
	cut, err := Flag(c, Before(start.Add(1000*time.Minute), all))
	require.NoError(t, err)
	n := 0
	for r := range cut("a") {
		assert.Zero(t, r.Flags&roof.FlagFlatLine)
		n++
	}
	assert.Equal(t, 200, n)
}

func BenchmarkFlagWinter(b *testing.B) {
	of := map[string][]roof.Reading{}
	for _, id := range []string{"a", "b", "c", "d", "e", "f"} {
		of[id] = course(180*1440, daily)
	}
	n := 0
	for b.Loop() {
		n = len(flagged(b, nil, of))
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(6*n), "ns/reading")
}
