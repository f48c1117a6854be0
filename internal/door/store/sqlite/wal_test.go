package sqlite

import (
	"database/sql"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

// Faults, row 10: the log cut short or overwritten, as after a power cut on a
// disk that lies. The tail that was lost is told from the store's mark; what is
// served is a state that was once committed.
func TestATornOrOverwrittenLogIsNoticed(t *testing.T) {
	dir := t.TempDir()
	s := openIn(t, dir, Options{SealAfter: -1})
	storetest.Put(t, s, house, storetest.TRH("k7", 0, 1, 1))
	db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
	require.NoError(t, err)
	_, err = db.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	for i := 1; i <= 20; i++ {
		storetest.Put(t, s, house, storetest.TRH("k7", float64(i*60), 1, float64(i)))
	}
	files := map[string][]byte{}
	for _, name := range []string{fileName, markName, fileName + "-wal"} {
		files[name], err = os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err, name)
	}
	log := files[fileName+"-wal"]
	require.Greater(t, len(log), 40000)

	noticed := 0
	rng := rand.New(rand.NewPCG(5, 6))
	for run := range 60 {
		bad := append([]byte(nil), log...)
		if run%2 == 0 {
			bad = bad[:32+rng.IntN(len(bad)-32)]
		} else {
			at := 32 + rng.IntN(len(bad)-64)
			for i := range 16 {
				bad[at+i] ^= 0x5a
			}
		}
		copied := t.TempDir()
		for name, b := range files {
			if name == fileName+"-wal" {
				b = bad
			}
			require.NoError(t, os.WriteFile(filepath.Join(copied, name), b, 0o600))
		}
		r, err := Check(t.Context(), copied)
		require.NoError(t, err)
		if r.Err() == nil { // the last frames were a page written twice, or nothing of use
			require.EqualValues(t, 21, r.Readings, "run %d", run)
			continue
		}
		require.ErrorContains(t, r.Err(), "lost", "run %d", run)
		noticed++
		again, err := Open(t.Context(), copied, Options{SealAfter: -1})
		if err != nil {
			require.ErrorIs(t, err, roof.ErrDamaged)
			continue
		}
		require.NotEmpty(t, incidents(t, again), "run %d", run)
		n := 0
		for r, err := range again.Range(t.Context(), house, "k7", storetest.Epoch, storetest.Epoch.AddDate(1, 0, 0)) {
			require.NoError(t, err)
			require.Equal(t, storetest.Epoch.UnixMilli()+int64(n)*60000, r.At.UnixMilli(),
				"a state that was once committed, without holes")
			n++
		}
		require.Less(t, n, 21)
		require.NoError(t, again.Close())
	}
	require.Greater(t, noticed, 40)
}
