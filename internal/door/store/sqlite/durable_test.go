package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

const house = "larkfield-9"

// failed is the error of a call that answers something besides.
func failed[T any](_ T, err error) error { return err }

// fill gives a store some days of two loggers, a conflict, and whatever else it
// keeps, and returns the record of the first logger.
func fill(t testing.TB, s *Store, days int) []roof.Reading {
	t.Helper()
	ctx := t.Context()
	var first []roof.Reading
	for _, name := range []string{"k7-loft", "k8-slate"} {
		var rs []roof.Reading
		for i := range days * 48 {
			rs = append(rs, storetest.TRH(name, float64(i*1800), float64(i%300)/10-5, float64(40+i%60)+0.5))
		}
		storetest.Put(t, s, house, rs...)
		if first == nil {
			first = rs
		}
	}
	require.Equal(t, []roof.Outcome{roof.Conflict}, storetest.Put(t, s, house, storetest.TRH("k7-loft", 1800, 99, 50)))
	_, err := s.PutCase(ctx, house, []byte("case: larkfield-9\n"))
	require.NoError(t, err)
	require.NoError(t, s.PutState(ctx, "alert", "slate", []byte("raised")))
	require.NoError(t, s.AppendReject(ctx, roof.Reject{At: storetest.Epoch, Case: house, Reason: roof.BadPayload,
		Detail: "not JSON", Payload: []byte("{")}))
	return first
}

func put(t *testing.T, dir string, readings ...roof.Reading) {
	t.Helper()
	s, err := Open(t.Context(), dir, Options{SealAfter: -1})
	require.NoError(t, err)
	storetest.Put(t, s, house, readings...)
	require.NoError(t, s.Close())
}

func TestEverythingIsThereAfterReopening(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(t.Context(), dir, Options{SealAfter: -1})
	require.NoError(t, err)
	want := fill(t, s, 3)
	require.NoError(t, s.Close())
	require.NoError(t, s.Close(), "closing twice does no harm")
	_, err = s.Append(t.Context(), house, want)
	require.ErrorIs(t, err, ErrClosed)

	s = openIn(t, dir, Options{SealAfter: -1})
	require.Empty(t, s.Warnings())
	storetest.Same(t, want, storetest.All(t, s, house, "k7-loft"))
	for _, o := range storetest.Put(t, s, house, want...) {
		require.Equal(t, roof.Duplicate, o)
	}
	require.Equal(t, []roof.Outcome{roof.Duplicate}, storetest.Put(t, s, house, storetest.TRH("k7-loft", 1800, 99, 50)),
		"the conflict is known")
	r, err := s.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Err())
	require.Equal(t, Report{Schema: len(migrations), Loggers: 2, Days: 6, Readings: 288, Aside: 1, Cases: 1}, r)
}

func TestSecondDaemonOnTheFolderIsRefused(t *testing.T) {
	dir := t.TempDir()
	s := openIn(t, dir, Options{})
	_, err := Open(t.Context(), dir, Options{})
	require.ErrorContains(t, err, dir)
	require.ErrorContains(t, err, "in use by another dewcase")
	require.ErrorContains(t, err, fmt.Sprint(os.Getpid()))
	storetest.Put(t, s, house, storetest.TRH("k7", 0, 1, 1))
}

func TestSealingKeepsEveryBitAndLateReadingsReopenTheDay(t *testing.T) {
	s := openIn(t, t.TempDir(), toSeal)
	want := fill(t, s, 5)
	days, err := s.Seal(t.Context())
	require.NoError(t, err)
	count := func(table string) (n int) {
		require.NoError(t, s.read.QueryRow(`SELECT count(*) FROM `+table).Scan(&n))
		return n
	}
	require.Equal(t, 10, days+0*count("block"))
	require.Equal(t, 10, count("block"))
	require.Zero(t, count("reading"), "a sealed day has no rows left")
	storetest.Same(t, want, storetest.All(t, s, house, "k7-loft"))
	from := storetest.Epoch.Add(20 * time.Hour)
	storetest.Same(t, want[40:60], storetest.Read(t, s, house, "k7-loft", from, from.Add(10*time.Hour)))

	for _, o := range storetest.Put(t, s, house, want...) {
		require.Equal(t, roof.Duplicate, o)
	}
	require.Equal(t, 10, count("block"), "what is known already opens nothing")
	late := storetest.TRH("k7-loft", 86400+60, 7, 77)
	require.Equal(t, []roof.Outcome{roof.Stored}, storetest.Put(t, s, house, late))
	require.Equal(t, 9, count("block"))
	require.Equal(t, 49, count("reading"))
	r, err := s.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Err())

	days, err = s.Seal(t.Context())
	require.NoError(t, err)
	require.Equal(t, 1, days)
	got := storetest.All(t, s, house, "k7-loft")
	require.Len(t, got, len(want)+1)
	require.Empty(t, storetest.Difference(late, got[49]))
	r, err = s.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Err())
	require.EqualValues(t, 481, r.Readings)
}

