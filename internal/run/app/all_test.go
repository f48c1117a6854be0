package app_test

import (
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/houses"
	"dewcase/internal/roof"
	"dewcase/internal/run/config"
	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/running"
)

// The page, the API and the lists behind the page's links say the same numbers.
func TestAllHousesAreCountedAsTheListShowsThem(t *testing.T) {
	d := running.Start(t, func(*config.Config) {})
	_, page := d.Ask("GET", "/all", "")
	assert.Contains(t, page, "No house is being measured yet.")
	for i := range 12 {
		file := strings.NewReplacer("larch-3", fmt.Sprintf("larch-%d", i), "3 Larch Row", fmt.Sprintf("%d Larch Row", i)).
			Replace(house)
		d.Ask("PUT", fmt.Sprintf("/api/cases/larch-%d/file", i), file, "Content-Type", "application/yaml")
	}
	// One house is heard, one was heard long ago.
	for i, ago := range []time.Duration{time.Minute, 5 * time.Hour} {
		for _, k := range []string{"k1", "k2"} {
			d.Publish(fmt.Sprintf("dewcase/larch-%d/%s", i, k), fmt.Sprintf(`{"time":%q,"temp_c":4,"rh_pct":80}`,
				time.Now().Add(-ago).UTC().Format(time.RFC3339)), false)
		}
	}
	figures := func() (f houses.Figures) {
		_, body := d.Ask("GET", "/api/houses/figures", "")
		require.NoError(t, json.Unmarshal([]byte(body), &f), body)
		return f
	}
	patience.Until(t, "all are summed up", func() bool {
		d.Ask("GET", "/", "") // the list has what is new summed up
		f := figures()
		return f.Needs[roof.NeedReadings] == 10 && f.Summaries.None == 0
	})
	f := figures()
	assert.Equal(t, 12, f.Houses)
	assert.Equal(t, 1, f.Needs[roof.NeedAllSilent])
	assert.Equal(t, 12, f.Week.Observed()+f.Week.Unwatched)
	_, page = d.Ask("GET", "/all", "")
	assert.Equal(t, 12, f.NeedALook)
	assert.Contains(t, page, "12 houses, all of which need a look.")
	assert.Contains(t, page, "A logger or more is silent in 1 house, and in 1 of them every logger.")
	assert.Contains(t, page, "the first since")
	number := regexp.MustCompile(`<a href="/\?(needs|verdict)=([^"]*)">[^<]*</a></th><td class="n">(\d+)</td>`)
	links := number.FindAllStringSubmatch(page, -1)
	require.NotEmpty(t, links)
	for _, l := range links {
		var p struct {
			Found  int
			Houses []struct{ Need, Verdict string }
		}
		asked := l[1] + "=" + l[2]
		_, body := d.Ask("GET", "/api/houses?"+asked, "")
		require.NoError(t, json.Unmarshal([]byte(body), &p), body)
		assert.Equal(t, l[3], fmt.Sprint(p.Found), asked)
		_, list := d.Ask("GET", "/?"+asked, "")
		assert.Equal(t, p.Found, strings.Count(list, `<div class="house-words">`), asked)
		for _, h := range p.Houses {
			if l[1] == "needs" {
				assert.Equal(t, l[2], h.Need)
			}
		}
	}
}
