package app_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/running"
)

func forecastOf(minC float64, in time.Duration) string {
	return fmt.Sprintf(`{"min_c": %g, "until": %q}`, minC, time.Now().Add(in).UTC().Format(time.RFC3339))
}

func TestAForecastIsReadStrictly(t *testing.T) {
	d := running.Start(t, nil)
	d.Ask("PUT", "/api/cases/larch-3/file", house)
	const path = "/api/cases/larch-3/forecast"
	in12h := time.Now().Add(12 * time.Hour).UTC().Format(time.RFC3339)
	for _, x := range []struct {
		what, body string
		want       int
	}{
		{"whole", forecastOf(-6, 12*time.Hour), 204},
		{"a word for a number", `{"min_c": "cold", "until": "` + in12h + `"}`, 422},
		{"no time", `{"min_c": -6}`, 422},
		{"no temperature", `{"until": "` + in12h + `"}`, 422},
		{"null", `{"min_c": null, "until": "` + in12h + `"}`, 422},
		{"a key too many", `{"min_c": -6, "until": "` + in12h + `", "max_c": 3}`, 422},
		{"a key twice", `{"min_c": -6, "min_c": 6, "until": "` + in12h + `"}`, 422},
		{"more after it", forecastOf(-6, 12*time.Hour) + `{}`, 422},
		{"a list", `[` + forecastOf(-6, 12*time.Hour) + `]`, 422},
		{"degrees Fahrenheit", forecastOf(70, 12*time.Hour), 422},
		{"in the past", forecastOf(-6, -time.Hour), 422},
		{"next week", forecastOf(-6, 7*24*time.Hour), 422},
		{"no number", `{"min_c": NaN, "until": "` + in12h + `"}`, 422},
		{"empty", ``, 400},
		{"large", `{"min_c": -6, "until": "` + in12h + `"` + strings.Repeat(" ", 5000) + `}`, 413},
	} {
		answer, body := d.Ask("PUT", path, x.body, "Content-Type", "application/json")
		assert.Equal(t, x.want, answer.StatusCode, "%s: %s", x.what, body)
	}
	answer, body := d.Ask("GET", path, "")
	assert.Equal(t, 200, answer.StatusCode)
	assert.Contains(t, body, `"min_c":-6`, "what was refused changed nothing")
	answer, _ = d.Ask("DELETE", path, "")
	assert.Equal(t, 204, answer.StatusCode)
	answer, _ = d.Ask("GET", path, "")
	assert.Equal(t, 404, answer.StatusCode)
	for _, method := range []string{"GET", "PUT", "DELETE"} {
		answer, _ = d.Ask(method, "/api/cases/elsewhere/forecast", forecastOf(-6, time.Hour))
		assert.Equal(t, 404, answer.StatusCode, method)
	}
	answer, _ = d.Ask("POST", path, "")
	assert.Equal(t, http.StatusMethodNotAllowed, answer.StatusCode)
	assert.Equal(t, "GET, HEAD, PUT, DELETE", answer.Header.Get("Allow"))

	var doc struct {
		Paths map[string]map[string]any
	}
	_, body = d.Ask("GET", "/api/openapi.json", "")
	require.NoError(t, json.Unmarshal([]byte(body), &doc))
	assert.Len(t, doc.Paths["/api/cases/{case}/forecast"], 3, "the document names what may be asked")
}

func TestAForecastComesByMQTT(t *testing.T) {
	d := running.Start(t, nil)
	d.Ask("PUT", "/api/cases/larch-3/file", house)
	in := func() string { _, body := d.Ask("GET", "/api/cases/larch-3/forecast", ""); return body }
	d.Publish("dewcase-forecast/larch-3", forecastOf(-4.5, 10*time.Hour), false)
	assert.Contains(t, in(), `"min_c":-4.5`, "an acknowledged forecast is kept")

	for topic, bad := range map[string]string{"dewcase-forecast/larch-3": `{"min_c": 85}`,
		"dewcase-forecast/larch-4": forecastOf(-1, time.Hour), "dewcase-forecast/Larch/3": forecastOf(-1, time.Hour)} {
		d.Publish(topic, bad, false)
	}
	assert.Contains(t, in(), `"min_c":-4.5`)
	_, metrics := d.Ask("GET", "/metrics", "")
	for _, reason := range []string{"bad_payload", "unknown_case", "bad_topic"} {
		assert.Contains(t, metrics, `dewcase_readings_rejected_total{reason="`+reason+`"} 1`)
	}
	patience.Until(t, "it is listed like other rejects", func() bool {
		_, listed := d.Ask("GET", "/api/cases/larch-3/rejects", "")
		return strings.Contains(listed, "dewcase-forecast/larch-3") && strings.Contains(listed, "lowest outdoor temperature")
	})
	_, csv := d.Ask("GET", "/api/cases/larch-3/readings.csv", "")
	assert.Equal(t, 1, strings.Count(csv, "\n"), "no forecast is a reading")

	d.Publish("dewcase-forecast/larch-3", forecastOf(-9, -10*time.Hour), true) // last night's, which a broker still holds
	assert.Contains(t, in(), `"min_c":-4.5`)
	_, metrics = d.Ask("GET", "/metrics", "")
	assert.Contains(t, metrics, `dewcase_readings_rejected_total{reason="bad_payload"} 1`, "and is no fault of anybody")
	d.Publish("dewcase-forecast/larch-3", "", true)
	assert.Contains(t, in(), `"status":404`, "an empty one takes it back")
}
