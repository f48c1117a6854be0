package repair

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A follower's answer for a moment may not depend on what was asked or read
// later.
func TestAFollowerSeesTheLoftOpened(t *testing.T) {
	s := simulate(t, 2, loftWork, 66, 10*time.Minute)
	night := func(n int) int64 { return s.at.AddDate(0, 0, n).UnixMilli() }
	f := Follow(s.set, s.event, s.surfaces[0])
	require.NotNil(t, f)
	late, _ := f.At(night(45))
	early, sd := f.At(night(15))
	assert.Greater(t, late[0], 1.0)
	assert.Greater(t, early[0], 1.0)
	for k, p := range f.Pretended() {
		assert.Positive(t, sd[k])
		assert.GreaterOrEqual(t, p, 0.0)
		assert.Less(t, p, 1.0)
	}
	again, _ := Follow(s.set, s.event, s.surfaces[0]).At(night(15))
	assert.Equal(t, early, again)
}

func TestAFollowerNeedsNightsBefore(t *testing.T) {
	s := simulate(t, 2, noWork, 20, 10*time.Minute)
	assert.Nil(t, Follow(s.set, s.event, "no such surface"))
	s.set.FromMS = s.at.AddDate(0, 0, -10).UnixMilli()
	assert.Nil(t, Follow(s.set, s.event, s.surfaces[0]))
}

func TestARepairsWindowEndsAtTheNext(t *testing.T) {
	s := simulate(t, 2, noWork, 20, 10*time.Minute)
	p, _ := s.set.Case.Position(s.surfaces[0])
	from, until := Window(s.set, s.event, p)
	assert.Equal(t, []int64{s.set.FromMS, s.set.UntilMS}, []int64{from, until})
	later := s.event
	later.At = s.at.AddDate(0, 0, 10)
	s.set.Case.Events = append(slices.Clone(s.set.Case.Events), later)
	_, until = Window(s.set, s.event, p)
	assert.Equal(t, later.At.UnixMilli(), until)
	from, _ = Window(s.set, later, p)
	assert.Equal(t, s.at.AddDate(0, 0, 4).UnixMilli(), from)
}
