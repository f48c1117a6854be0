package roof

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestWhatIsLeftOutCountsOnceAndWithinTheSpan(t *testing.T) {
	day := func(d float64) time.Time {
		return time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(d * 24 * float64(time.Hour)))
	}
	c := Case{Excluded: []Excluded{{From: day(5), To: day(6)}, {From: day(1), To: day(3), Position: "void"},
		{From: day(2), To: day(2.5)}, {From: day(2.25), To: day(4), Position: "loft"}}}
	for _, x := range []struct {
		position    string
		from, until float64
		want        float64 // days
	}{{"void", 0, 10, 3}, {"loft", 0, 10, 3}, {"slate", 0, 10, 1.5}, {"", 0, 10, 4}, {"void", 2, 5.5, 1.5}, {"", 7, 9,
		0}} {
		assert.Equal(t, time.Duration(x.want*24*float64(time.Hour)), c.LeftOut(x.position, day(x.from), day(x.until)), x)
	}
}
