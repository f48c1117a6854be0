package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// A backup carries files that lie beside the store in a table that no store has:
// each in parts, so that none is held in memory.
const (
	createBeside = `CREATE TABLE beside (name TEXT, part INTEGER, bytes BLOB, PRIMARY KEY (name, part)) STRICT`
	besidePart   = 1 << 20
)

// copyBeside puts files of a folder, by their names in it, into a backup that is
// being made; one that is gone meanwhile is left out.
func copyBeside(ctx context.Context, dir, backup string, names []string) error {
	if len(names) == 0 {
		return nil
	}
	db, err := openAlone(backup)
	if err != nil {
		return err
	}
	defer db.Close()
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }()
	if _, err := tx.ExecContext(ctx, createBeside); err != nil {
		return err
	}
	buf := make([]byte, besidePart)
	for _, name := range names {
		f, err := os.Open(filepath.Join(dir, name))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err != nil {
			return err
		}
		for part := 0; err == nil; part++ {
			var n int
			n, err = io.ReadFull(f, buf)
			if n == 0 && part > 0 || err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
				break
			}
			if _, put := tx.ExecContext(ctx, `INSERT INTO beside VALUES (?, ?, ?)`, filepath.ToSlash(name), part,
				buf[:n]); put != nil {
				err = put
			}
		}
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			err = nil
		}
		if err = errors.Join(err, f.Close()); err != nil {
			return fmt.Errorf("putting %s into the backup: %w", name, err)
		}
	}
	return errors.Join(tx.Commit(), db.Close())
}

// openAlone opens a file that nobody else uses, to write.
func openAlone(file string) (*sql.DB, error) {
	abs, err := filepath.Abs(file)
	if err != nil {
		return nil, err
	}
	db := sql.OpenDB(connector{dsn(abs, "_pragma=journal_mode(DELETE)", "_pragma=synchronous(FULL)")})
	db.SetMaxOpenConns(1)
	return db, nil
}

// layBeside lays the files of a backup down in a folder, and takes them out of the
// copy that becomes its store.
func layBeside(ctx context.Context, copied, dir string) error {
	db, err := openAlone(copied)
	if err != nil {
		return err
	}
	defer db.Close()
	var n int
	if err := db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_master WHERE name = 'beside'`).Scan(&n); err != nil ||
		n == 0 {
		return err
	}
	if err := writeBeside(ctx, db, dir); err != nil {
		return err
	}
	for _, do := range []string{`DROP TABLE beside`, `VACUUM`} {
		if _, err := db.ExecContext(ctx, do); err != nil {
			return err
		}
	}
	return db.Close()
}

func writeBeside(ctx context.Context, db *sql.DB, dir string) (err error) {
	rows, err := db.QueryContext(ctx, `SELECT name, part, bytes FROM beside ORDER BY name, part`)
	if err != nil {
		return err
	}
	defer rows.Close()
	var f *os.File
	done := func() error {
		if f == nil {
			return nil
		}
		return errors.Join(f.Sync(), f.Close())
	}
	for rows.Next() {
		var name string
		var part int
		var b []byte
		if err := rows.Scan(&name, &part, &b); err != nil {
			return errors.Join(err, done())
		}
		if part == 0 {
			if err := done(); err != nil {
				return err
			}
			f = nil
			if !filepath.IsLocal(name) || !strings.HasPrefix(name, "files/") {
				return fmt.Errorf("the backup holds a file of the name %.100q; only files of the folder files belong into it",
					name)
			}
			to := filepath.Join(dir, filepath.FromSlash(name))
			if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
				return err
			}
			if f, err = os.OpenFile(to, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600); err != nil {
				return err
			}
		}
		if _, err := f.Write(b); err != nil {
			return errors.Join(err, done())
		}
	}
	return errors.Join(rows.Err(), done())
}
