package app_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/run/config"
	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/running"
)

// The list is paged, searched and sorted over summaries that outlive a restart,
// and follows what people and loggers do.
func TestTheListOfHousesFollowsWhatHappens(t *testing.T) {
	dir := t.TempDir()
	at := func(c *config.Config) { c.Data = dir }
	has := func(d *running.Daemon, path string, want ...string) string {
		t.Helper()
		_, page := d.Ask("GET", path, "")
		for _, w := range want {
			assert.Contains(t, page, w, path)
		}
		return page
	}
	rows := func(page string) int { return strings.Count(page, `<div class="house-words">`) }
	t.Run("first", func(t *testing.T) {
		d := running.Start(t, at)
		has(d, "/", "No house is being measured yet.")
		for i := range 60 {
			file := strings.NewReplacer("larch-3", fmt.Sprintf("larch-%d", i), "3 Larch Row", fmt.Sprintf("%d Larch Row", i)).
				Replace(house)
			d.Ask("PUT", fmt.Sprintf("/api/cases/larch-%d/file", i), file, "Content-Type", "application/yaml")
		}
		has(d, "/?page=2") // the list waits for the houses that it shows
		page := has(d, "/", "60 houses, all of which need a look.", "No reading has come from a fitted logger yet.",
			"Houses 1 to 50 of 60.", `href="/?page=2"`)
		assert.Equal(t, 50, rows(page))
		assert.NotContains(t, page, "being summed up", "the list waits for houses that are new")
		assert.Equal(t, 10, rows(has(d, "/?page=2", "Houses 51 to 60 of 60.", `href="/?page=1"`)))
		assert.Equal(t, 11, rows(has(d, "/?q=3&sort=name", "13 Larch Row", "3 Larch Row"))-4)
		has(d, "/?q=elm", "No house has “elm” in its name.")
		now := time.Now().UTC()
		for _, k := range []string{"k1", "k2"} {
			d.Publish("dewcase/larch-5/"+k, `{"time":"`+now.Format(time.RFC3339)+`","temp_c":4,"rh_pct":80}`, false)
		}
		silent := func() int { return strings.Count(has(d, "/?q=larch-5"), "No reading has come") }
		patience.Until(t, "all but one of 11 are silent", func() bool { return silent() == 10 })
	})
	t.Run("restarted", func(t *testing.T) {
		d := running.Start(t, at)
		assert.NotContains(t, has(d, "/", "60 houses, "), "being summed up")
		assert.Equal(t, 10, strings.Count(has(d, "/?q=larch-5&sort=name"), "No reading has come"))
		file := strings.NewReplacer("larch-3", "larch-9", "3 Larch Row", "9 Elm Row").Replace(house)
		d.Ask("PUT", "/api/cases/larch-9/file", file, "Content-Type", "application/yaml")
		patience.Until(t, "it is found by its new name", func() bool {
			_, page := d.Ask("GET", "/?q=elm", "")
			return rows(page) == 1
		})
	})
}

// A house with an alert stands under it until somebody has seen it.
func TestTheListIsNarrowedToHousesWithAlertsThatNobodyHasSeen(t *testing.T) {
	now := running.Ticking(morning)
	d := running.StartAt(t, now, nil)
	d.Ask("PUT", "/api/cases/larch-3/file", dampHouse)
	d.Ask("PUT", "/api/cases/elm-1/file", strings.NewReplacer("larch-3", "elm-1", "3 Larch Row", "1 Elm Row").
		Replace(house))
	d.Ask("POST", "/api/cases/larch-3/readings", dampRecord(12, now()), "Content-Type", "text/csv")
	has := func(path string, want ...string) func() bool {
		return func() bool {
			_, page := d.Ask("GET", path, "")
			for _, w := range want {
				if !strings.Contains(page, w) {
					return false
				}
			}
			return true
		}
	}
	patience.Until(t, "the house with an alert is listed",
		has("/?needs=alert&cause=undetermined&verdict=none&sort=name", "1 of 2 houses", "3 Larch Row"))
	assert.True(t, has("/?needs=alert&verdict=worked", "No house is of that kind.")())
	seen := regexp.MustCompile(`acknowledge"><input type="hidden" name="alert" value="([^"]+)"`)
	none := has("/?needs=alert", "No house is of that kind.")
	patience.Until(t, "each alert is seen", func() bool {
		_, page := d.Ask("GET", "/cases/larch-3/alerts", "")
		for _, id := range seen.FindAllStringSubmatch(page, -1) {
			d.Ask("POST", "/cases/larch-3/alerts/acknowledge", "alert="+id[1], "Content-Type",
				"application/x-www-form-urlencoded")
		}
		return none()
	})
	assert.True(t, has("/", "2 houses")())
}
