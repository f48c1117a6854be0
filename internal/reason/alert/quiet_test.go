package alert

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// What comes and goes is told once in two months, not once a spell, but again if it
// is much worse than what was told.
func TestAHouseholdIsToldAgainAfterTwoMonthsOrWhenItIsWorse(t *testing.T) {
	for _, x := range []struct {
		days int
		gM2  float64
		want int
	}{{2, 40, 0}, {13, 40, 0}, {30, 90, 0}, {59, 40, 0}, {61, 40, 1}, {2, 110, 1}, {30, 110, 1}} {
		s := newScript(t)
		s.b.Level = Damp
		told := func(c Condition, v float64) (n int) {
			s.hour(c, v)
			for _, m := range s.plan() {
				if m.To == Household {
					n++
				}
			}
			return n
		}
		assert.Equal(t, 1, told(FrostMelting, 40), "the first frost that melts is told")
		for range x.days*24 - 1 {
			assert.Zero(t, told(FrostMelting, 0))
		}
		assert.Equal(t, x.want, told(FrostMelting, x.gM2), "%v g/m² %d days later", x.gM2, x.days)
	}
}
