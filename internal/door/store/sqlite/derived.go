package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"hash/crc32"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"dewcase/internal/roof"
)

// derivedName is the file of what was worked out from the record. It is a
// database of its own, so that nothing in it can be taken for evidence: no
// ledger covers it, no backup holds it, and whoever deletes it loses only time.
const derivedName = "derived.db"

// derivedSchema is raised with every change of derivedTables; a file of another
// schema is begun anew.
const derivedSchema = 4

const derivedTables = `
CREATE TABLE derived (
  kind TEXT NOT NULL,
  case_id TEXT NOT NULL,
  at INTEGER NOT NULL,      -- Unix ms; 0 where there is one a case
  rests BLOB NOT NULL,      -- digest of what it rests on
  made INTEGER NOT NULL,    -- Unix ms
  crc INTEGER NOT NULL,
  data BLOB NOT NULL
);
CREATE UNIQUE INDEX derived_key ON derived (case_id, kind, at);
CREATE INDEX derived_made ON derived (made);

-- What the list of houses is searched and sorted by; the summary is of kind house.
CREATE TABLE house (
  case_id TEXT PRIMARY KEY,
  name TEXT NOT NULL,
  search TEXT NOT NULL,         -- name and id in small letters
  weight INTEGER NOT NULL,      -- how pressing, silent loggers aside
  need TEXT NOT NULL,           -- for what
  wet_nights INTEGER NOT NULL,  -- of the last 7
  wet_before INTEGER NOT NULL,  -- of the 7 before
  wet_month INTEGER NOT NULL,   -- of the last 30
  seen_week INTEGER NOT NULL,   -- observed, of the last 7
  seen_month INTEGER NOT NULL,  -- of the last 30
  finding TEXT NOT NULL,
  verdict TEXT NOT NULL,
  unseen INTEGER NOT NULL DEFAULT 0, -- alerts in force that nobody has seen
  last INTEGER,                 -- Unix ms, NULL without a reading
  silent_from INTEGER,          -- Unix ms, NULL never: when the first of its loggers counts as silent
  silent_all INTEGER,           -- when the last does
  made INTEGER,                 -- Unix ms, NULL not yet
  rests BLOB NOT NULL
) WITHOUT ROWID;
CREATE INDEX house_search ON house (search);`

// idleDerived is how many connections stay open.
const idleDerived = 4

// maxDerivedBytes bounds the file; beyond it what is oldest is dropped.
const maxDerivedBytes = 8 << 30

// Derived is the file of what was worked out from a record. It is safe for
// concurrent use. Its values are lost with the file and never wrong: each is one
// row with a check value, written in one transaction.
type Derived struct {
	path   string
	db     *prepared
	now    func() time.Time
	census census   // of the list of houses
	mend   *mending // nil: it is only read
}

// OpenDerived opens the file of derived values in a data folder, whose store must
// be open. A file that cannot be used is begun anew; with anew, any is.
func OpenDerived(ctx context.Context, dir string, anew bool, now func() time.Time,
	log *slog.Logger) (*Derived, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("opening what was worked out in %s: %w", dir, err)
	}
	d := &Derived{path: filepath.Join(abs, derivedName), now: now, mend: &mending{log: log}}
	if !anew {
		err := d.open(ctx)
		if err == nil {
			return d, nil
		}
		if ofDisk(err) {
			return nil, fmt.Errorf("opening %s: %w", d.path, explain(err))
		}
		d.mend.tell(d.path, err)
	}
	if err := d.remove(); err != nil {
		return nil, err
	}
	if err := d.open(ctx); err != nil {
		return nil, fmt.Errorf("beginning %s anew: %w", d.path, explain(err))
	}
	return d, nil
}

// open connects.
func (d *Derived) open(ctx context.Context) error {
	d.db = d.connect()
	if err := d.lay(ctx, d.db); err != nil {
		return errors.Join(err, d.db.Close())
	}
	return nil
}

// connect opens the file. No commit waits for the disk: a power cut takes the last
// ones whole, and they are worked out again.
func (d *Derived) connect() *prepared {
	db := prepare(sql.OpenDB(connector{dsn(d.path, "_pragma=busy_timeout(10000)", "_pragma=journal_mode(WAL)",
		"_pragma=synchronous(NORMAL)", "_pragma=journal_size_limit(16777216)",
		fmt.Sprintf("_pragma=max_page_count(%d)", maxDerivedBytes/4096))}))
	db.SetMaxOpenConns(4)
	db.SetMaxIdleConns(idleDerived)
	db.SetConnMaxLifetime(time.Hour) // one to a file that was begun anew meanwhile
	return db
}

// lay makes the tables of an empty file; one of another schema is an error.
func (d *Derived) lay(ctx context.Context, db *prepared) error {
	var version, tables int
	if err := db.QueryRowContext(ctx, `SELECT user_version, (SELECT count(*) FROM sqlite_master)
		FROM pragma_user_version`).Scan(&version, &tables); err != nil {
		return err
	}
	if version == 0 && tables == 0 {
		if err := os.Chmod(d.path, 0o600); err != nil {
			return err
		}
		_, err := db.ExecContext(ctx, fmt.Sprintf("BEGIN; %s PRAGMA user_version = %d; COMMIT", derivedTables,
			derivedSchema))
		return err
	}
	if version != derivedSchema {
		return fmt.Errorf("it is of schema %d, this version knows %d", version, derivedSchema)
	}
	return nil
}

// Close gives the file up.
func (d *Derived) Close() error { return during(d.db.Close(), "closing %s", d.path) }

