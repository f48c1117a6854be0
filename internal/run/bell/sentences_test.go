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
)

func TestThePageSaysOfWaterWhatTheMailSaid(t *testing.T) {
	c := &roof.Case{ID: "larch-3", Property: roof.Property{Zone: time.UTC}}
	evening := time.Date(2026, 11, 30, 18, 0, 0, 0, time.UTC)
	held := func(l alert.Level) *house {
		return &house{book: &alert.Book{Level: l, Alerts: []*alert.Alert{
			{ID: "surface_wet.slate.1", Condition: alert.SurfaceWet, State: alert.Raised, Tell: true, Since: evening,
				At: evening, Facts: alert.Facts{Words: "under the slates"}},
			{ID: "wet_nights.slate.1", Condition: alert.WetNights, State: alert.Snoozed, AckBy: "consultant", Tell: true,
				Since: evening.Add(12 * time.Hour), From: evening.AddDate(0, 0, -6),
				Facts: alert.Facts{Words: "under the slates", Nights: 5, Seen: 7}},
			{ID: "timber_wet.slate.1", Condition: alert.TimberWet, State: alert.Raised, Tell: true, Since: evening},
		}}, where: "under the slates"}
	}
	said, unsure := homeOf(c, held(alert.Unsure), nil, evening)
	require.Len(t, unsure, 1, "one note, as by mail")
	assert.Equal(t, []string{"surface_wet.slate.1", "wet_nights.slate.1"}, unsure[0].IDs)
	assert.Contains(t, unsure[0].Lines, "We cannot tell yet.")
	assert.Equal(t, homepage.NotSeen, unsure[0].Seen)
	assert.Equal(t, evening.AddDate(0, 0, -6), unsure[0].Since)
	assert.Equal(t, []string{"There is some water under the slates now."}, said.Lead().Lines)
	note := alert.Saying(alert.Note, held(alert.Unsure).book.Alerts[:1], alert.PlanInput{})
	assert.Equal(t, note.Lines, unsure[0].Lines)
	assert.Equal(t, note.Do, said.Lead().Do, "and the same advice")

	_, damp := homeOf(c, held(alert.Damp), nil, evening)
	require.Len(t, damp, 3)
	assert.Equal(t, []string{"Water has begun to form under the slates."}, damp[0].Lines)
	assert.Equal(t, homepage.SeenByExpert, damp[1].Seen, "what the expert put aside the household has not seen")

	said, none := homeOf(c, held(alert.Dew), nil, evening)
	assert.Empty(t, none)
	assert.Equal(t, []string{"There is some dew under the slates now."}, said.Lead().Lines)
}

// A named cause and the work's verdict stand on the page as sure as they are, and
// then nowhere that it cannot be told.
func TestThePageTellsTheCauseAndTheWorkAsTheDiagnosisDoes(t *testing.T) {
	at := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	pct, low, high := 71.0, 39.0, 93.0
	h := &house{book: &alert.Book{Level: alert.Unsure}, where: "under the slates", slow: &watch.Slow{
		Finding: "unvented_batten_void", Strength: "probable", Repaired: at,
		Repairs: []watch.Turn{{Surface: "slate", At: at, Verdict: "worked", Best: "worked", ReductionPct: &pct, LowPct: &low,
			HighPct: &high}}}}
	h.book.Alerts = []*alert.Alert{{ID: "1", Condition: alert.SurfaceWet, State: alert.Raised, Tell: true, Since: at,
		At: at}}
	said, found := homeOf(&roof.Case{Property: roof.Property{Zone: time.UTC}}, h, h.slow, at)
	assert.Equal(t, "Before the work of 2 October the water probably came from damp air that gets in under the covering "+
		"and cannot get out.", said.Why())
	assert.Equal(t, "The work of 2 October helped: of ten wet hours it took away about four to nine.", said.WorkDone())
	require.Len(t, found, 1)
	assert.NotContains(t, found[0].Lines, "We cannot tell yet.")
	assert.Contains(t, found[0].Lines, said.Why())
}

// An import of a winter long past is no house without news: what was known is
// said, and until when.
func TestAHouseWhoseRecordEndedSaysSo(t *testing.T) {
	now := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	c := &roof.Case{Property: roof.Property{Zone: time.UTC}}
	for heard, want := range map[time.Time]string{
		{}:                       "We have no news from your roof yet.",
		now.Add(-time.Hour):      "We have no news from your roof yet.", // of a surface there is none yet
		now.Add(-50 * time.Hour): "We have heard nothing from your roof for 2 days.",
		now.AddDate(0, 0, -205):  "We last heard from your roof on 11 March 2026.",
	} {
		said, _ := homeOf(c, &house{book: &alert.Book{}, heard: heard}, nil, now)
		assert.Equal(t, want, said.Lead().Lines[0])
	}
}