func TestRecentAndBusyDaysAreNotSealed(t *testing.T) {
	now := storetest.Epoch.Add(9*24*time.Hour + time.Hour)
	s := openIn(t, t.TempDir(), Options{Now: func() time.Time { return now }, SealAfter: 7 * 24 * time.Hour,
		SealQuiet: 10 * time.Minute})
	fill(t, s, 9)
	days, err := s.Seal(t.Context())
	require.NoError(t, err)
	require.Zero(t, days, "all of it has only just arrived")
	now = now.Add(11 * time.Minute)
	days, err = s.Seal(t.Context())
	require.NoError(t, err)
	require.Equal(t, 2*2, days, "the first two days of two loggers are over a week old")
}

func TestBackupWhileWritingIsOneStateAndRestores(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	s := openIn(t, dir, Options{SealAfter: -1})
	want := fill(t, s, 3)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		for i := 0; ; i++ {
			if _, err := s.Append(ctx, "other", []roof.Reading{storetest.TRH("k7", float64(i), 1, 1),
				storetest.TRH("k8", float64(i), 1, 1)}); err != nil {
				ended <- err
				return
			}
		}
	}()
	file := filepath.Join(out, "larkfield.backup")
	for range 3 {
		require.NoError(t, failed(s.Backup(t.Context(), file)), "an older backup of the name is replaced")
	}
	stop()
	require.ErrorIs(t, <-ended, context.Canceled)
	entries, err := os.ReadDir(out)
	require.NoError(t, err)
	require.Len(t, entries, 1, "nothing is left beside the backup")

	fresh := filepath.Join(t.TempDir(), "data")
	require.NoError(t, Restore(t.Context(), file, fresh))
	r, err := Check(t.Context(), fresh)
	require.NoError(t, err)
	require.NoError(t, r.Err())
	got := openIn(t, fresh, Options{SealAfter: -1})
	require.Empty(t, got.Warnings())
	storetest.Same(t, want, storetest.All(t, got, house, "k7-loft"))
	k7, k8 := storetest.All(t, got, "other", "k7"), storetest.All(t, got, "other", "k8")
	require.NotEmpty(t, k7)
	require.Len(t, k8, len(k7), "no half of a commit")

	require.ErrorContains(t, Restore(t.Context(), file, fresh), "in use")
	require.ErrorContains(t, failed(s.Backup(t.Context(), filepath.Join(dir, fileName))), "the store's own file")
	require.Error(t, failed(s.Backup(t.Context(), out)))
}

func TestRestoreRefusesWhereAStoreWouldBeLost(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, storetest.TRH("k7", 0, 1, 1))
	file := filepath.Join(t.TempDir(), "b")
	require.NoError(t, failed(Backup(t.Context(), dir, file)))
	require.ErrorContains(t, Restore(t.Context(), file, dir), "already holds a store")

	spoilt, err := os.ReadFile(file)
	require.NoError(t, err)
	spoilt = spoilt[:len(spoilt)/2]
	bad := filepath.Join(t.TempDir(), "bad")
	require.NoError(t, os.WriteFile(bad, spoilt, 0o600))
	fresh := t.TempDir()
	require.ErrorIs(t, Restore(t.Context(), bad, fresh), roof.ErrDamaged)
	entries, err := os.ReadDir(fresh)
	require.NoError(t, err)
	require.Empty(t, entries, "a damaged backup changes nothing")
	require.Error(t, Restore(t.Context(), filepath.Join(fresh, "absent"), fresh))
	require.ErrorIs(t, failed(Backup(t.Context(), fresh, file)), os.ErrNotExist)
}

