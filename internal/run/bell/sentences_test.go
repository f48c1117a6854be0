package bell

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/http/homepage"
	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/readability"
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
		s := homeWords(&house{book: &alert.Book{Level: x.level}}, x.due, x.newest, now)
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

func TestThePageSaysOfWaterWhatTheMailSaid(t *testing.T) {
	c := &roof.Case{ID: "larch-3"}
	evening := time.Date(2026, 11, 30, 18, 0, 0, 0, time.UTC)
	book := func(l alert.Level) *alert.Book {
		return &alert.Book{Level: l, Alerts: []*alert.Alert{
			{ID: "surface_wet.slate.1", Condition: alert.SurfaceWet, State: alert.Raised, Tell: true, Since: evening,
				Facts: alert.Facts{Words: "under the slates"}},
			{ID: "wet_nights.slate.1", Condition: alert.WetNights, State: alert.Snoozed, AckBy: "consultant", Tell: true,
				Since: evening.Add(12 * time.Hour), From: evening.AddDate(0, 0, -6),
				Facts: alert.Facts{Words: "under the slates", Nights: 5, Seen: 7}},
			{ID: "timber_wet.slate.1", Condition: alert.TimberWet, State: alert.Raised, Tell: true, Since: evening},
		}}
	}
	unsure := homeAlerts(c, book(alert.Unsure))
	require.Len(t, unsure, 1, "one note, as by mail")
	assert.Equal(t, []string{"surface_wet.slate.1", "wet_nights.slate.1"}, unsure[0].IDs)
	assert.Contains(t, unsure[0].Lines, "We cannot tell yet.")
	assert.Equal(t, homepage.NotSeen, unsure[0].Seen)
	assert.Equal(t, evening.AddDate(0, 0, -6), unsure[0].Since)

	damp := homeAlerts(c, book(alert.Damp))
	require.Len(t, damp, 3)
	assert.Equal(t, []string{"Water has begun to form under the slates."}, damp[0].Lines)
	assert.Equal(t, homepage.SeenByExpert, damp[1].Seen, "what the expert put aside the household has not seen")
	assert.Empty(t, homeAlerts(c, book(alert.Dew)))

	note := alert.PlainWords(alert.Note, book(alert.Unsure).Alerts[:1], alert.Chance{})
	assert.Equal(t, note.Do, homeWords(&house{book: book(alert.Unsure)}, book(alert.Unsure).Alerts[:1], evening,
		evening).do, "and the same advice")
}
