package sqlite

import (
	"context"
	"crypto/rand"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"time"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

// applicationID marks a database file as a store of this program ("dewc").
const applicationID = 0x64657763

// migrations are the schema's steps in order; the schema's version is their
// number. Released files are never changed, only added to.
var migrations = func() []string {
	names, err := fs.Glob(migrationFiles, "migrations/*.sql")
	if err != nil {
		panic(err) // a constant pattern
	}
	var out []string
	for _, n := range names {
		b, err := migrationFiles.ReadFile(n)
		if err != nil {
			panic(err) // embedded
		}
		out = append(out, string(b))
	}
	return out
}()

// errNewer says that a store was written by a later program.
var errNewer = errors.New("the store was written by a newer dewcase")

// errForeign says that a file is no store of this program.
var errForeign = errors.New("not a dewcase store")

// executor is what a connection, a transaction and a pool have in common.
type executor interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// schemaOf reads the version of a store's schema, 0 for an empty database.
func schemaOf(ctx context.Context, db executor) (int, error) {
	var version, app, tables int
	if err := db.QueryRowContext(ctx, `SELECT user_version, application_id, (SELECT count(*) FROM sqlite_master)
		FROM pragma_user_version, pragma_application_id`).Scan(&version, &app, &tables); err != nil {
		return 0, err
	}
	switch {
	case app == 0 && version == 0 && tables == 0:
		return 0, nil
	case app != applicationID:
		return 0, errForeign
	case version > len(migrations):
		return 0, fmt.Errorf("%w (schema %d, this one knows %d): use that version again, or restore a backup made before "+
			"the upgrade; nothing was changed", errNewer, version, len(migrations))
	}
	return version, nil
}

// migrate brings a store to the newest schema, each step in a transaction of
// its own, so that a kill leaves either the old or the new schema.
func migrate(ctx context.Context, conn *sql.Conn, now time.Time) (from int, err error) {
	from, err = schemaOf(ctx, conn)
	if err != nil {
		return 0, err
	}
	for v := from; v < len(migrations); v++ {
		if err := inTransaction(ctx, conn, func() error {
			if _, err := conn.ExecContext(ctx, migrations[v]); err != nil {
				return err
			}
			if v == 0 {
				id := make([]byte, 16)
				if _, err := rand.Read(id); err != nil {
					return err
				}
				if _, err := conn.ExecContext(ctx, `INSERT INTO store (name, value) VALUES ('id', ?)`, id); err != nil {
					return err
				}
			}
			if v+1 == schemaLedger {
				if err := beginLedger(ctx, conn, now.UnixMilli()); err != nil {
					return err
				}
			}
			_, err := conn.ExecContext(ctx, fmt.Sprintf(`PRAGMA application_id = %d; PRAGMA user_version = %d`, applicationID,
				v+1))
			return err
		}); err != nil {
			return from, fmt.Errorf("upgrading the store from schema %d to %d: %w", v, v+1, err)
		}
	}
	return from, nil
}

func inTransaction(ctx context.Context, conn *sql.Conn, do func() error) error {
	if _, err := conn.ExecContext(ctx, `BEGIN IMMEDIATE`); err != nil {
		return err
	}
	err := do()
	if err == nil {
		_, err = conn.ExecContext(ctx, `COMMIT`)
	}
	if err != nil {
		_, _ = conn.ExecContext(context.WithoutCancel(ctx), `ROLLBACK`)
	}
	return err
}
