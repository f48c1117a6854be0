package watch

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// An opening that does not show is asked after once a repair, of the latest one,
// and of the consultant alone.
func TestAnOpeningThatDoesNotShowIsAskedAfterOnce(t *testing.T) {
	first := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	second := first.AddDate(0, 1, 0)
	in := Input{Case: &roof.Case{}, Slow: &Slow{At: second.AddDate(0, 1, 0), Repairs: []Turn{
		{Surface: "slate", At: first, Unseen: "are they cut through?"}, {Surface: "underlay", At: first,
			Unseen: "are they cut through?"}, {Surface: "underlay", At: second}}}}
	got := unseen(in)
	require.Len(t, got, 2)
	assert.Equal(t, []string{"slate", "underlay"}, []string{got[0].Position, got[1].Position})
	assert.Equal(t, []float64{1, 0}, []float64{got[0].Value, got[1].Value})
	assert.Equal(t, "are they cut through?", got[0].Facts.Detail)
	in.Slow.Repairs = append(in.Slow.Repairs, Turn{Surface: "slate", At: second.AddDate(0, 0, 1)})
	got = unseen(in)
	require.Len(t, got, 2)
	assert.Zero(t, got[0].Value, "a later repair answers for the place")

	rule := alert.RulesOf(roof.AlertSettings{})[alert.WorkUnseen]
	assert.False(t, rule.Household)
	assert.True(t, rule.Consultant)
	for _, s := range got {
		assert.False(t, s.Tell)
	}
}
