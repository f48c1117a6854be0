package sqlite

import (
	"bytes"
	"database/sql"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

func derivedIn(t testing.TB, dir string, anew bool) *Derived {
	t.Helper()
	d, err := OpenDerived(t.Context(), dir, anew, time.Now, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, d.Close()) })
	return d
}

func TestDerivedValuesAreKept(t *testing.T) { storetest.Shelves(t, derivedIn(t, t.TempDir(), false)) }

func TestTheDerivedFileLiesInAFolderNamedFromHere(t *testing.T) {
	t.Chdir(t.TempDir())
	require.NoError(t, os.Mkdir("data", 0o700))
	one := []roof.Derived{{Data: []byte("x")}}
	require.NoError(t, derivedIn(t, "data", false).Keep(t.Context(), "hours", "larch-1", one))
	require.FileExists(t, filepath.Join("data", derivedName))
}

func TestDerivedValuesAreNoEvidence(t *testing.T) {
	dir := t.TempDir()
	s := openIn(t, dir, Options{SealAfter: -1})
	_, err := s.Append(t.Context(), "larch-1", []roof.Reading{storetest.TRH("k7", 0, 4, 90)})
	require.NoError(t, err)
	before, err := Check(t.Context(), dir)
	require.NoError(t, err)
	d := derivedIn(t, dir, false)
	require.NoError(t, d.Keep(t.Context(), "hours", "larch-1", []roof.Derived{{Data: []byte("anything")}}))
	after, err := Check(t.Context(), dir)
	require.NoError(t, err)
	require.NoError(t, after.Err())
	require.Equal(t, before.Readings, after.Readings)
	to := filepath.Join(t.TempDir(), "copy.db")
	_, err = Backup(t.Context(), dir, to)
	require.NoError(t, err)
	db, err := sql.Open("sqlite", to)
	require.NoError(t, err)
	defer db.Close()
	var n int
	require.NoError(t, db.QueryRow(`SELECT count(*) FROM sqlite_master WHERE name LIKE 'derived%'`).Scan(&n))
	require.Zero(t, n, "a backup holds none of it")
}

func TestDamagedDerivedValuesAreNotServed(t *testing.T) {
	ctx, dir := t.Context(), t.TempDir()
	d := derivedIn(t, dir, false)
	for at := range int64(3) {
		require.NoError(t, d.Keep(ctx, "hours", "larch-1", []roof.Derived{{AtMS: at, Data: []byte("sound")}}))
	}
	for i, edit := range []string{`data = 'wrong'`, `rests = zeroblob(31) || x'01'`, `made = made + 1`} {
		_, err := d.db.Exec(`UPDATE derived SET `+edit+` WHERE at = ?`, i)
		require.NoError(t, err)
		got, err := d.Kept(ctx, "hours", "larch-1", int64(i), int64(i)+1)
		require.NoError(t, err)
		require.Empty(t, got, edit)
	}
}

func TestADerivedFileThatCannotBeUsedIsBegunAnew(t *testing.T) {
	for name, spoil := range map[string]func(t *testing.T, file string){
		"no database": func(t *testing.T, file string) {
			require.NoError(t, os.WriteFile(file, []byte("this is not a database, whatever its name says it is........"), 0o600))
		},
		"another schema": func(t *testing.T, file string) {
			db, err := sql.Open("sqlite", file)
			require.NoError(t, err)
			defer db.Close()
			_, err = db.Exec(`PRAGMA user_version = 999`)
			require.NoError(t, err)
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			d, err := OpenDerived(t.Context(), dir, false, time.Now, slog.New(slog.DiscardHandler))
			require.NoError(t, err)
			require.NoError(t, d.Keep(t.Context(), "hours", "larch-1", []roof.Derived{{Data: []byte("before")}}))
			require.NoError(t, d.Close())
			spoil(t, filepath.Join(dir, derivedName))
			d = derivedIn(t, dir, false)
			got, err := d.Kept(t.Context(), "hours", "larch-1", 0, 1)
			require.NoError(t, err)
			require.Empty(t, got)
			require.NoError(t, d.Keep(t.Context(), "hours", "larch-1", []roof.Derived{{Data: []byte("after")}}))
		})
	}
}

