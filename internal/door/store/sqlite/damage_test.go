package sqlite

import (
	"crypto/sha256"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

// content is all that a store says, to compare before and after damage; ok is
// false where it reported damage instead.
func content(t *testing.T, dir string) (text string, ok bool) {
	s, err := Open(t.Context(), dir, Options{SealAfter: -1})
	if err != nil {
		return err.Error(), false
	}
	defer s.Close()
	sum := sha256.New()
	for _, name := range []string{"k7-loft", "k8-slate"} {
		for r, err := range s.Range(t.Context(), house, name, time.Time{}, time.Time{}) {
			if err != nil {
				return err.Error(), false
			}
			sum.Write(digestOf(ofRecord, house, &r).bytes())
		}
	}
	aside, err := s.Conflicts(t.Context(), house, 10)
	if err != nil {
		return err.Error(), false
	}
	file, _, _, err := s.Case(t.Context(), house)
	if err != nil {
		return err.Error(), false
	}
	state, err := s.State(t.Context(), "alert", "slate")
	if err != nil {
		return err.Error(), false
	}
	return fmt.Sprintf("%x ", sum.Sum(nil)) + fmt.Sprintln(aside, string(file), string(state)), true
}

// Faults, row 9: a bit flipped anywhere is found or changes nothing that the
// store says.
func TestFlippedBitsAreFound(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(t.Context(), dir, toSeal)
	require.NoError(t, err)
	fill(t, s, 60)
	_, err = s.Seal(t.Context())
	require.NoError(t, err)
	var more []roof.Reading // rows beside the sealed days
	for i := range 2000 {
		more = append(more, storetest.TRH("k7-loft", float64((60+i%3)*86400+i*30), float64(i), 50))
	}
	storetest.Put(t, s, house, more...)
	packed := filepath.Join(t.TempDir(), "packed") // a backup has little unused space
	require.NoError(t, failed(s.Backup(t.Context(), packed)))
	require.NoError(t, s.Close())
	sound, err := os.ReadFile(packed)
	require.NoError(t, err)
	want, ok := content(t, dir)
	require.True(t, ok)

	rng := rand.New(rand.NewPCG(11, 12))
	found, served := 0, 0
	for run := range 400 {
		bad := append([]byte(nil), sound...)
		at, bit := rng.IntN(len(bad)), byte(1)<<rng.IntN(8)
		bad[at] ^= bit
		copied := filepath.Join(t.TempDir(), "c")
		require.NoError(t, os.MkdirAll(copied, 0o700))
		require.NoError(t, os.WriteFile(filepath.Join(copied, fileName), bad, 0o600))
		r, err := Check(t.Context(), copied)
		require.NoError(t, err)
		if r.Err() != nil {
			found++
			continue
		}
		got, ok := content(t, copied)
		require.True(t, ok && got == want, "run %d: byte %d of %d, bit %02x: the check finds nothing, but the store "+
			"answers otherwise: %.300s", run, at, len(bad), bit, got)
		served++
	}
	t.Logf("%d of 400 flips found, %d changed nothing (unused space)", found, served)
	require.Greater(t, found, 100)
}

func TestDamageIsNamedAndNeverServed(t *testing.T) {
	alter := func(t *testing.T, dir, statement string, args ...any) {
		db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
		require.NoError(t, err)
		res, err := db.Exec(statement, args...)
		require.NoError(t, err)
		n, err := res.RowsAffected()
		require.NoError(t, err)
		require.NotZero(t, n)
		require.NoError(t, db.Close())
	}
	at := storetest.Epoch.Add(30 * time.Minute).UnixMilli()
	for name, c := range map[string]struct {
		seal      bool
		statement string
		args      []any
		want      []string
		served    bool // nothing wrong is served even so
	}{
		"a value of a row": {false, `UPDATE reading SET rec = replace(rec, substr(rec, 6, 1), x'aa') 
			WHERE logger = 1 AND at = ?`, []any{at}, []string{"logger k7-loft", "2026-11-25T00:30:00Z"}, false},
		"a row's time": {false, `UPDATE reading SET at = at + 1 WHERE logger = 1 AND at = ?`, []any{at},
			[]string{"logger k7-loft", "2026-11-25T00:30:00Z"}, false},
		"a row moved to another": {false, `UPDATE reading SET logger = 2, at = at + 1 WHERE logger = 1 AND at = ?`,
			[]any{at}, []string{"k7-loft", "k8-slate"}, false},
		"a row taken away": {false, `DELETE FROM reading WHERE logger = 1 AND at = ?`, []any{at},
			[]string{"k7-loft", "47 readings, 48 were stored", "2026-11-25T00:00:00Z"}, true},
		"a whole day taken away": {false, `DELETE FROM reading WHERE logger = 1 AND at < ?`,
			[]any{at + dayMS - 30*60*1000}, []string{"k7-loft", "all 48 readings of the day are missing"}, true},
		"a block's data": {true, `UPDATE block SET data = substr(data, 1, length(data) - 1) || x'5a'
			WHERE logger = 1 AND day = ?`, []any{dayOf(at)}, []string{"k7-loft", "2026-11-25"}, false},
		"a block taken away": {true, `DELETE FROM block WHERE logger = 1 AND day = ?`, []any{dayOf(at)},
			[]string{"k7-loft", "2026-11-25"}, true},
		"a block put to a new day": {true, `UPDATE block SET day = day + 500 WHERE logger = 1 AND day = ?`, []any{dayOf(at)},
			[]string{"k7-loft", "2026-11-25"}, false},
		"a day's digest": {false, `UPDATE day SET digest = zeroblob(32) WHERE logger = 1 AND day = ?`,
			[]any{dayOf(at)}, []string{"k7-loft", "digest"}, true},
		"a logger renamed": {false, `UPDATE logger SET name = 'k9' WHERE id = ?`, []any{1}, []string{"k9", "digest"},
			true},
		"a logger and all its rows": {false, `DELETE FROM logger WHERE id = ?`, []any{1}, []string{"names are lost"}, true},
		"what was kept aside":       {false, `DELETE FROM aside WHERE logger = ?`, []any{1}, []string{"kept aside"}, true},
		"a case file": {false, `UPDATE case_file SET file = 'case: other' WHERE case_id = ?`, []any{house},
			[]string{"case file of larkfield-9"}, true},
		"the daemon's state": {false, `UPDATE state SET blob = 'x' WHERE kind = ?`, []any{"alert"},
			[]string{"state alert slate"}, true},
		"the reject log": {false, `UPDATE reject SET detail = ?`, []any{"nothing"}, []string{"reject log"}, true},
		"the last commit": {false, `DELETE FROM commits WHERE seq = (SELECT max(seq) FROM commits) AND ?`,
			[]any{true}, []string{"what came between is lost"}, true},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s, err := Open(t.Context(), dir, toSeal)
			require.NoError(t, err)
			fill(t, s, 3)
			if c.seal {
				_, err = s.Seal(t.Context())
				require.NoError(t, err)
			}
			require.NoError(t, s.Close())
			alter(t, dir, c.statement, c.args...)
			r, err := Check(t.Context(), dir)
			require.NoError(t, err)
			require.ErrorIs(t, r.Err(), roof.ErrDamaged)
			for _, w := range c.want {
				require.ErrorContains(t, r.Err(), w)
			}
			if c.served {
				return
			}
			text, ok := content(t, dir)
			require.False(t, ok, "damage must not be served")
			require.Contains(t, text, roof.ErrDamaged.Error())
		})
	}
}

