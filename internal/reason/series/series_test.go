package series_test

import (
	"iter"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

var start = time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC)

func at(minutes float64) time.Time { return start.Add(time.Duration(minutes * float64(time.Minute))) }

type row struct {
	minute   float64
	temp, rh float64 // rh < 0: not measured
	flags    roof.Flags
}

func record(data map[string][]row) func(string) iter.Seq2[roof.Reading, error] {
	return func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for _, d := range data[logger] {
				r := roof.Reading{Logger: logger, At: at(d.minute), Flags: d.flags}
				r.Values.Set(roof.TempC, d.temp)
				if d.rh >= 0 {
					r.Values.Set(roof.RHPct, d.rh)
				}
				if !yield(r, nil) {
					return
				}
			}
		}
	}
}

func loft(loggers ...roof.Logger) *roof.Case {
	return &roof.Case{ID: "larch-1", Property: roof.Property{Zone: time.UTC},
		Positions: []roof.Position{{ID: "loft", Place: roof.LoftAir}, {ID: "void", Place: roof.BattenVoidAir}},
		Loggers:   loggers}
}

func fitted(position string, from float64) roof.Fitting {
	return roof.Fitting{Position: position, From: at(from)}
}

func build(t *testing.T, c *roof.Case, data map[string][]row) *series.Set {
	s, err := series.Build(c, 0, record(data))
	require.NoError(t, err)
	return s
}

// Design, Time: two successive readings bound an observed interval when they
// are no further apart than min(2.5 i, max(45 min, 1.5 i)).
func TestTheLongestObservedIntervalFollowsTheUsualOne(t *testing.T) {
	for _, c := range []struct{ usual, want time.Duration }{
		{time.Minute, 150 * time.Second},
		{5 * time.Minute, 750 * time.Second},
		{15 * time.Minute, 37*time.Minute + 30*time.Second},
		{18 * time.Minute, 45 * time.Minute},
		{30 * time.Minute, 45 * time.Minute},
		{time.Hour, 90 * time.Minute},
		{24 * time.Hour, 36 * time.Hour},
	} {
		assert.Equal(t, c.want.Milliseconds(), series.LongestSpanMS(c.usual.Milliseconds()), c.usual)
	}
}

func TestAGapIsNotObservedAndTheLastReadingStandsForNothing(t *testing.T) {
	s := build(t, loft(roof.Logger{ID: "k", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("loft", -60)}}),
		map[string][]row{"k": {{0, 4, 90, 0}, {5, 5, 90, 0}, {17.5, 6, 90, 0}, {30.1, 7, 90, 0}, {35, 8, 90, 0}}})
	c := s.Course("loft").TempC
	assert.Equal(t, []bool{true, true, false, true, false}, c.Joined)
	v, ok := c.At(at(2.5).UnixMilli())
	assert.True(t, ok)
	assert.InDelta(t, 4.5, v, 1e-12)
	_, ok = c.At(at(20).UnixMilli())
	assert.False(t, ok)
	_, ok = c.At(at(35.1).UnixMilli())
	assert.False(t, ok)
	assert.EqualValues(t, (17.5+4.9)*60e3, c.ObservedMS(s.FromMS, s.UntilMS))
	assert.InDelta(t, 12.6*60e3, c.LongestGapMS(s.FromMS, s.UntilMS), 1)
}

func TestTheUsualIntervalIsTheMedianWhereTheFileDoesNotSay(t *testing.T) {
	rows := []row{}
	for m := 0.0; m <= 100; m += 10 {
		rows = append(rows, row{m, 4, 90, 0})
	}
	rows = append(rows, row{124, 4, 90, 0}, row{150, 4, 90, 0})
	s := build(t, loft(roof.Logger{ID: "k", Fitted: []roof.Fitting{fitted("loft", 0)}}), map[string][]row{"k": rows})
	c := s.Course("loft").TempC
	assert.True(t, c.Joined[10], "24 min is within 2.5 x 10 min")
	assert.False(t, c.Joined[11], "26 min is not")
}

func TestAClockThatCannotBeRightDoesNotStretchTheRecord(t *testing.T) {
	c := loft(roof.Logger{ID: "k", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("loft", 0)}})
	s := build(t, c, map[string][]row{"k": {{5, 4, 90, 0}, {10, 4, 90, 0}, {15, 4, 90, roof.FlagFlatLine},
		{9000, 4, 90, roof.FlagClockWrong}}})
	assert.Equal(t, at(5).UnixMilli(), s.FromMS)
	assert.Equal(t, at(15).UnixMilli(), s.UntilMS, "a probe that failed was there all the same")
	only := build(t, c, map[string][]row{"k": {{9000, 4, 90, roof.FlagClockWrong}}})
	assert.Equal(t, at(9000).UnixMilli(), only.UntilMS, "where there is nothing else")
}

func TestAPositionJoinsWhatWasFittedThere(t *testing.T) {
	c := loft(
		roof.Logger{ID: "old", Interval: 5 * time.Minute,
			Fitted: []roof.Fitting{{Position: "loft", From: at(0), To: at(20)}, fitted("void", 30)}},
		roof.Logger{ID: "new", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("loft", 20)}})
	rows := func(temp float64) (out []row) {
		for m := 0.0; m <= 40; m += 5 {
			out = append(out, row{m, temp, 90, 0})
		}
		return out
	}
	s := build(t, c, map[string][]row{"old": rows(4), "new": rows(6)})
	l := s.Course("loft")
	assert.Equal(t, []float64{4, 4, 4, 4, 6, 6, 6, 6, 6}, l.TempC.Value)
	assert.False(t, l.TempC.Joined[3], "between two loggers nothing was observed")
	require.Len(t, l.Stints, 2)
	assert.Equal(t, "new", l.Stints[1].Logger)
	assert.Equal(t, []float64{4, 4, 4}, s.Course("void").TempC.Value, "a moved logger counts where it was at the time")
}