// What the disk does to the file while or before it is used costs time and one
// line of the log, and nothing that was damaged is served.
func TestADerivedFileThatIsDamagedIsBegunAnew(t *testing.T) {
	rng := rand.New(rand.NewPCG(14, 7))
	garbage := func(n int64) []byte {
		b := make([]byte, n)
		for i := range b {
			b[i] = byte(rng.Uint32())
		}
		return b
	}
	for name, spoil := range map[string]func(f *os.File, size int64) error{
		"cut in the middle":   func(f *os.File, size int64) error { return f.Truncate(size / 2) },
		"cut within a page":   func(f *os.File, size int64) error { return f.Truncate(size/2 + 100) },
		"all of it lost":      func(f *os.File, _ int64) error { return f.Truncate(0) },
		"its first page lost": func(f *os.File, _ int64) error { _, err := f.WriteAt(make([]byte, 4096), 0); return err },
		"pages overwritten": func(f *os.File, size int64) error {
			_, err := f.WriteAt(garbage(size-4096), 4096)
			return err
		},
		"one page overwritten": func(f *os.File, size int64) error {
			_, err := f.WriteAt(garbage(4096), (1+rng.Int64N(size/4096-1))*4096)
			return err
		},
		"bits turned": func(f *os.File, size int64) error {
			for range 200 {
				if _, err := f.WriteAt(garbage(1), rng.Int64N(size)); err != nil {
					return err
				}
			}
			return nil
		},
	} {
		for _, used := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s/used %v", name, used), func(t *testing.T) {
				var lines bytes.Buffer
				ctx, dir := t.Context(), t.TempDir()
				open := func() *Derived {
					d, err := OpenDerived(ctx, dir, false, time.Now, slog.New(slog.NewTextHandler(&lines, nil)))
					require.NoError(t, err)
					return d
				}
				d := open()
				value := func(at int64) []byte { return bytes.Repeat(fmt.Appendf(nil, "sound %d.", at), 300) }
				for at := range int64(200) {
					require.NoError(t, d.Keep(ctx, "hours", "larch-1", []roof.Derived{{AtMS: at, Data: value(at)}}))
				}
				_, err := d.db.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`)
				require.NoError(t, err)
				if !used {
					require.NoError(t, d.Close())
				}
				f, err := os.OpenFile(d.path, os.O_RDWR, 0)
				require.NoError(t, err)
				st, err := f.Stat()
				require.NoError(t, err)
				require.NoError(t, spoil(f, st.Size()))
				require.NoError(t, f.Close())
				if used { // by a connection that has none of it in its memory
					d.db.SetMaxIdleConns(-1)
					d.db.SetMaxIdleConns(2)
				} else {
					d = open()
				}
				defer func() { require.NoError(t, d.Close()) }()
				for range 2 {
					got, err := d.Kept(ctx, "hours", "larch-1", 0, 200)
					require.NoError(t, err)
					for _, v := range got {
						require.True(t, bytes.Equal(value(v.AtMS), v.Data), "what is served is sound")
					}
				}
				var again []roof.Derived
				for at := range int64(200) {
					again = append(again, roof.Derived{AtMS: at, Data: value(at)})
				}
				require.NoError(t, d.Keep(ctx, "hours", "larch-1", again))
				got, err := d.Kept(ctx, "hours", "larch-1", 0, 200)
				require.NoError(t, err)
				if name == "bits turned" { // which can leave tree and index whole, and not of one mind
					require.NotEmpty(t, got)
				} else {
					require.Equal(t, 200, len(got))
				}
				for _, v := range got {
					require.True(t, bytes.Equal(value(v.AtMS), v.Data), "what is served is sound")
				}
				require.LessOrEqual(t, strings.Count(lines.String(), "worked out anew"), 1, lines.String())
			})
		}
	}
}

func TestDerivedValuesAreDroppedWhenAsked(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, derivedIn(t, dir, false).Keep(t.Context(), "hours", "larch-1", []roof.Derived{{Data: []byte("x")}}))
	got, err := derivedIn(t, dir, false).Kept(t.Context(), "hours", "larch-1", 0, 1)
	require.NoError(t, err)
	require.Len(t, got, 1)
	got, err = derivedIn(t, dir, true).Kept(t.Context(), "hours", "larch-1", 0, 1)
	require.NoError(t, err)
	require.Empty(t, got)
}

// The sums of days tell any two records apart, whichever way they came about,
// and are equal for equal ones.
func TestDaySumsFollowTheReadings(t *testing.T) {
	ctx := t.Context()
	s := openIn(t, t.TempDir(), Options{SealAfter: -1})
	sums := func() []roof.DaySum {
		out, err := s.DaySums(ctx, "larch-1", 0, 1<<40)
		require.NoError(t, err)
		return out
	}
	put := func(r roof.Reading) {
		_, err := s.Append(ctx, "larch-1", []roof.Reading{r})
		require.NoError(t, err)
	}
	require.Empty(t, sums())
	put(storetest.TRH("k7", 0, 4, 90))
	put(storetest.TRH("k8", 86400, 4, 90))
	one := sums()
	require.Len(t, one, 2)
	require.Equal(t, [2]string{"k7", "k8"}, [2]string{one[0].Logger, one[1].Logger})
	require.Equal(t, storetest.Epoch.Unix()/86400, one[0].Day)
	put(storetest.TRH("k7", 0, 4, 90))
	require.Equal(t, one, sums(), "a duplicate changes nothing")
	put(storetest.TRH("k7", 1, 4, 90))
	two := sums()
	require.NotEqual(t, one[0], two[0])
	require.Equal(t, one[1], two[1])
}
