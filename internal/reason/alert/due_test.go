package alert

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof"
)

func TestDueIsWhenAnAlertChangesWithoutItsValue(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	assert.NoError(t, err)
	now := time.Date(2026, 12, 3, 9, 0, 0, 0, time.UTC)
	one := func(a Alert) Book { return Book{Alerts: []*Alert{&a}} }
	ago := func(d time.Duration) time.Time { return now.Add(-d) }
	noon := time.Date(2026, 12, 3, 12, 0, 0, 0, time.UTC)
	at := func(h, m int) time.Time { return time.Date(2026, 12, 3, h, m, 0, 0, time.UTC) }
	told := []Sent{{To: Household, Kind: Standing, At: ago(70 * time.Hour), Conditions: []Condition{SurfaceWet}}}
	for name, x := range map[string]struct {
		zone        *time.Location
		now         time.Time
		book        Book
		seen, clock time.Time
	}{
		"nothing: the night ends": {clock: noon},
		"the clock of the house":  {zone: berlin, clock: at(11, 0)},
		"after noon, the next":    {now: at(17, 0), clock: noon.Add(24 * time.Hour)},
		"a battery that is low for six hours": {book: one(Alert{Condition: BatteryLow, Over: ago(6 * time.Hour)}),
			seen: at(15, 0), clock: noon},
		"a wetting that ended an hour ago": {book: one(Alert{Condition: SurfaceWet, State: Raised, Under: ago(time.Hour)}),
			seen: at(10, 0), clock: noon},
		"one that is over already": {book: one(Alert{Condition: SurfaceWet, State: Cleared, Under: ago(time.Hour)}),
			clock: noon},
		"readings are behind": {book: one(Alert{Condition: SurfaceWet, State: Raised, Under: ago(121 * time.Minute)}),
			seen: at(8, 59), clock: noon},
		"what should long have come": {book: one(Alert{Condition: SurfaceWet, State: Raised, Under: ago(30 * time.Hour)}),
			clock: noon},
		"quiet for half an hour more": {book: one(Alert{Condition: SurfaceWet, State: Snoozed, SnoozedTo: at(9, 30)}),
			clock: at(9, 30)},
		"a logger silent for 22 hours": {book: one(Alert{Condition: LoggerSilent, Value: 22}),
			clock: at(11, 0)},
		"a household that does not answer": {book: Book{Sent: told, Alerts: []*Alert{{Condition: SurfaceWet, State: Raised,
			Since: ago(80 * time.Hour)}}}, clock: at(11, 0)},
		"the standing message two months on": {book: Book{Sent: []Sent{{To: Household, Kind: Standing,
			At: ago(60*24*time.Hour - time.Hour), Conditions: []Condition{WetNights}}}}, clock: at(10, 0)},
	} {
		t.Run(name, func(t *testing.T) {
			if x.zone == nil {
				x.zone = time.UTC
			}
			if x.now.IsZero() {
				x.now = now
			}
			seen, clock := x.book.Due(&roof.Case{Property: roof.Property{Zone: x.zone}}, RulesOf(roof.AlertSettings{}), x.now)
			assert.Equal(t, x.seen, seen)
			assert.Equal(t, x.clock, clock)
		})
	}
}
