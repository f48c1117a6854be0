package sqlite

import (
	"database/sql"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/benchwinter"
	"dewcase/internal/testkit/storetest"
)

// rowsOf makes a store with days of one logger as rows, and closes it.
func rowsOf(t *testing.T, days int) (dir string, readings []roof.Reading) {
	dir = t.TempDir()
	s, err := Open(t.Context(), dir, Options{SealAfter: -1})
	require.NoError(t, err)
	readings = slices.Collect(benchwinter.Readings(0, days))
	for i := range readings {
		readings[i].Arrived = readings[i].At.Add(time.Second)
	}
	for part := range slices.Chunk(readings, 5000) {
		storetest.Put(t, s, house, part...)
	}
	require.NoError(t, s.Close())
	return dir, readings
}

func sizeOf(t *testing.T, dir string) int64 {
	st, err := os.Stat(filepath.Join(dir, fileName))
	require.NoError(t, err)
	return st.Size()
}

func TestSealingGivesTheRoomOfRowsBackToTheDisk(t *testing.T) {
	dir, want := rowsOf(t, 20)
	before := sizeOf(t, dir)
	require.Greater(t, before, int64(len(want)*30))
	s := openIn(t, dir, toSeal)
	_, err := s.Seal(t.Context())
	require.NoError(t, err)
	storetest.Same(t, want, storetest.All(t, s, house, "k1"))
	r, err := s.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Err())
	require.NoError(t, s.Close())
	// Some 4 bytes a reading, and at most the pages that the file may keep.
	require.Less(t, sizeOf(t, dir), int64(len(want)*5+loosePages*4096))
}

// formerly turns a store's file into the layout of older releases.
func formerly(t *testing.T, dir string) {
	db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
	require.NoError(t, err)
	defer db.Close()
	db.SetMaxOpenConns(1)
	_, err = db.Exec(`PRAGMA auto_vacuum = 0; VACUUM`)
	require.NoError(t, err)
	require.Zero(t, layoutOf(t, dir))
}

func layoutOf(t *testing.T, dir string) (mode int) {
	db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
	require.NoError(t, err)
	defer db.Close()
	require.NoError(t, db.QueryRow(`PRAGMA auto_vacuum`).Scan(&mode))
	return mode
}

// An older file is written anew once; killed on the way it is as it was, and the
// next opening does it.
func TestAnOlderFileIsLaidOutAnewThroughKills(t *testing.T) {
	if testing.Short() {
		t.Skip("kills child processes")
	}
	dir, want := rowsOf(t, 60)
	formerly(t, dir)
	kills := 0
	for wait := time.Millisecond; layoutOf(t, dir) != givesBack; wait += wait / 2 {
		cmd, _ := child(t, dir, 0, 1)
		time.Sleep(wait)
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		r, err := Check(t.Context(), dir)
		require.NoError(t, err)
		require.NoError(t, r.Err())
		kills++
	}
	t.Logf("%d kills", kills)
	s := openIn(t, dir, Options{SealAfter: -1})
	got := storetest.All(t, s, house, "k1")
	require.GreaterOrEqual(t, len(got), len(want))
	left, err := filepath.Glob(filepath.Join(dir, "etilqs*"))
	require.NoError(t, err)
	require.Empty(t, left, "SQLite's own temporary file has no name that stays")
}
