package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

var update = flag.Bool("update", false, "write the kept store of the newest schema, if there is none yet")

func keptStore(schema int) string {
	return filepath.Join("testdata", "stores", fmt.Sprintf("schema%d.db", schema))
}

// Every schema that was released has a store kept in testdata; it must open, be
// brought up to date and say all that it said.
func TestStoresOfEveryReleasedSchemaAreUpgraded(t *testing.T) {
	if newest := keptStore(len(migrations)); *update {
		_, err := os.Stat(newest)
		require.ErrorIs(t, err, os.ErrNotExist, "a kept store is never written again")
		s := openIn(t, t.TempDir(), toSeal)
		fill(t, s, 2)
		_, err = s.Seal(t.Context())
		require.NoError(t, err)
		storetest.Put(t, s, house, storetest.TRH("k7-loft", 10*86400, 1.0/3, 50))
		require.NoError(t, failed(s.Backup(t.Context(), newest)))
	}
	for schema := 1; schema <= len(migrations); schema++ {
		t.Run(fmt.Sprint("schema ", schema), func(t *testing.T) {
			r, err := checkBackup(t.Context(), keptStore(schema))
			require.NoError(t, err)
			require.NoError(t, r.Err(), "a store is checked in its own schema")
			require.Equal(t, schema, r.Schema)
			require.EqualValues(t, 193, r.Readings)

			dir := filepath.Join(t.TempDir(), "data")
			require.NoError(t, failed(Restore(t.Context(), keptStore(schema), dir)))
			s := openIn(t, dir, toSeal)
			require.Empty(t, incidents(t, s))
			_, err = s.Seal(t.Context())
			require.NoError(t, err)
			var old int
			require.NoError(t, s.read.QueryRow(`SELECT count(*) FROM block WHERE pieces < 0`).Scan(&old))
			require.Zero(t, old, "blocks of the first format are written anew")

			fresh := openIn(t, t.TempDir(), Options{SealAfter: -1})
			want := append(fill(t, fresh, 2), storetest.TRH("k7-loft", 10*86400, 1.0/3, 50))
			storetest.Same(t, want, storetest.All(t, s, house, "k7-loft"))
			for _, o := range storetest.Put(t, s, house, want...) {
				require.Equal(t, roof.Duplicate, o)
			}
			aside, err := s.Conflicts(t.Context(), house, 10)
			require.NoError(t, err)
			require.Len(t, aside, 1)
			file, _, _, err := s.Case(t.Context(), house)
			require.NoError(t, err)
			require.Equal(t, "case: larkfield-9\n", string(file))
			r, err = s.Check(t.Context())
			require.NoError(t, err)
			require.NoError(t, r.Err())
			require.Equal(t, len(migrations), r.Schema)
		})
	}
}

// What an older schema did not protect is protected from the upgrade on, and the
// upgrade does not make whole what was altered before it.
func TestAnUpgradeBringsWhatIsThereIntoTheChain(t *testing.T) {
	for schema := 1; schema < schemaLedger; schema++ {
		for name, c := range map[string]struct{ before, after, want string }{
			"moved back afterwards":   {"", `UPDATE case_file SET at = at - 1000`, "is not as it was written"},
			"state deleted":           {"", `DELETE FROM state`, "entries of the daemon's state alert: 0 are there, 1 were"},
			"reject deleted":          {"", `DELETE FROM reject`, "entries of the reject log: 0 are there"},
			"altered before it":       {`UPDATE case_file SET file = 'case: other'`, "", "the case file of larkfield-9"},
			"state altered before it": {`UPDATE state SET blob = 'x'`, "", "the state alert slate was altered"},
		} {
			t.Run(fmt.Sprint("schema ", schema, ", ", name), func(t *testing.T) {
				dir := filepath.Join(t.TempDir(), "data")
				require.NoError(t, failed(Restore(t.Context(), keptStore(schema), dir)))
				edit := func(statement string) {
					db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
					require.NoError(t, err)
					_, err = db.Exec(statement)
					require.NoError(t, err)
					require.NoError(t, db.Close())
				}
				edit(c.before)
				s, err := Open(t.Context(), dir, Options{SealAfter: -1})
				require.NoError(t, err)
				require.NoError(t, s.Close())
				edit(c.after)
				r, err := Check(t.Context(), dir)
				require.NoError(t, err)
				require.ErrorContains(t, r.Err(), c.want)
			})
		}
	}
}

// Faults, row 54: an upgrade that ends half-way leaves the old schema whole.
func TestInterruptedUpgradeLeavesTheOldSchema(t *testing.T) {
	file := filepath.Join(t.TempDir(), "old.db")
	b, err := os.ReadFile(keptStore(1))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, b, 0o600))
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	defer db.Close()
	conn, err := db.Conn(t.Context())
	require.NoError(t, err)
	defer conn.Close()
	broken := errors.New("the power went")
	err = inTransaction(t.Context(), conn, func() error {
		_, err := conn.ExecContext(t.Context(), migrations[1])
		require.NoError(t, err)
		return broken
	})
	require.ErrorIs(t, err, broken)
	version, err := schemaOf(t.Context(), conn)
	require.NoError(t, err)
	require.Equal(t, 1, version)
	r, err := checkBackup(t.Context(), file)
	require.NoError(t, err)
	require.NoError(t, r.Err())
	from, err := migrate(context.Background(), conn, wayAhead())
	require.NoError(t, err)
	require.Equal(t, 1, from)
}
