package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
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
	require.Empty(t, incidents(t, s))
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

// A store that is closed holds none of its files, and leaves no log behind.
func TestClosingLetsGoOfEveryFile(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, storetest.TRH("k7", 0, 1, 1))
	held, err := os.ReadDir("/proc/self/fd")
	require.NoError(t, err)
	for _, f := range held {
		name, _ := os.Readlink("/proc/self/fd/" + f.Name())
		require.NotContains(t, name, dir)
	}
	require.ElementsMatch(t, []string{fileName, markName}, slices.Collect(maps.Keys(files(t, dir))))
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
		SealQuiet: 10 * time.Minute, BlockFrom: -1})
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
	require.NoError(t, failed(Restore(t.Context(), file, fresh)))
	r, err := Check(t.Context(), fresh)
	require.NoError(t, err)
	require.NoError(t, r.Err())
	got := openIn(t, fresh, Options{SealAfter: -1})
	require.Empty(t, incidents(t, got))
	storetest.Same(t, want, storetest.All(t, got, house, "k7-loft"))
	k7, k8 := storetest.All(t, got, "other", "k7"), storetest.All(t, got, "other", "k8")
	require.NotEmpty(t, k7)
	require.Len(t, k8, len(k7), "no half of a commit")

	require.ErrorContains(t, failed(Restore(t.Context(), file, fresh)), "in use")
	require.ErrorContains(t, failed(s.Backup(t.Context(), filepath.Join(dir, fileName))), "the store's own file")
	require.Error(t, failed(s.Backup(t.Context(), out)))
}

func TestRestoreRefusesWhereAStoreWouldBeLost(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, storetest.TRH("k7", 0, 1, 1))
	file := filepath.Join(t.TempDir(), "b")
	require.NoError(t, failed(Backup(t.Context(), dir, file)))
	require.ErrorContains(t, failed(Restore(t.Context(), file, dir)), "already holds a store")

	spoilt, err := os.ReadFile(file)
	require.NoError(t, err)
	spoilt = spoilt[:len(spoilt)/2]
	bad := filepath.Join(t.TempDir(), "bad")
	require.NoError(t, os.WriteFile(bad, spoilt, 0o600))
	fresh := t.TempDir()
	require.ErrorIs(t, failed(Restore(t.Context(), bad, fresh)), roof.ErrDamaged)
	entries, err := os.ReadDir(fresh)
	require.NoError(t, err)
	require.Empty(t, entries, "a damaged backup changes nothing")
	require.Error(t, failed(Restore(t.Context(), filepath.Join(fresh, "absent"), fresh)))
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
	require.Len(t, incidents(t, s), 1)
	require.NoError(t, s.Close())

	s, err = Open(t.Context(), dir, Options{SealAfter: -1})
	require.NoError(t, err)
	require.Len(t, incidents(t, s), 1, "it was said once and stands")
	require.NoError(t, s.Close())
	r, err = Check(t.Context(), dir)
	require.NoError(t, err)
	require.NoError(t, r.Err(), "what is there is whole")
	require.Len(t, r.Incidents, 1)
	require.True(t, r.Incidents[0].Open())
	require.Contains(t, r.Incidents[0].What, "replaced by an older copy")

	// It is in backups, which can be made, and in what is restored from them.
	to, again := filepath.Join(t.TempDir(), "b"), filepath.Join(t.TempDir(), "again")
	require.NoError(t, failed(Backup(t.Context(), dir, to)))
	require.NoError(t, failed(Restore(t.Context(), to, again)))
	s = openIn(t, again, Options{SealAfter: -1})
	require.Len(t, incidents(t, s), 1)
	before := r.Incidents[0].At.Add(-time.Second)
	require.NoError(t, s.ConfirmIncidents(t.Context(), before, "consultant"))
	require.Len(t, incidents(t, s), 1, "one that came after what the person saw stays")
	require.NoError(t, s.ConfirmIncidents(t.Context(), r.Incidents[0].At, "consultant"))
	require.Empty(t, incidents(t, s))
	all, err := s.Incidents(t.Context())
	require.NoError(t, err)
	require.Equal(t, "consultant", all[0].By)
	require.WithinDuration(t, time.Now(), all[0].Confirmed, time.Minute)
	require.Equal(t, r.Incidents[0].What, all[0].What)
}

// What an older program kept of an incident is the bare words.
func TestAnIncidentOfAnOlderProgramStands(t *testing.T) {
	s := openIn(t, t.TempDir(), Options{SealAfter: -1})
	require.NoError(t, s.PutState(t.Context(), incidentKind, "2026-11-25T08:00:00.5Z", []byte("it ends early")))
	all, err := s.Incidents(t.Context())
	require.NoError(t, err)
	require.Equal(t, []roof.Incident{{At: time.Date(2026, 11, 25, 8, 0, 0, 5e8, time.UTC), What: "it ends early"}},
		all)
	require.NoError(t, s.ConfirmIncidents(t.Context(), time.Now(), "consultant"))
	require.Empty(t, incidents(t, s))
	all, err = s.Incidents(t.Context())
	require.NoError(t, err)
	require.Len(t, all, 1, "confirmed, and kept")
}

