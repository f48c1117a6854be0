package app_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/http/api"
	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/running"
)

func TestProgramsAcknowledgeAndSnoozeAlerts(t *testing.T) {
	r := newReceiver(t)
	now := running.Ticking(morning)
	d := running.StartAt(t, now, withWebhook(t, r, t.TempDir()))
	d.Ask("PUT", "/api/cases/larch-3/file", dampHouse)
	d.Ask("POST", "/api/cases/larch-3/readings", dampRecord(12, now()), "Content-Type", "text/csv")
	alerts := func() map[string]api.Alert {
		var list []api.Alert
		_, body := d.Ask("GET", "/api/cases/larch-3/alerts", "")
		require.NoError(t, json.Unmarshal([]byte(body), &list), body)
		out := map[string]api.Alert{}
		for _, a := range list {
			out[a.Condition] = a
		}
		return out
	}
	patience.Until(t, "both are raised", func() bool {
		return alerts()["surface_wet"].ID != "" && alerts()["wet_nights"].ID != ""
	})
	wet, nights := "/api/cases/larch-3/alerts/"+alerts()["surface_wet"].ID, "/api/cases/larch-3/alerts/"+
		alerts()["wet_nights"].ID
	until := now().Add(48 * time.Hour).UTC().Truncate(time.Second)
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
		answer, body := d.Ask("POST", x.path, x.body, "Content-Type", "application/json")
		assert.Equal(t, x.want, answer.StatusCode, "%s %s: %s", x.path, x.body, body)
	}
	said := alerts()
	assert.Equal(t, "acknowledged", said["surface_wet"].State)
	assert.Equal(t, "this machine", said["surface_wet"].AckBy)
	assert.Equal(t, "snoozed", said["wet_nights"].State)
	require.NotNil(t, said["wet_nights"].SnoozedTo)
	assert.WithinDuration(t, until, *said["wet_nights"].SnoozedTo, 2*time.Second)
}

func TestATestMessageShowsWhetherMessagesArrive(t *testing.T) {
	r := newReceiver(t)
	d := running.StartAt(t, func() time.Time { return morning }, withWebhook(t, r, t.TempDir()))
	for range 5 { // a button pressed in a hurry
		answer, _ := d.Ask("POST", "/alerts/try", "")
		require.Equal(t, 303, answer.StatusCode)
	}
	patience.Until(t, "it arrives", func() bool { n, _ := r.all(); return n > 0 })
	n, lines := r.all()
	assert.Equal(t, 1, n, "one a minute")
	assert.Contains(t, lines[0], "dewcase: a test")
	patience.Until(t, "the page says that it arrived", func() bool {
		_, page := d.Ask("GET", "/alerts", "")
		return strings.Contains(page, "dewcase: a test") && !strings.Contains(page, "not yet")
	})
}
