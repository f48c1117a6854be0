package filing

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/exports"
	"dewcase/internal/roof"
)

var at = time.Date(2026, 11, 30, 8, 0, 0, 0, time.UTC)

// blobs is a state in memory.
type blobs map[[2]string][]byte

func (b blobs) PutState(_ context.Context, kind, key string, blob []byte) error {
	b[[2]string{kind, key}] = blob
	return nil
}

func (b blobs) States(_ context.Context, kind string) (out []roof.KeptState, err error) {
	for _, k := range slices.SortedFunc(maps.Keys(b), func(x, y [2]string) int { return strings.Compare(x[1], y[1]) }) {
		if k[0] == kind {
			out = append(out, roof.KeptState{Key: k[1], Blob: b[k]})
		}
	}
	return out, nil
}

func cabinet(t *testing.T) (*Cabinet, string) {
	dir := t.TempDir()
	return New(dir, blobs{}, func() time.Time { return time.Now() }), dir
}

func file(t *testing.T, content string) *os.File {
	name := filepath.Join(t.TempDir(), "x")
	require.NoError(t, os.WriteFile(name, []byte(content), 0o600))
	f, err := os.Open(name)
	require.NoError(t, err)
	t.Cleanup(func() { _ = f.Close() })
	return f
}

func TestAnOriginalComesBackByteByByteUnderItsDigest(t *testing.T) {
	c, _ := cabinet(t)
	const content = "Datum;T\r\n\x00\xff"
	kept, err := c.Keep(t.Context(), file(t, content), roof.Original{Case: "a", Name: "x.csv", At: at, Taken: 3,
		Rejected: 1, Recipe: "usb"})
	require.NoError(t, err)
	sum := sha256.Sum256([]byte(content))
	assert.Equal(t, hex.EncodeToString(sum[:]), kept.SHA256)
	all, err := c.Originals(t.Context(), "a")
	require.NoError(t, err)
	kept.BytesThere = true
	assert.Equal(t, []roof.Original{kept}, all)
	in, name, err := c.Original(t.Context(), "a", kept.SHA256)
	require.NoError(t, err)
	got, err := io.ReadAll(in)
	require.NoError(t, err)
	require.NoError(t, in.Close())
	assert.Equal(t, content, string(got))
	assert.Equal(t, "x.csv", name)

	_, _, err = c.Original(t.Context(), "b", kept.SHA256)
	assert.ErrorIs(t, err, roof.ErrNotFound, "of another house")
	_, _, err = c.Original(t.Context(), "a", "../../etc/passwd")
	assert.ErrorIs(t, err, roof.ErrNotFound)
}

func TestAFileLaidAsideIsThereForItsHouseUntilItIsForgotten(t *testing.T) {
	c, dir := cabinet(t)
	id, err := c.Lay("a", "/somewhere/else/x.csv", strings.NewReader("content"))
	require.NoError(t, err)
	f, name, err := c.Laid("a", id)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	assert.Equal(t, "x.csv", name)
	_, _, err = c.Laid("b", id)
	assert.ErrorIs(t, err, ErrGone)
	for _, hostile := range []string{"", "..", "../originals/x", strings.Repeat("A", 65), id + "/", id + ".name"} {
		_, _, err = c.Laid("a", hostile)
		assert.ErrorIs(t, err, ErrGone, hostile)
	}
	c.Forget(id, "../../x")
	_, _, err = c.Laid("a", id)
	assert.ErrorIs(t, err, ErrGone)
	left, err := os.ReadDir(filepath.Join(dir, "files", "aside"))
	require.NoError(t, err)
	assert.Empty(t, left)
}

func TestFilesThatNobodyConfirmsAreBounded(t *testing.T) {
	c, dir := cabinet(t)
	var first string
	for i := range maxAside + 5 {
		id, err := c.Lay("a", "x.csv", strings.NewReader("content"))
		require.NoError(t, err)
		if i == 0 {
			first = id
			old := time.Now().Add(-time.Hour)
			require.NoError(t, os.Chtimes(filepath.Join(dir, "files", "aside", id), old, old))
		}
	}
	left, err := os.ReadDir(filepath.Join(dir, "files", "aside"))
	require.NoError(t, err)
	assert.Len(t, left, 2*maxAside, "each with its name")
	_, _, err = c.Laid("a", first)
	assert.ErrorIs(t, err, ErrGone)
	c.now = func() time.Time { return time.Now().Add(25 * time.Hour) }
	_, err = c.Lay("a", "x.csv", strings.NewReader("content"))
	require.NoError(t, err)
	left, err = os.ReadDir(filepath.Join(dir, "files", "aside"))
	require.NoError(t, err)
	assert.Len(t, left, 2)
}

func TestOldOriginalsGiveWayAndStayNamed(t *testing.T) {
	c, _ := cabinet(t)
	c.max = 70
	for _, content := range []string{"first", "second", "third"} {
		_, err := c.Keep(t.Context(), file(t, content), roof.Original{Case: "a", Name: content, At: at})
		require.NoError(t, err)
	}
	all, err := c.Originals(t.Context(), "a")
	require.NoError(t, err)
	there := map[string]bool{}
	for _, o := range all {
		there[o.Name] = o.BytesThere
	}
	assert.Equal(t, map[string]bool{"first": false, "second": true, "third": true}, there)
}

func TestARecipeIsKeptUnderItsName(t *testing.T) {
	c, _ := cabinet(t)
	r := exports.Recipe{Name: "usb", Kind: []string{"date", "t"},
		Answers: exports.Answers{Zone: "UTC", Dates: exports.DMY}}
	require.NoError(t, c.KeepRecipe(t.Context(), r))
	got, err := c.Recipes(t.Context())
	require.NoError(t, err)
	assert.Equal(t, []exports.Recipe{r}, got)
}

func TestAChangedOriginalIsNamed(t *testing.T) {
	c, dir := cabinet(t)
	_, _, err := Verify(t.Context(), t.TempDir())
	require.NoError(t, err, "nothing was ever imported")
	var kept []roof.Original
	for _, content := range []string{"one", "two", "three"} {
		o, err := c.Keep(t.Context(), file(t, content), roof.Original{Case: "a", Name: content + ".csv", At: at})
		require.NoError(t, err)
		kept = append(kept, o)
	}
	sound, changed, err := Verify(t.Context(), dir)
	require.NoError(t, err)
	require.Equal(t, 3, sound)
	require.Empty(t, changed)
	other, err := os.ReadFile(c.original(kept[1].SHA256))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(c.original(kept[0].SHA256), other, 0o600))
	require.NoError(t, os.WriteFile(c.original(kept[2].SHA256), other[:len(other)-5], 0o600))
	sound, changed, err = Verify(t.Context(), dir)
	require.NoError(t, err)
	require.Equal(t, 1, sound)
	require.Len(t, changed, 2)
	for _, o := range []roof.Original{kept[0], kept[2]} {
		require.Contains(t, strings.Join(changed, "\n"), "files/originals/"+o.SHA256+".gz: ")
	}
}