func TestDamagedDayTakesNothingElseWithIt(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(t.Context(), dir, toSeal)
	require.NoError(t, err)
	fill(t, s, 3)
	_, err = s.Seal(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.Close())
	db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
	require.NoError(t, err)
	_, err = db.Exec(`UPDATE block SET data = zeroblob(10) WHERE logger = 1 AND day = ?`,
		dayOf(storetest.Epoch.UnixMilli()))
	require.NoError(t, err)
	require.NoError(t, db.Close())

	s = openIn(t, dir, Options{SealAfter: -1})
	_, err = s.Append(t.Context(), house, []roof.Reading{storetest.TRH("k7-loft", 60, 1, 1)})
	require.ErrorIs(t, err, roof.ErrDamaged)
	require.ErrorContains(t, err, "day 2026-11-25")
	require.Nil(t, s.Failing(), "the disk is well")
	storetest.Put(t, s, house, storetest.TRH("k7-loft", 4*86400, 1, 1), storetest.TRH("k8-slate", 60, 1, 1))
	require.Len(t, storetest.Read(t, s, house, "k7-loft", storetest.Epoch.Add(24*time.Hour), time.Time{}), 97)
}

func TestSealingLeavesADamagedDayForTheCheck(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(t.Context(), dir, Options{SealAfter: -1})
	require.NoError(t, err)
	fill(t, s, 3)
	require.NoError(t, s.Close())
	db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
	require.NoError(t, err)
	_, err = db.Exec(`DELETE FROM reading WHERE logger = 1 AND at = ?`, storetest.Epoch.UnixMilli())
	require.NoError(t, err)
	require.NoError(t, db.Close())
	s = openIn(t, dir, toSeal)
	days, err := s.Seal(t.Context())
	require.NoError(t, err)
	require.LessOrEqual(t, days, 5) // the store may have begun by itself
	r, err := s.Check(t.Context())
	require.NoError(t, err)
	require.ErrorContains(t, r.Err(), "47 readings, 48 were stored")
}
