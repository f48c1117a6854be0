package sqlite

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"
)

// Readers that hold every connection and ask what nobody asked before do not wait
// for each other.
func TestAQueryIsPreparedWithoutHoldingUpThoseThatHoldConnections(t *testing.T) {
	db := prepare(sql.OpenDB(connector{dsn(filepath.Join(t.TempDir(), "p.db"))}))
	defer func() { require.NoError(t, db.Close()) }()
	db.SetMaxOpenConns(2)
	_, err := db.ExecContext(t.Context(), `CREATE TABLE x (a INTEGER)`)
	require.NoError(t, err)
	var readers errgroup.Group
	for n := range 8 {
		readers.Go(func() error {
			for k := range 40 {
				tx, err := db.BeginTx(t.Context(), nil)
				if err != nil {
					return err
				}
				var a int
				if err = db.in(tx).QueryRowContext(t.Context(), fmt.Sprintf("SELECT %d", n*40+k)).Scan(&a); err == nil {
					err = tx.Commit()
				}
				if err != nil || a != n*40+k {
					return fmt.Errorf("%d: %w", a, err)
				}
				rows, err := db.QueryContext(t.Context(), fmt.Sprintf("SELECT a FROM x WHERE a > %d", k))
				if err != nil {
					return err
				}
				if err := rows.Close(); err != nil {
					return err
				}
			}
			return nil
		})
	}
	done := make(chan error, 1)
	go func() { done <- readers.Wait() }()
	select {
	case err := <-done:
		require.NoError(t, err)
	case <-time.After(time.Minute):
		require.FailNow(t, "readers wait for each other")
	}
	_, err = db.QueryContext(t.Context(), "SELECT a FROM nowhere") //nolint:sqlclosecheck,rowserrcheck // fails
	require.ErrorContains(t, err, "nowhere")
}