// Kept gives what is kept of a kind and a case over [from, until), in Unix ms, in the
// order of time. What is damaged is left out.
func (d *Derived) Kept(ctx context.Context, kind, caseID string, from, until int64) ([]roof.Derived, error) {
	var out []roof.Derived
	begun := d.begun()
	err := each(ctx, d.db, `SELECT at, rests, made, crc, data FROM derived
		WHERE case_id = ? AND kind = ? AND at >= ? AND at < ? ORDER BY at`, func(rows *sql.Rows) error {
		var v roof.Derived
		var rests []byte
		var made int64
		var crc uint32
		if err := rows.Scan(&v.AtMS, &rests, &made, &crc, &v.Data); err != nil {
			return nil //nolint:nilerr // none of these types was written: it is damaged
		}
		copy(v.Rests[:], rests)
		v.Made = fromMS(made)
		if derivedCRC(kind, caseID, v) == crc {
			out = append(out, v)
		}
		return nil
	}, caseID, kind, from, until)
	if d.mended(ctx, begun, err) {
		return nil, nil
	}
	return out, during(err, "reading what was worked out of case %s", caseID)
}

// Keep keeps values, with the time, in place of those of the same kind, case and time.
func (d *Derived) Keep(ctx context.Context, kind, caseID string, values []roof.Derived) error {
	begun := d.begun()
	err := d.put(ctx, kind, caseID, values)
	if d.mended(ctx, begun, err) {
		err = d.put(ctx, kind, caseID, values)
	}
	if isCode(err, codeFull) {
		// Of the file or of the disk: either way what is oldest makes room.
		if _, err = d.db.ExecContext(ctx, `DELETE FROM derived WHERE rowid IN
			(SELECT rowid FROM derived ORDER BY made LIMIT (SELECT count(*) / 8 + 1 FROM derived))`); err == nil {
			err = d.put(ctx, kind, caseID, values)
		}
	}
	return during(err, "keeping what was worked out of case %s", caseID)
}

func (d *Derived) put(ctx context.Context, kind, caseID string, values []roof.Derived) error {
	tx, err := d.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }()
	if err := d.putIn(ctx, d.db.in(tx), kind, caseID, values); err != nil {
		return err
	}
	return tx.Commit()
}

func (d *Derived) putIn(ctx context.Context, tx executor, kind, caseID string, values []roof.Derived) error {
	for _, v := range values {
		v.Made = fromMS(d.now().UnixMilli())
		if _, err := tx.ExecContext(ctx, `INSERT OR REPLACE INTO derived (kind, case_id, at, rests, made, crc, data)
			VALUES (?, ?, ?, ?, ?, ?, ?)`, kind, caseID, v.AtMS, v.Rests[:], v.Made.UnixMilli(),
			derivedCRC(kind, caseID, v), v.Data); err != nil {
			return err
		}
	}
	return nil
}

// derivedCRC covers a value with its key, what it rests on and when it was made.
func derivedCRC(kind, caseID string, v roof.Derived) uint32 {
	crc := crc32.Checksum(fmt.Appendf(nil, "%s\x00%s\x00%d\x00%d\x00", kind, caseID, v.AtMS, v.Made.UnixMilli()),
		castagnoli)
	return crc32.Update(crc32.Update(crc, castagnoli, v.Rests[:]), castagnoli, v.Data)
}

// DaySums gives what the store holds of each logger of a case on the UTC days
// from one to another, both with them, by logger and day.
func (s *Store) DaySums(ctx context.Context, caseID string, from, until int64) ([]roof.DaySum, error) {
	var out []roof.DaySum
	err := s.each(ctx, `SELECT l.name, d.day, d.n, d.digest FROM logger l JOIN day d ON d.logger = l.id
		WHERE l.case_id = ? AND d.day BETWEEN ? AND ? ORDER BY l.name, d.day`, func(rows *sql.Rows) error {
		var x roof.DaySum
		var sum sql.RawBytes
		err := rows.Scan(&x.Logger, &x.Day, &x.Count, &sum)
		copy(x.Sum[:], sum)
		out = append(out, x)
		return err
	}, caseID, from, until)
	return out, during(err, "listing the days of case %s", caseID)
}

// Reading opens a data folder's record and what was worked out from it to be read
// and no more, whether or not a daemon has the folder; derived is nil where nothing
// is kept. Only the methods that read may be called.
func Reading(ctx context.Context, dir string) (store *Store, derived *Derived, end func() error, err error) {
	if _, err := os.Stat(filepath.Join(dir, fileName)); err != nil {
		return nil, nil, nil, fmt.Errorf("reading the store in %s: there is none: %w", dir, err)
	}
	db, err := openToRead(ctx, filepath.Join(dir, fileName))
	if err != nil {
		return nil, nil, nil, explain(err)
	}
	s := &Store{dir: dir, opt: Options{}.withDefaults(), read: prepare(db)}
	var elsewhere int64
	if err := db.QueryRowContext(ctx, `SELECT count(*) FROM day WHERE sealed = 3`).Scan(&elsewhere); err != nil {
		return nil, nil, nil, errors.Join(explain(err), db.Close())
	}
	s.remoteDays.Store(elsewhere)
	file := filepath.Join(dir, derivedName)
	if _, err := os.Stat(file); err != nil {
		return s, nil, db.Close, nil
	}
	kept, err := openToRead(ctx, file)
	if err != nil {
		return nil, nil, nil, errors.Join(explain(err), db.Close())
	}
	var version int
	if err := kept.QueryRowContext(ctx, `SELECT user_version FROM pragma_user_version`).Scan(&version); err != nil ||
		version != derivedSchema { // it will be begun anew
		return s, nil, func() error { return errors.Join(kept.Close(), db.Close()) }, nil
	}
	d := &Derived{path: file, db: prepare(kept), now: time.Now}
	return s, d, func() error { return errors.Join(kept.Close(), db.Close()) }, nil
}
