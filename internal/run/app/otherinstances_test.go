package app_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/http/api"
	"dewcase/internal/flow/houses"
	"dewcase/internal/run/config"
	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/running"
)

// One instance counts the houses of another with its own, by a token that reads the
// counts and nothing else; one that does not answer is named, and not counted.
func TestHousesAreCountedOverInstances(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		file := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		return file
	}
	token, line := credentials.NewPushToken("north", []string{credentials.Counts})
	_, other := credentials.NewPushToken("larch-3/k1", nil)
	admin := strings.Repeat("an administrator's token ", 2)
	south := running.Start(t, func(c *config.Config) {
		c.HTTP.PushFile, c.HTTP.TokenFile = write("tokens", line+"\n"+other+"\n"), write("admin", admin)
	})
	broken := httptest.NewServer(http.NotFoundHandler())
	defer broken.Close()
	north := running.Start(t, func(c *config.Config) {
		c.Others = []config.Instance{{Name: "South", URL: south.HTTP, TokenFile: write("south", token)},
			{Name: "West", URL: broken.URL}}
	})
	put := func(d *running.Daemon, n int, more ...string) {
		for i := range n {
			id := fmt.Sprintf("larch-%d", i)
			file := strings.ReplaceAll(house, "larch-3", id)
			resp, said := d.Ask("PUT", "/api/cases/"+id+"/file", file, append(more, "Content-Type", "application/yaml")...)
			require.Equal(t, 201, resp.StatusCode, said)
		}
	}
	put(north, 2)
	put(south, 3, "Authorization", "Bearer "+admin)
	patience.Until(t, "the houses are listed", func() bool {
		_, body := south.Ask("GET", "/api/houses/figures", "", "Authorization", "Bearer "+token)
		return strings.Contains(body, `"houses":3`)
	})
	_, body := north.Ask("GET", "/api/houses/figures/instances", "")
	var p houses.Pooled
	require.NoError(t, json.Unmarshal([]byte(body), &p), body)
	assert.Equal(t, 5, p.Figures.Houses)
	assert.Equal(t, 1, p.Missing)
	require.Len(t, p.Instances, 3)
	assert.Equal(t, 3, p.Instances[1].Figures.Houses)
	assert.Contains(t, p.Instances[2].Failed, "404")
	_, body = north.Ask("GET", "/api/houses/figures", "")
	assert.Contains(t, body, `"houses":2`, "its own alone")
	_, page := north.Ask("GET", "/all?of=instances", "")
	assert.Contains(t, page, "5 houses")
	assert.Contains(t, page, "Counted over 2 of 3 instances")
	assert.Contains(t, page, "South</a> <span class=\"sub\">3 houses as of")
	assert.Contains(t, page, "Did not answer, and its houses are not counted: it answered 404")
	assert.NotContains(t, page, `href="/?needs=`, "the list is of this instance alone")
	_, page = north.Ask("GET", "/all", "")
	assert.Contains(t, page, "/all?of=instances")

	for _, path := range []string{"/api/cases", "/api/houses", "/api/houses/figures/instances", "/all"} {
		resp, _ := south.Ask("GET", path, "", "Authorization", "Bearer "+token)
		assert.Equal(t, http.StatusUnauthorized, resp.StatusCode, path)
	}
	resp, _ := south.Ask("POST", api.PushPath+"dewcase/larch-1/k1", "{}", "Authorization", "Bearer "+token)
	assert.Equal(t, http.StatusForbidden, resp.StatusCode)
}
