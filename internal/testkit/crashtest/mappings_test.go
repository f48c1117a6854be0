package crashtest

import (
	"fmt"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewcase/internal/testkit/patience"

	"github.com/stretchr/testify/require"
)

// Mappings are made and removed by the pages' own routes while a thousand messages
// a second come. What one mapping reads all the while is stored once each; what
// the other reads now and then is stored, or kept and taken afterwards, once each.
func TestMappingsMadeOnThePagesLoseAndDoubleNothing(t *testing.T) {
	d := Serve(t, filepath.Join(t.TempDir(), "data"))
	d.Do(http.MethodPut, "/api/cases/house-1/file", strings.NewReader(reloadHouse), 201)
	line := func(topic string) string {
		return fmt.Sprintf("- {topic: %q, case: house-1, fields: [{quantity: temp_c, pointer: /t, unit: C}], "+
			"time: {pointer: /at, form: ms}}\n", topic)
	}
	const steady, other = "mesh/{logger}", "other/{logger}"
	version := 0
	put := func(text string) {
		t.Helper()
		resp, err := d.Client.PostForm(d.HTTP+"/cases/house-1/mappings",
			url.Values{"version": {fmt.Sprint(version)}, "text": {text}})
		require.NoError(t, err)
		require.NoError(t, resp.Body.Close())
		require.Equal(t, 200, resp.StatusCode)
		require.Contains(t, resp.Request.URL.String(), "saved=1")
		version++
	}
	put(line(steady))

	p := NewPublisher(d.MQTT, "mesh", 500)
	stop, sent := make(chan struct{}), make(chan int)
	began := time.Now()
	go func() {
		at := time.Now().Add(-20 * time.Hour)
		for n := 0; ; n++ {
			select {
			case <-stop:
				sent <- n
				return
			default:
				time.Sleep(time.Until(began.Add(time.Duration(n) * time.Millisecond))) // a thousand a second
				topic := "mesh/n1"
				if n%10 == 9 {
					topic = "other/n2"
				}
				_ = p.Send(Sent{N: n, Topic: topic, Payload: fmt.Appendf(nil, `{"t":%.2f,"at":%d}`, float64(n%1000)/100,
					at.Add(time.Duration(n)*100*time.Millisecond).UnixMilli())})
			}
		}
	}()
	for n := 1; n <= 10; n++ {
		put(line(steady) + line(other))
		patience.Until(t, "some came", func() bool { return p.AckedCount() >= 1000*n-500 })
		put(line(fmt.Sprintf("round-%d/{logger}", n)) + line(steady))
		patience.Until(t, "more came", func() bool { return p.AckedCount() >= 1000*n })
	}
	close(stop)
	n := <-sent
	rate := float64(n) / time.Since(began).Seconds()
	require.NoError(t, p.Flush())
	require.Len(t, p.Acked(), n)
	require.Zero(t, p.Resent(), "nobody was disturbed")
	refused := int(d.Metric(`dewcase_readings_rejected_total{reason="bad_topic"}`))
	require.Positive(t, refused, "some came while nothing read them")
	require.Less(t, refused, n/10, "and some while something did")
	t.Logf("%d messages, %.0f a second, %d changes; %d came while nothing read them", n, rate, version, refused)

	put(line(steady) + line(other))
	patience.Until(t, "the log has them all", func() bool {
		return strings.Contains(string(d.Do(http.MethodGet, "/messages", nil, 200)),
			fmt.Sprintf("%d messages with %d readings of n2", refused, refused))
	})
	resp, err := d.Client.PostForm(d.HTTP+"/messages/kept", url.Values{"case": {"house-1"}})
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	require.Equal(t, 200, resp.StatusCode)
	require.Equal(t, float64(n), d.Metric("dewcase_readings_stored_total"))
	require.Zero(t, d.Metric("dewcase_readings_duplicate_total"))
	require.Zero(t, d.Metric("dewcase_readings_conflict_total"))
	csv := string(d.Do(http.MethodGet, "/api/cases/house-1/readings.csv", nil, 200))
	require.Equal(t, n, strings.Count(csv, "\n")-1)
	require.Equal(t, n/10, strings.Count(csv, ",n2,"))
	require.Zero(t, d.Stop(), d.Log())
	out, status := Run(t, "check", "-data", d.Data)
	require.Zero(t, status, out)
}
