package app

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/houses"
	"dewcase/internal/run/config"
)

// What an instance answered last goes on being counted, as of then and with why it
// does not answer now; it is asked once in a while, however often somebody looks.
func TestAnInstanceThatIsAwayIsCountedAsItWas(t *testing.T) {
	now := time.Date(2026, 11, 30, 7, 0, 0, 0, time.UTC)
	asked, away := 0, false
	south := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		asked++
		if away {
			http.Error(w, "away", http.StatusServiceUnavailable)
			return
		}
		assert.NoError(t, json.NewEncoder(w).Encode(houses.Figures{At: now, Houses: 7}))
	}))
	defer south.Close()
	o, err := newOtherInstances(config.Config{Others: []config.Instance{{Name: "South", URL: south.URL + "/"}}},
		func() time.Time { return now })
	require.NoError(t, err)
	for range 3 {
		one := o.figures(t.Context())[0]
		require.Empty(t, one.Failed)
		assert.Equal(t, 7, one.Figures.Houses)
	}
	assert.Equal(t, 1, asked)
	first := now
	away, now = true, now.Add(time.Minute)
	for range 3 {
		one := o.figures(t.Context())[0]
		assert.Equal(t, "it answered 503 Service Unavailable", one.Failed)
		assert.Equal(t, first, one.Figures.At)
		assert.Equal(t, 7, one.Figures.Houses)
	}
	assert.Equal(t, 2, asked)
	away, now = false, now.Add(time.Minute)
	assert.Empty(t, o.figures(t.Context())[0].Failed)
}
