package app_test

import (
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/credentials"
	"dewcase/internal/run/app"
	"dewcase/internal/run/config"
	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/running"
)

const house = `case: larch-3
property:
  label: 3 Larch Row
  timezone: Europe/London
positions:
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
loggers:
  - {id: k1, interval_s: 300, accuracy: {temp_c: 0.3, rh_pct: 2}, fitted: [{position: void, from: 2026-01-01T00:00:00Z}]}
  - {id: k2, interval_s: 300, accuracy: {temp_c: 0.3}, fitted: [{position: slate, from: 2026-01-01T00:00:00Z}]}
events:
  - {at: 2026-11-02T12:00:00Z, kind: repair, what: void opened, treats: [slate]}
`

// An acknowledged reading is in the record as soon as it is acknowledged.
func TestAnAcknowledgedMessageIsARecord(t *testing.T) {
	d := running.Start(t, nil)
	resp, body := d.Ask("PUT", "/api/cases/larch-3/file", house, "Content-Type", "application/yaml")
	require.Equal(t, http.StatusCreated, resp.StatusCode, body)
	d.Publish("dewcase/larch-3/k1", `{"time":"2026-11-20T06:10:00.125Z","temp_c":4.31,"rh_pct":92.4,"battery_pct":88}`,
		false)
	d.Publish("dewcase/larch-3/k1", `[{"time":"2026-11-20T06:15:00Z","temp_c":4.2},{"time":"2026-11-20T06:15:00Z","rh_pct":93},{"time":"2026-11-20T06:20:00Z","temp_c":"warm"}]`, false)
	d.Publish("dewcase/larch-3/k2", `[{"bn":"x:","bt":1763619300,"n":"anything","u":"Cel","v":2.5}]`, false)
	d.Publish("dewcase/larch-3/k1", `{"temp_c":4}`, true)
	d.Publish("dewcase/nowhere/k1", `{"temp_c":4}`, false)
	d.Publish("dewcase/larch-3/k1", `not json`, false)
	_, csv := d.Ask("GET", "/api/cases/larch-3/readings.csv", "")
	assert.Equal(t, "time,logger,temp_c,rh_pct,battery_pct,rain_mm,wood_pct,wind_ms,sun_w_m2\n"+
		"2026-11-20T06:10:00.125Z,"+
		"k1,4.31,92.4,88,,,,\n2026-11-20T06:15:00Z,k1,4.2,93,,,,,\n2025-11-20T06:15:00Z,k2,2.5,,,,,,\n", csv)
	assert.Equal(t, 3.0, d.Metric("dewcase_readings_stored_total"))
	for reason, want := range map[string]float64{"bad_value": 1, "retained_without_time": 1, "unknown_case": 1,
		"bad_payload": 1} {
		assert.Equal(t, want, d.Metric(`dewcase_readings_rejected_total{reason="`+reason+`"}`), reason)
	}
	patience.Until(t, "rejects of the case can be looked up", func() bool {
		_, body := d.Ask("GET", "/api/cases/larch-3/rejects", "")
		var rows []map[string]any
		return json.Unmarshal([]byte(body), &rows) == nil && len(rows) == 3
	})
}