func TestOfTwoLoggersAtOnePlaceTheFirstCountsUntilItEnds(t *testing.T) {
	c := loft(
		roof.Logger{ID: "a", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("loft", 0)}},
		roof.Logger{ID: "b", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("loft", 5)}})
	s := build(t, c, map[string][]row{"a": {{0, 1, 50, 0}, {5, 1, 50, 0}, {10, 1, 50, 0}},
		"b": {{5, 2, 50, 0}, {10, 2, 50, 0}, {15, 2, 50, 0}, {20, 2, 50, 0}}})
	assert.Equal(t, []float64{1, 1, 1, 2, 2}, s.Course("loft").TempC.Value)
	assert.Equal(t, at(15).UnixMilli(), s.Course("loft").Stints[1].FromMS)
}

func TestOffsetsAreAddedFromTheirDateAndHumidityStaysPossible(t *testing.T) {
	l := roof.Logger{ID: "k", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("loft", 0)},
		Offsets: []roof.Offset{{From: at(10), TempC: -0.2, RHPct: 1}, {From: at(5), RHPct: 2}}}
	s := build(t, loft(l), map[string][]row{"k": {{0, 4, 90, 0}, {5, 4, 103, 0}, {10, 4, 90, 0}, {15, 4, 99.5, 0}}})
	c := s.Course("loft")
	assert.Equal(t, []float64{90, 100, 91, 100}, c.RHPct.Value)
	assert.Equal(t, []float64{4, 4, 3.8, 3.8}, c.TempC.Value)
	pa, err := psychro.VapourPressurePa(3.8, 91)
	require.NoError(t, err)
	assert.InDelta(t, pa, c.VapourPa.Value[2], 1e-9)
}

func TestAnExcludedReadingIsCountedAndNotUsed(t *testing.T) {
	l := roof.Logger{ID: "k", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("loft", 0)}}
	s := build(t, loft(l), map[string][]row{"k": {{0, 4, 90, 0}, {5, 40, 90, roof.FlagFlatLine},
		{10, 4, 90, roof.FlagSaturated}}})
	c := s.Course("loft")
	assert.Equal(t, 1, c.Excluded)
	assert.Equal(t, []float64{4, 4}, c.TempC.Value)
	assert.Equal(t, map[roof.Flags]int{roof.FlagFlatLine: 1, roof.FlagSaturated: 1}, c.Flagged)
}

func TestTheTemperatureOfAProbeWhoseHumidityIsStuckStillCounts(t *testing.T) {
	l := roof.Logger{ID: "k", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("loft", 0)}}
	s := build(t, loft(l), map[string][]row{"k": {{0, 4, 90, 0}, {5, 5, 90, roof.FlagFlatLine | roof.FlagTempAlive},
		{10, 6, 90, roof.FlagFlatLine | roof.FlagTempAlive | roof.FlagClockWrong}, {15, 7, 91, 0}}})
	c := s.Course("loft")
	assert.Equal(t, []float64{4, 5, 7}, c.TempC.Value)
	assert.Equal(t, []float64{90, 91}, c.RHPct.Value)
	assert.Equal(t, 2, c.VapourPa.Len())
	assert.Equal(t, 2, c.Excluded, "each is counted as kept out of hours")
}

func TestASurfaceLoggerWithoutHumidityHasNoVapour(t *testing.T) {
	s := build(t, loft(roof.Logger{ID: "k", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("loft", 0)}}),
		map[string][]row{"k": {{0, 4, -1, 0}, {5, 4, -1, 0}}})
	assert.Equal(t, 2, s.Course("loft").TempC.Len())
	assert.Zero(t, s.Course("loft").VapourPa.Len())
	assert.Nil(t, s.Course("nowhere"))
}

// Mean and observed time do not depend on how a span is cut into steps.
func TestBinsAddUpHoweverASpanIsCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var tr series.Track
		ms := int64(0)
		for range rapid.IntRange(2, 50).Draw(t, "n") {
			ms += rapid.Int64Range(1000, 2_000_000).Draw(t, "gap")
			tr.AtMS, tr.Value, tr.Joined = append(tr.AtMS, ms), append(tr.Value, rapid.Float64Range(-20, 30).Draw(t, "v")),
				append(tr.Joined, rapid.Bool().Draw(t, "joined"))
		}
		tr.Joined[len(tr.Joined)-1] = false
		from, until := tr.AtMS[0]-500, ms+500
		step := rapid.Int64Range(1000, until-from).Draw(t, "step")
		n := int((until - from + step - 1) / step)
		var seen int64
		sum := 0.0
		for _, b := range tr.Bins(from, step, n) {
			require.LessOrEqual(t, b.ObservedMS, step)
			if b.ObservedMS > 0 {
				require.LessOrEqual(t, b.Min, b.Mean+1e-9)
				require.GreaterOrEqual(t, b.Max, b.Mean-1e-9)
			}
			seen += b.ObservedMS
			sum += b.Mean * float64(b.ObservedMS)
		}
		whole := tr.Bins(from, until-from, 1)[0]
		require.Equal(t, whole.ObservedMS, seen)
		require.Equal(t, seen, tr.ObservedMS(from, until))
		require.InDelta(t, whole.Mean*float64(whole.ObservedMS), sum, 1e-3*float64(until-from)/1e3)
		cut := from + rapid.Int64Range(0, until-from).Draw(t, "cut")
		require.Equal(t, tr.ObservedMS(from, cut), tr.Until(cut).ObservedMS(from, until))
		require.Equal(t, tr.ObservedMS(cut, until), tr.Slice(cut, until).ObservedMS(cut, until))
	})
}
