package bell

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/alert"
	"dewcase/internal/run/config"
)

func TestTheDailySummaryGoesOutOnceADayAndOnlyWithSomethingToTell(t *testing.T) {
	ctx := t.Context()
	b := newBell(t, func(r *ReachOptions, o *Options) {
		r.Mail, r.Consultant, o.DigestAt = true, []string{"carl@example.org"}, config.Default().Alerts.DigestAt
	})
	w, err := b.hold(ctx, "larch-3")
	require.NoError(t, err)
	w.mu.Unlock()
	c, err := b.Cases.Case(ctx, "larch-3")
	require.NoError(t, err)
	morning := time.Date(2026, 12, 1, 7, 0, 0, 0, time.UTC) // winter: the clock of the house
	battery := &alert.Alert{ID: "battery_low.k1.1", Condition: alert.BatteryLow, Position: "k1", State: alert.Raised,
		Since: morning.Add(90 * time.Minute)}
	at := func(now time.Time) int {
		t.Helper()
		require.NoError(t, b.digest(ctx, now))
		return len(b.opt.Outbox.Of(theDaemon))
	}
	assert.Zero(t, at(morning.Add(time.Hour)), "nothing to tell, no mail")
	w.book.Alerts = []*alert.Alert{battery}
	assert.Zero(t, at(morning.Add(2*time.Hour)), "what came after the hour waits for tomorrow")
	assert.Zero(t, at(morning.Add(24*time.Hour)), "07:00 is before the hour")
	assert.Equal(t, 1, at(morning.Add(24*time.Hour+30*time.Minute)))
	assert.Equal(t, 1, at(morning.Add(26*time.Hour)), "once a day")
	require.NoError(t, b.State.DeleteState(ctx, kindDigest, "carl@example.org"))
	assert.Equal(t, 1, at(morning.Add(26*time.Hour)), "also where a crash came before the day was noted")
	assert.Equal(t, 1, at(morning.Add(49*time.Hour)), "no news, no mail")
	battery.State, battery.Cleared = alert.Cleared, morning.Add(50*time.Hour)
	assert.Equal(t, 2, at(morning.Add(4*24*time.Hour+time.Hour)),
		"what ended since the last one, though the daemon was down for a day")
	letter := b.opt.Outbox.Of(theDaemon)[1] // newest first
	assert.Equal(t, "carl@example.org", letter.To)
	assert.Contains(t, letter.Message.Text, "Battery low (k1)")

	news := alert.Message{Key: "larch-3/000001", Case: "larch-3", To: alert.Consultant, Kind: alert.News,
		Alerts: []string{"battery_low.k1.1"}}
	require.NoError(t, b.post(ctx, c, news))
	assert.Empty(t, b.opt.Outbox.Of("larch-3"), "a small thing waits for the summary")
	news.Key, news.Alerts = "larch-3/000002", []string{"sudden_wetting.slate.1"}
	require.NoError(t, b.post(ctx, c, news))
	assert.Len(t, b.opt.Outbox.Of("larch-3"), 1)

	battery.State, battery.Since = alert.Raised, morning.Add(6*24*time.Hour)
	b.opt.DigestAt = ""
	assert.Equal(t, 2, at(morning.Add(7*24*time.Hour)), "never")
	news.Key, news.Alerts = "larch-3/000003", []string{"battery_low.k1.1"}
	require.NoError(t, b.post(ctx, c, news))
	assert.Len(t, b.opt.Outbox.Of("larch-3"), 2, "without a summary each goes out by itself")
}
