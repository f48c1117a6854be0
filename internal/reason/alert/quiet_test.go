package alert

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// What comes and goes is told once a fortnight (README), not once a spell.
func TestAHouseholdIsNotToldAgainWithinAFortnight(t *testing.T) {
	for days, want := range map[int]int{2: 0, 6: 0, 13: 0, 15: 1, 30: 1} {
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
		for range days*24 - 1 {
			assert.Zero(t, told(FrostMelting, 0))
		}
		assert.Equal(t, want, told(FrostMelting, 40), "another one %d days later", days)
	}
}
