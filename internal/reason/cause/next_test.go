package cause

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// A roof that was changed cannot be looked at as it was.
func TestWhatToDoNextIsWithdrawnOnceTheRoofWasWorkedOn(t *testing.T) {
	work := sketchStart.AddDate(0, 0, 60)
	at := func(events ...roof.Event) Finding {
		return Find(sketch{days: 100, meanC: 4, alter: shutLoft, change: func(c *roof.Case) {
			c.Roof.Openings.LoftEavesMM, c.Events = nil, events
		}}.set(t), Options{})
	}
	open, planned := at(), at(roof.Event{At: sketchStart.AddDate(0, 6, 0), Kind: roof.Repair})
	assert.Contains(t, open.NextText(), "(keys openings_mm")
	assert.Equal(t, open.Next, planned.Next, "a work that is yet to come forbids no look")
	done := at(roof.Event{At: work, Kind: roof.Repair, Changes: []roof.Change{roof.LoftVentilation}})
	require.False(t, done.Firm)
	assert.Equal(t, []string{"The cause can be settled no further: the work of " +
		day(work.UnixMilli(), time.UTC) + " changed the roof. Whether that work helped is what now speaks for the cause or " +
		"against it."}, done.Next)
	assert.Empty(t, done.Activities)
}
