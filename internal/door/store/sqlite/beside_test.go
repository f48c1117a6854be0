package sqlite

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestABackupCarriesFilesBesideTheStore(t *testing.T) {
	dir, to := t.TempDir(), filepath.Join(t.TempDir(), "backup.db")
	s, err := Open(t.Context(), dir, Options{})
	require.NoError(t, err)
	require.NoError(t, s.PutState(t.Context(), "original", "a/x", []byte("{}")))
	files := map[string][]byte{"files/originals/a.gz": bytes.Repeat([]byte("roof"), besidePart/2), "files/b": {},
		"files/c": []byte("x")}
	var names []string
	for name, content := range files {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o700))
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), content, 0o600))
		names = append(names, name)
	}
	_, err = Backup(t.Context(), dir, to, append(names, "files/gone")...)
	require.NoError(t, err, "also while the store is open")
	require.NoError(t, s.Close())

	fresh := filepath.Join(t.TempDir(), "data")
	_, err = Restore(t.Context(), to, fresh)
	require.NoError(t, err)
	for name, content := range files {
		got, err := os.ReadFile(filepath.Join(fresh, name))
		require.NoError(t, err)
		require.True(t, bytes.Equal(content, got), name)
	}
	require.NoFileExists(t, filepath.Join(fresh, "files/gone"))
	again, err := Open(t.Context(), fresh, Options{})
	require.NoError(t, err)
	defer again.Close()
	var n int
	require.NoError(t, again.read.QueryRow(`SELECT count(*) FROM sqlite_master WHERE name = 'beside'`).Scan(&n))
	require.Zero(t, n, "the store itself holds none of them")
	info, err := os.Stat(filepath.Join(fresh, fileName))
	require.NoError(t, err)
	require.Less(t, info.Size(), int64(besidePart))
}

// A backup that was made to do harm reaches nothing outside the folder.
func TestAFileOfABackupLiesInItsFolderOrNowhere(t *testing.T) {
	dir, to := t.TempDir(), filepath.Join(t.TempDir(), "backup.db")
	s, err := Open(t.Context(), dir, Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	require.NoError(t, os.Mkdir(filepath.Join(dir, "files"), 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "files", "x"), []byte("x"), 0o600))
	_, err = Backup(t.Context(), dir, to, "files/x")
	require.NoError(t, err)
	for _, evil := range []string{"../evil", "files/../../evil", "dewcase.db", "password-hash"} {
		db, err := openAlone(to)
		require.NoError(t, err)
		_, err = db.Exec(`UPDATE beside SET name = ?`, evil)
		require.NoError(t, err)
		require.NoError(t, db.Close())
		parent := t.TempDir()
		_, err = Restore(t.Context(), to, filepath.Join(parent, "data"))
		require.ErrorContains(t, err, evil)
		require.NoFileExists(t, filepath.Join(parent, "evil"))
		require.NoFileExists(t, filepath.Join(parent, "data", fileName))
		require.NoFileExists(t, filepath.Join(parent, "data", "password-hash"))
	}
}
