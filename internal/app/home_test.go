package app

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/alert"
	"dewcase/internal/readability"
	"dewcase/internal/watch"
)

// TestTheSentenceOfAHouse holds every state that a household can read to its
// words, and the words to a reader of twelve (Flesch-Kincaid).
func TestTheSentenceOfAHouse(t *testing.T) {
	now := time.Date(2026, 12, 1, 6, 0, 0, 0, time.UTC)
	wet := &alert.Alert{Condition: alert.SurfaceWet, State: alert.Raised, Facts: alert.Facts{Words: "under the slates"}}
	leak := &alert.Alert{Condition: alert.SuddenWetting, State: alert.Raised}
	for _, x := range []struct {
		want   string
		level  alert.Level
		due    []*alert.Alert
		newest time.Time
	}{
		{"We have no news from your roof yet.", alert.Dew, nil, time.Time{}},
		{"We have heard nothing from your roof for 20 hours.", alert.Damp, []*alert.Alert{wet}, now.Add(-20 * time.Hour)},
		{"Your roof is dry now.", alert.Damp, nil, now},
		{"There is some dew under the slates now.", alert.Dew, []*alert.Alert{wet}, now},
		{"There is some water under the slates now.", alert.Unsure, []*alert.Alert{wet}, now},
		{"Water has begun to form under the slates.", alert.Damp, []*alert.Alert{wet}, now},
		{"The air in the roof got much damper at once.", alert.Dew, []*alert.Alert{leak}, now},
	} {
		s := homeWords(&watched{book: &alert.Book{Level: x.level}}, x.due, x.newest, now)
		assert.Equal(t, x.want, s.now)
		for _, line := range append(append([]string{s.now}, s.do...), s.care...) {
			assert.LessOrEqual(t, readability.Grade(line), 9.0, line)
		}
	}
	for _, v := range []string{"worked", "got_worse", "no_change_shown", "too_early"} {
		p := 63.0
		assert.LessOrEqual(t, readability.Grade(repairWords(watch.Turn{Verdict: v, ReductionPct: &p})), 7.0, v)
	}
	p := 63.0
	assert.Contains(t, repairWords(watch.Turn{Verdict: "worked", ReductionPct: &p}), "6 fewer wet hours out of every 10")
}