func TestOlderCopyAndLostTailAreNoticed(t *testing.T) {
	dir, old := t.TempDir(), t.TempDir()
	put(t, dir, storetest.TRH("k7", 0, 1, 1))
	b, err := os.ReadFile(filepath.Join(dir, fileName))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(old, fileName), b, 0o600))
	put(t, dir, storetest.TRH("k7", 60, 1, 1), storetest.TRH("k7", 120, 1, 1))
	r, err := Check(t.Context(), dir)
	require.NoError(t, err)
	require.NoError(t, r.Err())

	require.NoError(t, os.WriteFile(filepath.Join(dir, fileName), b, 0o600)) // yesterday's file put back
	r, err = Check(t.Context(), dir)
	require.NoError(t, err)
	require.ErrorContains(t, r.Err(), "replaced by an older copy")
	s, err := Open(t.Context(), dir, Options{SealAfter: -1})
	require.NoError(t, err, "it warns and goes on")
	require.Len(t, s.Warnings(), 1)
	kept, err := s.States(t.Context(), IncidentKind)
	require.NoError(t, err)
	require.Len(t, kept, 1)
	require.NoError(t, s.Close())

	s, err = Open(t.Context(), dir, Options{SealAfter: -1})
	require.NoError(t, err)
	require.Empty(t, s.Warnings(), "said once")
	kept, err = s.States(t.Context(), IncidentKind)
	require.NoError(t, err)
	require.Len(t, kept, 1, "and kept")
	require.NoError(t, s.Close())

	// Another store under the same name is told too.
	other := t.TempDir()
	put(t, other, storetest.TRH("k7", 0, 1, 1))
	b, err = os.ReadFile(filepath.Join(other, fileName))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, fileName), b, 0o600))
	r, err = Check(t.Context(), dir)
	require.NoError(t, err)
	require.ErrorContains(t, r.Err(), "not the one that was last used")
}

func TestDeletedLogIsNoticed(t *testing.T) {
	dir, copied := t.TempDir(), t.TempDir()
	s := openIn(t, dir, Options{SealAfter: -1})
	storetest.Put(t, s, house, storetest.TRH("k7", 0, 1, 1))
	db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
	require.NoError(t, err)
	_, err = db.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	storetest.Put(t, s, house, storetest.TRH("k7", 60, 1, 1))
	for _, name := range []string{fileName, markName} { // as after a kill, with the log deleted
		b, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(copied, name), b, 0o600))
	}
	r, err := Check(t.Context(), copied)
	require.NoError(t, err)
	require.ErrorContains(t, r.Err(), "what came between is lost")
}

func TestNewerSchemaAndForeignFilesAreRefusedUntouched(t *testing.T) {
	for name, c := range map[string]struct{ change, want string }{
		"newer":   {fmt.Sprintf(`PRAGMA user_version = %d`, len(migrations)+1), "newer dewcase"},
		"foreign": {`PRAGMA application_id = 77`, "not a dewcase store"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			put(t, dir, storetest.TRH("k7", 0, 1, 1))
			db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
			require.NoError(t, err)
			_, err = db.Exec(c.change)
			require.NoError(t, err)
			require.NoError(t, db.Close())
			before, err := os.ReadFile(filepath.Join(dir, fileName))
			require.NoError(t, err)
			_, err = Open(t.Context(), dir, Options{})
			require.ErrorContains(t, err, c.want)
			require.ErrorContains(t, err, dir)
			after, err := os.ReadFile(filepath.Join(dir, fileName))
			require.NoError(t, err)
			require.True(t, string(before) == string(after), "the file is as it was")
		})
	}
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, fileName), []byte(strings.Repeat("not a database at all. ", 300)),
		0o600))
	_, err := Open(t.Context(), dir, Options{})
	require.ErrorIs(t, err, roof.ErrDamaged)
	r, err := Check(t.Context(), dir)
	require.NoError(t, err)
	require.ErrorIs(t, r.Err(), roof.ErrDamaged)
	_, err = Check(t.Context(), t.TempDir())
	require.ErrorIs(t, err, os.ErrNotExist)
}

// The modernc pair of modules must be the one that was released together.
func TestLibcIsTheOneThatSQLiteAsksFor(t *testing.T) {
	out, err := exec.Command("go", "list", "-m", "-f", "{{.GoMod}} {{.Version}}", "modernc.org/sqlite",
		"modernc.org/libc").Output()
	require.NoError(t, err)
	lines := strings.Fields(string(out))
	require.Len(t, lines, 4)
	mod, err := os.ReadFile(lines[0])
	require.NoError(t, err)
	require.Contains(t, string(mod), "modernc.org/libc "+lines[3]+"\n")
}