// A folder that was in use does not begin with an empty store, or with another
// one, unless that is asked for; nothing in it is changed by refusing.
func TestAMissingOrForeignDatabaseIsRefusedUntilANewOneIsAskedFor(t *testing.T) {
	other := t.TempDir()
	put(t, other, storetest.TRH("k7", 0, 1, 1))
	foreign, err := os.ReadFile(filepath.Join(other, fileName))
	require.NoError(t, err)
	for name, c := range map[string]struct {
		spoil func(file string) error
		want  string
	}{
		"missing": {os.Remove, "dewcase.db is missing, though this folder was in use"},
		"empty": {func(f string) error { return os.Truncate(f, 0) },
			"dewcase.db is empty, though this folder was in use"},
		"of another folder": {func(f string) error { return os.WriteFile(f, foreign, 0o600) },
			"dewcase.db is not the one that was last used in this folder"},
		"missing, with a mark that cannot be read": {func(f string) error {
			if err := os.WriteFile(filepath.Join(filepath.Dir(f), markName), make([]byte, 200), 0o600); err != nil {
				return err
			}
			return os.Remove(f)
		}, "dewcase.mark is there, but cannot be read"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			put(t, dir, storetest.TRH("k7", 0, 1, 1), storetest.TRH("k7", 60, 1, 1))
			require.NoError(t, c.spoil(filepath.Join(dir, fileName)))
			before := files(t, dir)
			for range 2 {
				_, err := Open(t.Context(), dir, Options{})
				require.ErrorContains(t, err, dir)
				require.ErrorContains(t, err, c.want)
				require.ErrorContains(t, err, "dewcase serve -new-store")
			}
			for name, b := range files(t, dir) { // looking may leave an empty log and its index
				require.True(t, before[name] == b || name != fileName && name != markName, "refusing changes nothing: %s", name)
			}
			r, err := Check(t.Context(), dir)
			require.Error(t, errors.Join(err, r.Err()))

			s, err := Open(t.Context(), dir, Options{NewStore: true, SealAfter: -1})
			require.NoError(t, err)
			require.Empty(t, incidents(t, s), "it was asked for")
			all, err := s.Incidents(t.Context())
			require.NoError(t, err)
			require.Len(t, all, 1, "and is recorded")
			require.Contains(t, all[0].What, "begun anew on purpose: ")
			require.Contains(t, all[0].What, c.want)
			require.NoError(t, s.Close())
			_, err = Open(t.Context(), dir, Options{NewStore: true})
			require.ErrorContains(t, err, "leave -new-store out", "the flag does not stay in a unit file unnoticed")
			put(t, dir, storetest.TRH("k7", 120, 1, 1))
			r, err = Check(t.Context(), dir)
			require.NoError(t, err)
			require.NoError(t, r.Err())
		})
	}
	dir := t.TempDir()
	s, err := Open(t.Context(), dir, Options{NewStore: true})
	require.NoError(t, err, "a folder never used needs no flag, and may have it")
	require.NoError(t, s.Close())
	require.NoError(t, os.Remove(filepath.Join(dir, fileName)))
	require.NoError(t, os.WriteFile(filepath.Join(dir, fileName+"-wal"), []byte("readings"), 0o600))
	_, err = Open(t.Context(), dir, Options{NewStore: true})
	require.ErrorContains(t, err, "dewcase.db-wal is there and would be lost")
	require.FileExists(t, filepath.Join(dir, fileName+"-wal"))
}

// files is what a folder holds but for the lock, which names whoever looks.
func files(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
		if e.Name() != lockName {
			out[e.Name()] = string(b)
		}
	}
	return out
}

// removeStore takes the database away and leaves the mark.
func removeStore(t *testing.T, dir string) {
	t.Helper()
	require.NoError(t, os.Remove(filepath.Join(dir, fileName)))
	require.NoError(t, os.RemoveAll(filepath.Join(dir, fileName+"-wal")))
}

func TestRestoringAnOlderBackupIntoItsFolderSaysWhatIsLost(t *testing.T) {
	dir, to := t.TempDir(), filepath.Join(t.TempDir(), "b")
	put(t, dir, storetest.TRH("k7", 0, 1, 1))
	require.NoError(t, failed(Backup(t.Context(), dir, to)))
	for _, later := range []bool{false, true} {
		t.Run(fmt.Sprint("the store had gone on: ", later), func(t *testing.T) {
			if later {
				put(t, dir, storetest.TRH("k7", 60, 1, 1))
			}
			removeStore(t, dir)
			lost, err := Restore(t.Context(), to, dir)
			require.NoError(t, err)
			s := openIn(t, dir, Options{SealAfter: -1})
			if !later {
				require.Empty(t, lost)
				require.Empty(t, incidents(t, s))
				require.NoError(t, s.Close())
				return
			}
			require.Contains(t, lost, "what came after is lost")
			require.Len(t, incidents(t, s), 1)
		})
	}
	other := t.TempDir()
	put(t, other, storetest.TRH("k7", 0, 1, 1))
	removeStore(t, other)
	require.ErrorContains(t, failed(Restore(t.Context(), to, other)), "was in use by another store")
	require.NoFileExists(t, filepath.Join(other, fileName))
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
