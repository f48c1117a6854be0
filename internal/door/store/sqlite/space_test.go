package sqlite

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// Whatever the size of the disk, people are told while half of the room that is
// left then is still to go before anything is dropped.
func TestALowDiskIsSaidBeforeAnythingIsDropped(t *testing.T) {
	for _, size := range []int64{8 << 20, 512 << 20, 4 << 30, 16 << 30, 64 << 30, 500e9, 8e12} {
		said, dropped := int64(-1), int64(-1)
		for free := size; free >= 0; free -= size/1_000_000 + 1 {
			s := Space{free, size}
			if s.Low() && said < 0 {
				said = free
			}
			if s.scarce() && dropped < 0 {
				dropped = free
			}
		}
		require.Positive(t, said, "size %d", size)
		require.Positive(t, dropped, "size %d", size)
		require.LessOrEqual(t, said, min(size/10, 2<<30), "size %d", size)
		require.InEpsilon(t, float64(said), 2*float64(dropped), 0.1, "size %d", size)
	}
}

// A killed backup leaves its unfinished copy, hidden; the next one to the folder
// takes it away, and nothing else.
func TestWhatAKilledBackupLeftIsTakenAwayByTheNext(t *testing.T) {
	dir, out := filepath.Join(t.TempDir(), "data [1]"), filepath.Join(t.TempDir(), "backups [*]")
	require.NoError(t, os.MkdirAll(out, 0o700))
	s := openIn(t, dir, Options{SealAfter: -1})
	fill(t, s, 3)
	for _, name := range []string{"monday", "tuesday"} {
		left := beside(filepath.Join(out, name), s.id)
		require.NoError(t, os.WriteFile(left, make([]byte, 1<<20), 0o600))
		require.NoError(t, os.WriteFile(left+"-journal", []byte("x"), 0o600))
	}
	keep := []string{".hidden", ".film.0123456789ab.part", "wednesday.part",
		filepath.Base(beside(filepath.Join(out, "monday"), "another-store"))}
	for _, name := range keep {
		require.NoError(t, os.WriteFile(filepath.Join(out, name), []byte("mine"), 0o600))
	}
	require.NoError(t, failed(s.Backup(t.Context(), filepath.Join(out, "thursday"))))
	entries, err := os.ReadDir(out)
	require.NoError(t, err)
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	require.ElementsMatch(t, append(keep, "thursday"), names)

	// One that is being made is left alone.
	done := sweepBackups(dir, out, s.id)
	under := beside(filepath.Join(out, "friday"), s.id)
	require.NoError(t, os.WriteFile(under, []byte("half"), 0o600))
	require.NoError(t, failed(Backup(t.Context(), dir, filepath.Join(out, "saturday"))))
	require.FileExists(t, under)
	done()
	require.NoError(t, failed(Backup(t.Context(), dir, filepath.Join(out, "saturday"))))
	require.NoFileExists(t, under)
}
