package sqlite

import (
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

// written is a store that holds something of every kind that evidence rests on,
// the newest last: case files with their history, alerts, rejects, readings,
// conflicts, and readings that wait for another engine.
func written(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	now := time.Date(2026, 11, 28, 8, 0, 0, 0, time.UTC)
	s, err := Open(t.Context(), dir, Options{SealAfter: -1, Outbox: true, Now: func() time.Time {
		now = now.Add(time.Second)
		return now
	}})
	require.NoError(t, err)
	fill(t, s, 3)
	ctx := t.Context()
	for _, file := range []string{"repair: 2026-11-10", "repair: 2026-11-12", "repair: 2026-11-14"} {
		for _, id := range []string{"hazel-2", house} {
			_, _, err := s.WriteCase(ctx, CasePut{ID: id, File: []byte(file), By: "consultant"})
			require.NoError(t, err)
		}
	}
	require.NoError(t, s.DeleteCase(ctx, "hazel-2", "consultant"))
	_, err = s.PutCase(ctx, house, []byte("repair: 2026-11-16"))
	require.NoError(t, err)
	require.NoError(t, s.PutState(ctx, "alert_book", house, []byte(`{"seen":"2026-11-27"}`)))
	require.NoError(t, s.PutState(ctx, "home_token", house, []byte("link")))
	require.NoError(t, s.PutState(ctx, "home_token", "gone", nil))
	require.NoError(t, s.DeleteState(ctx, "home_token", "gone"))
	for i := range 3 {
		require.NoError(t, s.AppendReject(ctx, roof.Reject{At: storetest.Epoch, Case: house, Line: i,
			Reason: roof.UnknownCase, Detail: "nobody knows it"}))
	}
	out, last, err := s.Pending(ctx, 0, 1000)
	require.NoError(t, err)
	require.NotEmpty(t, out)
	require.NoError(t, s.Sent(ctx, last), "some of it was copied already")
	for i := range 3 {
		storetest.Put(t, s, house, storetest.TRH("k7-loft", float64(10*86400+i), 1, 50))
	}
	require.NoError(t, s.Close())
	r, err := Check(ctx, dir)
	require.NoError(t, err)
	require.NoError(t, r.Err())
	return dir
}

// Whoever has the folder and an SQL prompt can edit anything in it; each edit is
// named, also where the digest in the row itself was worked out again.
func TestEveryEditByHandIsNamed(t *testing.T) {
	forged := []byte("repair: 2026-10-10")
	sum := sha256.Sum256(forged)
	etag := hex.EncodeToString(sum[:])
	const newest = `(SELECT max(id) FROM case_file WHERE case_id = 'larkfield-9')`
	const theirs, none = "the case file of larkfield-9, version of 2026-11-28 08:", "are not those that were written"
	for name, c := range map[string]struct {
		statement string
		args      []any
		want      string
	}{
		"case file: time moved back": {`UPDATE case_file SET at = at - 86400000 * 30 WHERE id = ` + newest, nil,
			"the case file of larkfield-9, version of 2026-10-29 08:"},
		"case file: author changed": {`UPDATE case_file SET by = 'somebody' WHERE id = ` + newest, nil, theirs},
		"case file: content changed": {`UPDATE case_file SET file = ? WHERE id = ` + newest, []any{forged},
			theirs},
		"case file: digest changed": {`UPDATE case_file SET etag = ? WHERE id = ` + newest, []any{etag}, theirs},
		"case file: content and digest changed": {`UPDATE case_file SET file = ?, etag = ? WHERE id = ` + newest,
			[]any{forged, etag}, theirs},
		"case file: an old version changed": {`UPDATE case_file SET file = ?, etag = ? WHERE id = 2`,
			[]any{forged, etag}, "the case file of hazel-2"},
		"case file: given to another house": {`UPDATE case_file SET case_id = 'hazel-2' WHERE id = ` + newest, nil,
			"the case file of hazel-2"},
		"case file: newest version deleted": {`DELETE FROM case_file WHERE id = ` + newest, nil,
			"versions of case files: 8 are there, 9 were written"},
		"case file: a version between deleted": {`DELETE FROM case_file WHERE id = 4`, nil,
			"1 versions of case files are missing before the case file of"},
		"case file: the first deleted": {`DELETE FROM case_file WHERE id = 1`, nil,
			"1 versions of case files are missing before"},
		"case file: all deleted": {`DELETE FROM case_file`, nil,
			"versions of case files: 0 are there, 9 were written"},
		"case file: two exchanged": {`UPDATE case_file SET id = CASE id WHEN 3 THEN -5 ELSE -3 END WHERE id IN (3, 5);
			UPDATE case_file SET id = -id WHERE id < 0`, nil, "the case file of larkfield-9"},
		"case file: removal taken back": {`UPDATE case_file SET file = '', etag = ? WHERE file IS NULL`, []any{etag},
			"the case file of hazel-2"},
		"case file: a version inserted": {`INSERT INTO case_file (case_id, at, by, etag, file, link)
			SELECT 'larkfield-9', at, by, ?, ?, link FROM case_file WHERE id = ` + newest, []any{etag, forged},
			"put in by hand"},
		"reject deleted":       {`DELETE FROM reject WHERE id = 2`, nil, "entries of the reject log: 3 are there, 4 were written"},
		"reject altered":       {`UPDATE reject SET detail = 'nothing'`, nil, "number 1 of the reject log was altered"},
		"reject renumbered":    {`UPDATE reject SET id = 77 WHERE id = 2`, nil, "entries of the reject log " + none},
		"reject counts zeroed": {`UPDATE reject_count SET n = 0`, nil, "counts of rejects by reason " + none},
		"reject counts deleted": {`DELETE FROM reject_count`, nil,
			"counts of rejects by reason: 0 are there, 2 were written"},
		"alert state deleted": {`DELETE FROM state WHERE kind = 'alert_book'`, nil,
			"entries of the daemon's state alert_book: 0 are there, 1 were written"},
		"alert state altered": {`UPDATE state SET blob = '{}' WHERE kind = 'alert_book'`, nil,
			"the state alert_book larkfield-9 was altered"},
		"alert state moved back": {`UPDATE state SET at = at - 86400000 WHERE kind = 'alert_book'`, nil,
			"the state alert_book larkfield-9 was altered"},
		"household's link added": {`INSERT INTO state (kind, key, at, blob, crc)
			SELECT kind, 'beech-1', at, blob, crc FROM state WHERE kind = 'home_token'`, nil,
			"entries of the daemon's state home_token: 2 are there, 1 were written"},
		"waiting readings deleted": {`DELETE FROM outbox`, nil, "the outbox: 3 readings at its end are missing"},
		"one waiting reading deleted": {`DELETE FROM outbox WHERE seq = (SELECT min(seq) FROM outbox)`, nil,
			"the outbox: 1 readings before entry"},
		"waiting reading altered": {`UPDATE outbox SET entries = substr(entries, 1, length(entries) - 1) || x'00'`, nil,
			"the outbox: entry"},
		"day's digest": {`UPDATE day SET digest = zeroblob(32) WHERE day = (SELECT min(day) FROM day)`, nil,
			"the days' digests are not those that the last commit covers"},
		"day and its readings": {`DELETE FROM reading WHERE logger = 1 AND at < 1764000000000 + 86400000 * 400;
			DELETE FROM day WHERE logger = 1`, nil, "the days' digests are not those"},
		"commit altered":  {`UPDATE commits SET at = at - 1 WHERE seq = 5`, nil, "the chain of commits: number 5"},
		"commits deleted": {`DELETE FROM commits WHERE seq IN (5, 6)`, nil, "the chain of commits: 2 that were made between"},
		"commits without a ledger": {`UPDATE commits SET days = NULL, ledger = NULL`, nil,
			"the chain of commits was cut"},
		"ledger altered to fit": {`DELETE FROM state WHERE kind = 'alert_book'; DELETE FROM ledger
			WHERE kind = 'state alert_book'`, nil, "the ledger is not the one that the last commit covers"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := written(t)
			db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
			require.NoError(t, err)
			res, err := db.Exec(c.statement, c.args...)
			require.NoError(t, err)
			n, err := res.RowsAffected()
			require.NoError(t, err)
			require.NotZero(t, n)
			require.NoError(t, db.Close())
			r, err := Check(t.Context(), dir)
			require.NoError(t, err)
			require.ErrorIs(t, r.Err(), roof.ErrDamaged)
			require.ErrorContains(t, r.Err(), c.want)

			// Going on does not make it look whole.
			put(t, dir, storetest.TRH("k8-slate", 20*86400, 1, 1))
			r, err = Check(t.Context(), dir)
			require.NoError(t, err)
			require.ErrorIs(t, r.Err(), roof.ErrDamaged)
		})
	}
}

