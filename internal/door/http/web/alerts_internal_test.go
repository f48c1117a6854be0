package web

import (
	"context"
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// busyDesk has seen alerts of 40 houses and unseen ones of 30.
type busyDesk struct{ AlertDesk }

func (busyDesk) Alerts(context.Context, string) (rows []AlertRow, err error) {
	for i := range 70 {
		x := AlertRow{Case: fmt.Sprintf("house-%d", i), House: fmt.Sprintf("%d Long Street", i), Zone: time.UTC, Line: "Wet."}
		if x.State = alert.Acknowledged; i >= 40 {
			x.State = alert.Raised
		}
		rows = append(rows, x)
	}
	return rows, nil
}
func (busyDesk) Letters(context.Context, string) ([]LetterRow, error) { return nil, nil }
func (busyDesk) Channels() []ChannelRow                               { return nil }

type soundStore struct{}

func (soundStore) Incidents(context.Context) ([]roof.Incident, error)        { return nil, nil }
func (soundStore) ConfirmIncidents(context.Context, time.Time, string) error { return nil }

func TestAlertsOfManyHousesAreAPageAndThoseNobodySawStandFirst(t *testing.T) {
	p, err := New(Options{Now: func() time.Time { return time.Unix(1e9, 0) }})
	require.NoError(t, err)
	r := httptest.NewRecorder()
	alertPages{p, busyDesk{}, soundStore{}}.all(r, httptest.NewRequest(http.MethodGet, "/alerts", nil))
	page := html.UnescapeString(r.Body.String())
	assert.Contains(t, page, "70 alerts are in force.")
	assert.Equal(t, alertsOnAPage, strings.Count(page, "Long Street</a>: "))
	assert.Contains(t, page, `20 alerts more: <a href="/?needs=alert">`)
	assert.Equal(t, 30, strings.Count(page, ">Seen</button>"), "all that nobody has seen are on it")
	assert.Less(t, strings.Index(page, "69 Long Street"), strings.Index(page, ">0 Long Street"))
}
