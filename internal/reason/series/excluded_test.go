package series_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"dewcase/internal/roof"
)

func fiveMinutes(n int) (rows []row) {
	for i := range n {
		rows = append(rows, row{float64(5 * i), float64(i), 90, 0})
	}
	return rows
}

func TestAStretchLeftOutIsNoDataAtItsPositionAlone(t *testing.T) {
	c := loft(roof.Logger{ID: "k", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("loft", 0)}},
		roof.Logger{ID: "v", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("void", 0)}})
	c.Excluded = []roof.Excluded{{From: at(19), To: at(31), Position: "loft", Reason: "hatch open"}}
	s := build(t, c, map[string][]row{"k": fiveMinutes(12), "v": fiveMinutes(12)})
	l := s.Course("loft")
	assert.Equal(t, 9, l.TempC.Len(), "the readings at 20, 25 and 30 min are gone")
	_, ok := l.TempC.At(at(17).UnixMilli())
	assert.False(t, ok, "what runs into the stretch is not observed")
	assert.EqualValues(t, (15+20)*60e3, l.TempC.ObservedMS(s.FromMS, s.UntilMS))
	assert.EqualValues(t, 55*60e3, s.Course("void").TempC.ObservedMS(s.FromMS, s.UntilMS))
	assert.Equal(t, at(0).UnixMilli(), s.FromMS)
	// One that lies between two readings parts them all the same.
	c.Excluded = []roof.Excluded{{From: at(21), To: at(22), Reason: "knocked"}}
	s = build(t, c, map[string][]row{"k": fiveMinutes(12), "v": fiveMinutes(12)})
	assert.Equal(t, 12, s.Course("loft").TempC.Len())
	assert.EqualValues(t, 50*60e3, s.Course("void").TempC.ObservedMS(s.FromMS, s.UntilMS))
}

// Whatever is left out, nothing is observed in it, and elsewhere what was.
func TestNothingIsObservedInWhatIsLeftOut(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := loft(roof.Logger{ID: "k", Interval: 5 * time.Minute, Fitted: []roof.Fitting{fitted("loft", 0)}})
		whole := build(t, c, map[string][]row{"k": fiveMinutes(40)}).Course("loft").VapourPa
		from := rapid.IntRange(-30, 230).Draw(rt, "from")
		until := from + rapid.IntRange(1, 60).Draw(rt, "min")
		c.Excluded = []roof.Excluded{{From: at(float64(from)), To: at(float64(until)), Reason: "x"}}
		got := build(t, c, map[string][]row{"k": fiveMinutes(40)}).Course("loft").VapourPa
		assert.Zero(rt, got.ObservedMS(at(float64(from)).UnixMilli(), at(float64(until)).UnixMilli()))
		for _, m := range []int{from - 6, until + 6} {
			x, ok := whole.At(at(float64(m)).UnixMilli())
			y, still := got.At(at(float64(m)).UnixMilli())
			assert.Equal(rt, ok, still, m)
			assert.Equal(rt, x, y)
		}
	})
}