func TestImportedRowsAreCountedByWhatBecameOfThem(t *testing.T) {
	d := running.Start(t, nil)
	_, body := d.Ask("PUT", "/api/cases/larch-3/file", house)
	require.Empty(t, body)
	resp, body := d.Ask("POST", "/api/cases/larch-3/readings",
		"time,logger,"+
			"temp_c,rh_pct\n2026-11-20T06:00:00Z,"+
			"k1,4,90\n2026-11-20T06:00:00Z,"+
			"k1,4,90\n2026-11-20T06:00:00Z,"+
			"k1,5,90\n2026-11-20T06:05:00Z,"+
			"k1,4,\n2026-11-20T07:05:00+01:00,"+
			"k1,,91\n2026-11-20T06:10:00Z,k1,200,90\nx\n2026-11-20T06:10:00Z,stranger,4,90\n", "Content-Type", "text/csv")
	require.Equal(t, http.StatusOK, resp.StatusCode, body)
	var rep struct {
		Stored, Merged, Duplicates, Conflicts int
		Rejected                              []struct {
			Line   int
			Reason string
		}
	}
	require.NoError(t, json.Unmarshal([]byte(body), &rep))
	assert.Equal(t, 3, rep.Stored)
	assert.Equal(t, 1, rep.Merged)
	assert.Equal(t, 1, rep.Duplicates)
	assert.Equal(t, 1, rep.Conflicts)
	require.Len(t, rep.Rejected, 2)
	assert.Equal(t, 7, rep.Rejected[0].Line)
	assert.Equal(t, "temp_out_of_range", rep.Rejected[0].Reason)
	assert.Equal(t, 8, rep.Rejected[1].Line)
	resp, body = d.Ask("POST", "/api/cases/larch-3/readings", "time;logger;temp_c;rh_pct\n")
	assert.Equal(t, http.StatusUnprocessableEntity, resp.StatusCode)
	assert.Contains(t, body, ":1:")
}

func TestErrorsAreProblemObjects(t *testing.T) {
	d := running.Start(t, func(c *config.Config) { c.HTTP.MaxBodyMB = 1 })
	_, _ = d.Ask("PUT", "/api/cases/larch-3/file", house)
	for _, c := range []struct {
		name, method, path, body string
		header                   []string
		status                   []int
	}{
		{"no such case", "GET", "/api/cases/none/file", "", nil, []int{404}},
		{"no such route", "GET", "/api/nothing", "", nil, []int{404}},
		{"timeline of no case", "GET", "/api/cases/none/timeline", "", nil, []int{404}},
		{"readings for no case", "POST", "/api/cases/none/readings", "time,logger,temp_c,rh_pct\n", nil, []int{404}},
		{"readings of no case", "GET", "/api/cases/none/readings.csv", "", nil, []int{404}},
		{"assessment of no case", "GET", "/api/cases/none/assessment", "", nil, []int{404}},
		{"alerts of no case", "GET", "/api/cases/none/alerts", "", nil, []int{404}},
		{"live of no case", "GET", "/api/cases/none/live", "", nil, []int{404}},
		{"a time that is none", "GET", "/api/cases/larch-3/timeline?from=yesterday", "", nil, []int{400}},
		{"a step that is none", "GET", "/api/cases/larch-3/timeline?step=1.5", "", nil, []int{400}},
		{"ten years by the second", "GET",
			"/api/cases/larch-3/timeline?from=2016-01-01T00:00:00Z&to=2026-01-01T00:00:00Z&step=1", "", nil, []int{400}},
		{"a faulty file", "PUT", "/api/cases/larch-3/file", "case: larch-3\nproprety: {}\n", nil, []int{422}},
		{"another case's file", "PUT", "/api/cases/larch-4/file", house, nil, []int{422}},
		{"a file of 1 MiB and more", "PUT", "/api/cases/larch-3/file", house + "#" + strings.Repeat("x", 1<<20), nil,
			[]int{413}},
		{"readings over the limit", "POST", "/api/cases/larch-3/readings", "time,logger,temp_c,rh_pct\n" +
			strings.Repeat("2026-11-20T06:00:00Z,k1,4,90\n", 50_000), nil, []int{413}},
		{"a case to be created that is there", "PUT", "/api/cases/larch-3/file", house, []string{"If-None-Match", "*"},
			[]int{412}},
		{"a method that a route does not take", "DELETE", "/api/cases", "", nil, []int{405}},
		{"a body where none is read", "POST", "/api/cases/larch-3/assessment", "{}", nil, []int{405}},
		{"an overtaken change", "PUT", "/api/cases/larch-3/file", house, []string{"If-Match", `"other"`}, []int{412}},
		{"a foreign host", "GET", "/api/cases", "", []string{"Host", "evil.example"}, []int{403, 421}},
		{"a change from another site", "POST", "/api/cases/larch-3/readings", "", []string{"Origin", "http://evil.example"},
			[]int{403}},
		{"a change from another site by its fetch metadata", "PUT", "/api/cases/larch-3/file", house,
			[]string{"Sec-Fetch-Site", "cross-site"}, []int{403}},
		{"a wrong token", "GET", "/api/cases", "", []string{"Authorization", "Bearer wrong"}, []int{401}},
	} {
		t.Run(c.name, func(t *testing.T) {
			resp, body := d.Ask(c.method, c.path, c.body, c.header...)
			assert.Contains(t, c.status, resp.StatusCode, body)
			assert.Equal(t, "application/problem+json", resp.Header.Get("Content-Type"), body)
			var p struct {
				Title, Detail string
				Status        int
			}
			require.NoError(t, json.Unmarshal([]byte(body), &p), body)
			assert.Equal(t, resp.StatusCode, p.Status)
			assert.NotEmpty(t, p.Detail)
		})
	}
}

