package alert

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

func TestTheDailySummarySaysWhatIsInForceNewAndOver(t *testing.T) {
	now := time.Date(2026, 12, 2, 7, 30, 0, 0, time.UTC)
	old, fresh := now.AddDate(0, 0, -9), now.Add(-5*time.Hour)
	houses := []House{
		{Case: &roof.Case{ID: "dry-1", Property: roof.Property{Label: "1 Dry Lane", Zone: time.UTC}},
			Book: &Book{Alerts: []*Alert{{Condition: SurfaceWet, Position: "slate", State: Cleared, Since: old,
				Cleared: old.Add(time.Hour)}, {Condition: WetNights}}}},
		{Case: &roof.Case{ID: "larch-3", Property: roof.Property{Label: "3 Larch Row", Zone: time.UTC}},
			Link: "https://roof.example.org/cases/larch-3/alerts", Lost: []string{"mail to ann@example.org: no such user"},
			Book: &Book{Alerts: []*Alert{
				{ID: "battery_low.k1.1", Condition: BatteryLow, Position: "k1", State: Raised, Since: fresh,
					Facts: Facts{Detail: "12 %"}},
				{ID: "wet_nights.slate.1", Condition: WetNights, Position: "slate", State: Acknowledged, Since: old},
				{ID: "logger_silent.k2.1", Condition: LoggerSilent, Position: "k2", State: Cleared, Since: old, Cleared: fresh},
			}}},
	}
	m, ok := Summary(houses, now.Add(-24*time.Hour), now)
	require.True(t, ok)
	assert.Equal(t, "Roofs today: 2 in force, 1 new, 1 over", m.Subject)
	assert.Equal(t, `3 Larch Row
- Run of wet nights (slate), raised Mon 23 Nov 2026 07:30 (seen)
- Over: Logger silent (k2), since Mon 23 Nov 2026 07:30, until Wed 2 Dec 02:30
- Battery low (k1): 12 %, since Wed 2 Dec 2026 02:30 (new)
- Not delivered: mail to ann@example.org: no such user
https://roof.example.org/cases/larch-3/alerts

This summary comes at most once a day: when something is new or over, and on Mondays while anything is in force.`, m.Text)
	_, ok = Summary(houses[:1], now.Add(-24*time.Hour), now)
	assert.False(t, ok, "nothing to tell, no message")
}

func TestARoofThatIsWetEveryNightIsNoNewsEveryMorning(t *testing.T) {
	tuesday := time.Date(2026, 12, 1, 7, 30, 0, 0, time.UTC)
	night := tuesday.Add(-12 * time.Hour)
	run := &Alert{ID: "wet_nights.slate.1", Condition: WetNights, Position: "slate", State: Raised,
		Since: tuesday.AddDate(0, 0, -9)}
	wet := &Alert{ID: "surface_wet.slate.1", Condition: SurfaceWet, Position: "slate", State: Raised, Since: night}
	dried := &Alert{ID: "surface_wet.slate.1", Condition: SurfaceWet, Position: "slate", State: Cleared,
		Since: night.AddDate(0, 0, -1), Cleared: night}
	for _, x := range []struct {
		name   string
		alerts []*Alert
		now    time.Time
		want   bool
	}{
		{"wet again", []*Alert{run, wet}, tuesday, false},
		{"dried", []*Alert{run, dried}, tuesday, false},
		{"on a Monday", []*Alert{run, wet}, tuesday.AddDate(0, 0, 6), true},
		{"wet, and no run told yet", []*Alert{wet}, tuesday, true},
		{"dry on a Monday", nil, tuesday.AddDate(0, 0, 6), false},
	} {
		_, ok := Summary([]House{{Case: &roof.Case{ID: "larch-3", Property: roof.Property{Zone: time.UTC}},
			Book: &Book{Alerts: x.alerts}}}, x.now.Add(-24*time.Hour),
			x.now)
		assert.Equal(t, x.want, ok, x.name)
	}
}

func TestOnlySmallThingsWaitForTheDailySummary(t *testing.T) {
	for _, x := range []struct {
		m    Message
		want bool
	}{
		{Message{To: Consultant, Kind: News, Alerts: []string{"battery_low.k1.1", "logger_silent.k.2.1"}}, true},
		{Message{To: Consultant, Kind: News, Alerts: []string{"battery_low.k1.1", "sudden_wetting.loft.1"}}, false},
		{Message{To: Consultant, Kind: News, Alerts: []string{"daemon_trouble.store.1"}}, false},
		{Message{To: Consultant, Kind: Escalation, Alerts: []string{"timber_wet.slate.1"}}, false},
		{Message{To: Household, Kind: News, Alerts: []string{"timber_wet.slate.1"}}, false},
		{Message{To: Consultant, Kind: News}, false},
	} {
		assert.Equal(t, x.want, x.m.CanWait(), "%+v", x.m)
	}
}
