package app_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/running"
)

type kept struct {
	Version int
	ETag    string
	At      time.Time
	By      string
	Size    int `json:"size_bytes"`
	Removed bool
}

func history(d *running.Daemon, query string) (out []kept) {
	d.T.Helper()
	resp, body := d.Ask("GET", "/api/cases/larch-3/file/history"+query, "")
	require.Equal(d.T, http.StatusOK, resp.StatusCode, body)
	require.NoError(d.T, json.Unmarshal([]byte(body), &out))
	return out
}

func TestWhoChangedACaseFileWhenAndToWhatIsKeptAndShown(t *testing.T) {
	d := running.Start(t, nil)
	began := time.Now().Add(-time.Second)
	longer := house + "# checked on site\n"
	for _, file := range []string{house, longer, longer, house} {
		resp, body := d.Ask("PUT", "/api/cases/larch-3/file", file)
		require.Less(t, resp.StatusCode, 300, body)
	}
	list := history(d, "")
	require.Len(t, list, 3, "saving what is there already is no change")
	sum := sha256.Sum256([]byte(house))
	for i, want := range []kept{{Version: 3, Size: len(house)}, {Version: 2, Size: len(longer)},
		{Version: 1, Size: len(house)}} {
		assert.Equal(t, want.Version, list[i].Version)
		assert.Equal(t, want.Size, list[i].Size)
		assert.Equal(t, "this machine", list[i].By)
		assert.WithinRange(t, list[i].At, began, time.Now().Add(time.Second))
		assert.False(t, list[i].Removed)
	}
	assert.Equal(t, hex.EncodeToString(sum[:]), list[0].ETag)
	assert.Equal(t, list[0].ETag, list[2].ETag)
	assert.Equal(t, list[1:2], history(d, "?limit=1&before=3"))
	assert.Equal(t, []kept{}, history(d, "?before=1"))
	for version, want := range map[string]string{"1": house, "2": longer, list[1].ETag: longer, list[0].ETag: house} {
		resp, body := d.Ask("GET", "/api/cases/larch-3/file/history/"+version, "")
		assert.Equal(t, http.StatusOK, resp.StatusCode, version)
		assert.Equal(t, want, body, version)
		assert.Equal(t, "application/yaml; charset=utf-8", resp.Header.Get("Content-Type"))
	}
	for path, status := range map[string]int{
		"/api/cases/larch-3/file/history/4":     404,
		"/api/cases/larch-3/file/history/0":     422,
		"/api/cases/larch-3/file/history/later": 422,
		"/api/cases/none/file/history":          404,
		"/api/cases/none/file/history/1":        404,
	} {
		resp, body := d.Ask("GET", path, "")
		assert.Equal(t, status, resp.StatusCode, body)
		assert.Equal(t, "application/problem+json", resp.Header.Get("Content-Type"))
	}
}