// "At most 1 MiB" (contract, section 5) includes a file of just that size.
func TestACaseFileOfOneMebibyteIsTaken(t *testing.T) {
	d := running.Start(t, nil)
	file := house + "#" + strings.Repeat("x", 1<<20-len(house)-1)
	resp, body := d.Ask("PUT", "/api/cases/larch-3/file", file)
	assert.Equal(t, http.StatusCreated, resp.StatusCode, body)
	resp, _ = d.Ask("PUT", "/api/cases/larch-3/file", file+"x")
	assert.Equal(t, http.StatusRequestEntityTooLarge, resp.StatusCode)
}

func TestOneOfManyCreatesACase(t *testing.T) {
	d := running.Start(t, nil)
	codes := make(chan int, 8)
	for range cap(codes) {
		go func() {
			r, err := http.NewRequest("PUT", d.HTTP+"/api/cases/larch-3/file", strings.NewReader(house))
			if err != nil {
				codes <- 0
				return
			}
			r.Header.Set("If-None-Match", "*")
			resp, err := http.DefaultClient.Do(r)
			if err != nil {
				codes <- 0
				return
			}
			_ = resp.Body.Close()
			codes <- resp.StatusCode
		}()
	}
	count := map[int]int{}
	for range cap(codes) {
		count[<-codes]++
	}
	assert.Equal(t, map[int]int{http.StatusCreated: 1, http.StatusPreconditionFailed: 7}, count)
}

func TestHEADIsAnsweredAsGETWithoutItsBody(t *testing.T) {
	d := running.Start(t, nil)
	_, _ = d.Ask("PUT", "/api/cases/larch-3/file", house)
	for _, path := range []string{"/healthz", "/readyz", "/metrics", "/", "/api/cases", "/api/cases/larch-3/file",
		"/api/cases/larch-3/readings.csv", "/api/openapi.json"} {
		resp, body := d.Ask("HEAD", path, "")
		assert.Equal(t, http.StatusOK, resp.StatusCode, path)
		assert.Empty(t, body, path)
	}
	resp, _ := d.Ask("DELETE", "/api/cases/larch-3/file", "")
	assert.Equal(t, "GET, HEAD, PUT", resp.Header.Get("Allow"))
}

func TestAChangeFromAnOldVersionIsRefused(t *testing.T) {
	d := running.Start(t, nil)
	resp, _ := d.Ask("PUT", "/api/cases/larch-3/file", house)
	first := resp.Header.Get("ETag")
	resp, body := d.Ask("GET", "/api/cases/larch-3/file", "")
	assert.Equal(t, house, body, "the file comes back as it was written")
	assert.Equal(t, first, resp.Header.Get("ETag"))
	resp, _ = d.Ask("PUT", "/api/cases/larch-3/file", house+"# checked on site\n", "If-Match", first)
	assert.Equal(t, http.StatusNoContent, resp.StatusCode)
	resp, _ = d.Ask("PUT", "/api/cases/larch-3/file", house, "If-Match", first)
	assert.Equal(t, http.StatusPreconditionFailed, resp.StatusCode)
	resp, _ = d.Ask("GET", "/api/cases/larch-3/file", "", "If-None-Match", first)
	assert.Equal(t, http.StatusOK, resp.StatusCode)
}

