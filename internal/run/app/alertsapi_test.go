package app_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/http/api"
)

func TestProgramsAcknowledgeAndSnoozeAlerts(t *testing.T) {
	r := newReceiver(t)
	d, _ := live(t, withWebhook(t, r, t.TempDir()))
	d.ask("PUT", "/api/cases/larch-3/file", dampHouse)
	d.ask("POST", "/api/cases/larch-3/readings", dampRecord(12, time.Now()), "Content-Type", "text/csv")
	alerts := func() map[string]api.Alert {
		var list []api.Alert
		_, body := d.ask("GET", "/api/cases/larch-3/alerts", "")
		require.NoError(t, json.Unmarshal([]byte(body), &list), body)
		out := map[string]api.Alert{}
		for _, a := range list {
			out[a.Condition] = a
		}
		return out
	}
	require.Eventually(t, func() bool { return alerts()["surface_wet"].ID != "" && alerts()["wet_nights"].ID != "" },
		40*time.Second, 200*time.Millisecond)
	wet, nights := "/api/cases/larch-3/alerts/"+alerts()["surface_wet"].ID, "/api/cases/larch-3/alerts/"+
		alerts()["wet_nights"].ID
	until := time.Now().Add(48 * time.Hour).UTC().Truncate(time.Second)
	for _, x := range []struct {
		path, body string
		want       int
	}{
		{wet + "/acknowledge", "", 204},
		{nights + "/snooze", `{"until":"` + until.Format(time.RFC3339) + `"}`, 204},
		{nights + "/snooze", `{"until":"` + until.AddDate(1, 0, 0).Format(time.RFC3339) + `"}`, 400},
		{nights + "/snooze", `{}`, 422},
		{"/api/cases/larch-3/alerts/none.such.1/acknowledge", "", 404},
		{"/api/cases/larch-4/alerts/none.such.1/acknowledge", "", 404},
	} {
		answer, body := d.ask("POST", x.path, x.body, "Content-Type", "application/json")
		assert.Equal(t, x.want, answer.StatusCode, "%s %s: %s", x.path, x.body, body)
	}
	now := alerts()
	assert.Equal(t, "acknowledged", now["surface_wet"].State)
	assert.Equal(t, "this machine", now["surface_wet"].AckBy)
	assert.Equal(t, "snoozed", now["wet_nights"].State)
	require.NotNil(t, now["wet_nights"].SnoozedTo)
	assert.WithinDuration(t, until, *now["wet_nights"].SnoozedTo, 2*time.Second)
}

func TestATestMessageShowsWhetherMessagesArrive(t *testing.T) {
	r := newReceiver(t)
	d, _ := live(t, withWebhook(t, r, t.TempDir()))
	for range 5 { // a button pressed in a hurry
		answer, _ := d.ask("POST", "/alerts/try", "")
		require.Equal(t, 303, answer.StatusCode)
	}
	require.Eventually(t, func() bool { n, _ := r.all(); return n > 0 }, 20*time.Second, 50*time.Millisecond)
	n, lines := r.all()
	assert.LessOrEqual(t, n, 2, "one a minute, and a minute may have ended")
	assert.Contains(t, lines[0], "dewcase: a test")
	assert.Eventually(t, func() bool {
		_, page := d.ask("GET", "/alerts", "")
		return strings.Contains(page, "dewcase: a test") && !strings.Contains(page, "not yet")
	}, 20*time.Second, 50*time.Millisecond, "and the page says that it arrived")
}
