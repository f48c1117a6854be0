package app_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/running"
)

// What was answered before is given again, and never once a reading or the case
// file says otherwise.
func TestATimelineThatIsRememberedIsDroppedByWhatBearsOnIt(t *testing.T) {
	d := running.Start(t, nil)
	put := func(file string) {
		resp, body := d.Ask("PUT", "/api/cases/larch-3/file", file)
		require.Less(t, resp.StatusCode, 300, body)
	}
	put(house)
	ask := func() (tag, body string) {
		var resp *http.Response
		resp, body = d.Ask("GET",
			"/api/cases/larch-3/timeline?from=2026-11-20T00:00:00Z&to=2026-11-21T00:00:00Z&step=3600", "")
		require.Equal(t, http.StatusOK, resp.StatusCode, body)
		return resp.Header.Get("ETag"), body
	}
	tag, body := ask()
	for n, change := range []func(){
		func() {
			d.Publish("dewcase/larch-3/k1", `{"time":"2026-11-20T06:10:00Z","temp_c":4.31,"rh_pct":92.4}`, false)
			d.Publish("dewcase/larch-3/k1", `{"time":"2026-11-20T06:15:00Z","temp_c":4.31,"rh_pct":92.4}`, false)
		},
		func() {
			d.Publish("dewcase/larch-3/k1", `{"time":"2026-11-20T06:20:00Z","temp_c":4.5,"rh_pct":92.4}`, false)
		},
		func() {
			resp, body := d.Ask("POST", "/api/cases/larch-3/readings",
				"time,logger,temp_c,rh_pct\n2026-11-20T06:05:00Z,k1,4.1,90\n")
			require.Equal(t, http.StatusOK, resp.StatusCode, body)
		},
		func() {
			put(strings.Replace(house, "id: k1,", "id: k1, offsets: [{from: 2026-01-01T00:00:00Z, temp_c: 0.5}],", 1))
		},
		func() { put(house + "  - {at: 2026-11-20T12:00:00Z, kind: note, what: heard}\n") },
	} {
		same, twice := ask()
		require.Equal(t, tag, same)
		require.Equal(t, body, twice)
		change()
		another, changed := ask()
		require.NotEqual(t, tag, another, "change %d", n)
		require.NotEqual(t, body, changed, "change %d", n)
		tag, body = another, changed
	}
	d.Publish("dewcase/larch-3/k1", `{"time":"2026-11-20T06:20:00Z","temp_c":4.5,"rh_pct":92.4}`, false)
	same, twice := ask()
	require.Equal(t, fmt.Sprint(tag, body), fmt.Sprint(same, twice), "a reading that is there already")
}