// Every answer that the OpenAPI document describes keeps to its schema, and
// every route it names is there.
func TestAnswersKeepToTheOpenAPIDocument(t *testing.T) {
	d := running.Start(t, nil)
	_, _ = d.Ask("PUT", "/api/cases/larch-3/file", house)
	csv := "time,logger,temp_c,rh_pct\n"
	for i := range 600 {
		at := time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(i) * 5 * time.Minute).Format(time.RFC3339)
		csv += fmt.Sprintf("%s,k1,%.2f,%.1f\n%s,k2,%.2f,\n", at, 4+0.01*float64(i%50), 90+float64(i%9), at,
			3.5-0.01*float64(i%70))
	}
	resp, report := d.Ask("POST", "/api/cases/larch-3/readings", csv+"2026-11-01T00:00:00Z,k1,warm,90\n")
	require.Equal(t, http.StatusOK, resp.StatusCode, report)
	resp, body := d.Ask("PUT", "/api/cases/larch-3/forecast", forecastOf(-3, time.Hour))
	require.Equal(t, http.StatusNoContent, resp.StatusCode, body)
	resp, body = d.Ask("GET", "/api/openapi.json", "")
	require.Equal(t, http.StatusOK, resp.StatusCode)
	document, err := jsonschema.UnmarshalJSON(strings.NewReader(body))
	require.NoError(t, err)
	doc := document.(map[string]any)
	assert.True(t, strings.HasPrefix(doc["openapi"].(string), "3.1"))
	schemas := jsonschema.NewCompiler()
	schemas.AssertFormat()
	require.NoError(t, schemas.AddResource("openapi.json", document))
	paths := doc["paths"].(map[string]any)
	keeps := func(path, method, answer string) {
		at := strings.NewReplacer("~", "~0", "/", "~1", "{", "%7B", "}", "%7D").Replace(path)
		schema, err := schemas.Compile("openapi.json#/paths/" + at + "/" + method +
			"/responses/200/content/application~1json/schema")
		require.NoError(t, err, path)
		value, err := jsonschema.UnmarshalJSON(strings.NewReader(answer))
		require.NoError(t, err)
		assert.NoError(t, schema.Validate(value), "%s answers as described", path)
	}
	keeps("/api/cases/{case}/readings", "post", report)
	for path, methods := range paths {
		if methods.(map[string]any)["get"] == nil || strings.HasSuffix(path, "/live") {
			continue
		}
		resp, body := d.Ask("GET", strings.NewReplacer("{case}", "larch-3", "{version}", "1").Replace(path), "")
		if !assert.Equal(t, http.StatusOK, resp.StatusCode, "%s: %s", path, body) ||
			!strings.HasPrefix(resp.Header.Get("Content-Type"), "application/json") {
			continue
		}
		keeps(path, "get", body)
	}
	for _, path := range []string{"/api/cases", "/api/cases/{case}/file", "/api/cases/{case}/readings",
		"/api/cases/{case}/readings.csv", "/api/cases/{case}/timeline", "/api/cases/{case}/assessment",
		"/api/cases/{case}/alerts", "/api/cases/{case}/live"} {
		assert.Contains(t, paths, path)
	}
}

func TestListeningWiderNeedsCredentials(t *testing.T) {
	c := config.Default()
	c.Data, c.HTTP.Listen, c.MQTT.Listen = t.TempDir(), "0.0.0.0:0", "127.0.0.1:0"
	_, err := app.New(t.Context(), app.Options{Config: c, Log: slog.New(slog.DiscardHandler), Out: io.Discard})
	require.ErrorContains(t, err, "dewcase password")
	c.HTTP.Listen, c.MQTT.Listen = "127.0.0.1:0", "0.0.0.0:0"
	_, err = app.New(t.Context(), app.Options{Config: c, Log: slog.New(slog.DiscardHandler), Out: io.Discard})
	require.ErrorContains(t, err, "mqtt.users_file")
}