// The ledger is worked out step by step while writing and all at once by the
// check: they agree after any mixture of writing, trimming, removing and failing.
func TestTheLedgerFollowsWhatIsWritten(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(t.Context(), dir, Options{SealAfter: -1, RejectRows: 20, Outbox: true})
	require.NoError(t, err)
	ctx := t.Context()
	for i := range 120 {
		switch i % 6 {
		case 0:
			_, err = s.PutCase(ctx, house, fmt.Append(nil, i/12))
		case 1:
			err = s.AppendReject(ctx, roof.Reject{At: storetest.Epoch, Reason: roof.Reasons()[i%5], Payload: make([]byte, i)})
		case 2:
			err = s.PutState(ctx, fmt.Sprint("kind", i%4), fmt.Sprint(i%7), fmt.Append(nil, i))
		case 3:
			err = s.DeleteState(ctx, fmt.Sprint("kind", i%4), fmt.Sprint(i%5))
		case 4:
			storetest.Put(t, s, house, storetest.TRH("k7", float64(i%40)*7200, float64(i%3), 50))
		case 5:
			_, _, err = s.WriteCase(ctx, CasePut{ID: house, File: []byte("never"), IfMatch: "another"})
			require.ErrorIs(t, err, roof.ErrChanged)
			_, last, e := s.Pending(ctx, 0, 1)
			require.NoError(t, e)
			err = s.Sent(ctx, last)
		}
		require.NoError(t, err)
		if i == 60 {
			require.NoError(t, s.Close())
			s = openIn(t, dir, Options{SealAfter: -1, RejectRows: 20, Outbox: true})
		}
		r, err := s.Check(ctx)
		require.NoError(t, err)
		require.NoError(t, r.Err(), "after step %d", i)
	}
	broken := fmt.Errorf("a mistake of ours")
	require.ErrorIs(t, s.do(ctx, func(p *writeConn) error {
		require.NoError(t, p.putState("kind0", "0", []byte("never")))
		return broken
	}), broken)
	require.NoError(t, s.PutState(ctx, "kind1", "0", nil))
	r, err := s.Check(ctx)
	require.NoError(t, err)
	require.NoError(t, r.Err(), "what did not come about is not in the ledger")
}