func TestTheAdministratorsTokenOpensEveryRoute(t *testing.T) {
	t.Setenv("DEWCASE_TOKEN", "opens-everything")
	d := running.Start(t, func(c *config.Config) { c.HTTP.Listen = "0.0.0.0:0" })
	require.Contains(t, d.HTTP, "http://0.0.0.0:", "shown as it was asked for")
	d.HTTP = strings.Replace(d.HTTP, "0.0.0.0", "127.0.0.1", 1)
	for _, path := range []string{"/api/cases", "/metrics", "/api/openapi.json"} {
		resp, _ := d.Ask("GET", path, "")
		assert.Equal(t, http.StatusUnauthorized, resp.StatusCode, path)
		resp, _ = d.Ask("GET", path, "", "Authorization", "Bearer opens-everything")
		assert.Equal(t, http.StatusOK, resp.StatusCode, path)
	}
	resp, _ := d.Ask("GET", "/healthz", "")
	assert.Equal(t, http.StatusOK, resp.StatusCode)
}

func TestASecondDaemonOnTheSameFolderIsRefused(t *testing.T) {
	c := config.Default()
	c.Data, c.HTTP.Listen, c.MQTT.Listen = t.TempDir(), "127.0.0.1:0", "127.0.0.1:0"
	one, err := app.New(t.Context(), app.Options{Config: c, Log: slog.New(slog.DiscardHandler), Out: io.Discard})
	require.NoError(t, err)
	defer func() { assert.NoError(t, one.Stop()) }()
	_, err = app.New(t.Context(), app.Options{Config: c, Log: slog.New(slog.DiscardHandler), Out: io.Discard})
	require.ErrorContains(t, err, c.Data)
}

func TestWatchersSeeReadingsAsTheyAreStored(t *testing.T) {
	d := running.Start(t, nil)
	_, _ = d.Ask("PUT", "/api/cases/larch-3/file", house)
	resp, err := http.Get(d.HTTP + "/api/cases/larch-3/live")
	require.NoError(t, err)
	defer resp.Body.Close()
	assert.Equal(t, "text/event-stream", resp.Header.Get("Content-Type"))
	d.Publish("dewcase/larch-3/k1", `{"time":"2026-11-20T06:10:00Z","temp_c":5,"rh_pct":80}`, false)
	buf, seen := make([]byte, 4096), ""
	for !strings.Contains(seen, "\n\n") || !strings.Contains(seen, "data:") {
		n, err := resp.Body.Read(buf)
		require.NoError(t, err)
		seen += string(buf[:n])
	}
	assert.Contains(t, seen, "event: reading\ndata: {\"position\":\"void\",\"logger\":\"k1\"")
	assert.Contains(t, seen, `"dew_point_c":1.8`)
}

// Who is not in yet is offered the way in and nothing else.
func TestTheLogInPageOffersTheWayInOnly(t *testing.T) {
	hash, err := credentials.Hash("wet battens")
	require.NoError(t, err)
	t.Setenv("DEWCASE_PASSWORD_HASH", hash)
	d := running.Start(t, nil)
	resp, body := d.Ask("GET", "/login", "")
	require.Equal(t, http.StatusOK, resp.StatusCode)
	assert.True(t, strings.Contains(body, `type="password"`), "a password is asked for")
	assert.False(t, strings.Contains(body, "/logout"), "nobody to log out")
	assert.False(t, strings.Contains(body, `href="/messages"`), "no page that is shut")
	resp, _ = d.Ask("GET", "/", "")
	assert.Equal(t, http.StatusSeeOther, resp.StatusCode)
}
