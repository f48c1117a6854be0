package sqlite

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"strconv"
	"time"

	"dewcase/internal/roof"
)

// CasePut is a case file to be kept.
type CasePut struct {
	ID      string
	File    []byte
	By      string // who writes it, as far as known
	IfMatch string // write only over this ETag; "" does not ask
}

// PutCase keeps a case file; created says that there was none. The versions
// before it stay kept.
func (s *Store) PutCase(ctx context.Context, id string, file []byte) (created bool, err error) {
	_, created, err = s.WriteCase(ctx, CasePut{ID: id, File: file})
	return created, err
}

// WriteCase keeps a case file and gives its new ETag. Writing what is already
// there keeps no further version. With IfMatch it refuses with roof.ErrChanged
// if another version is in force.
func (s *Store) WriteCase(ctx context.Context, put CasePut) (etag string, created bool, err error) {
	sum := sha256.Sum256(put.File)
	etag = hex.EncodeToString(sum[:])
	file := put.File
	if file == nil {
		file = []byte{}
	}
	err = s.do(ctx, func(p *writeConn) error {
		now, has, err := p.caseETag(put.ID)
		if err != nil {
			return err
		}
		if put.IfMatch != "" && (!has || put.IfMatch != now) {
			return soft{roof.ErrChanged}
		}
		if created = !has; has && now == etag {
			return nil
		}
		return p.addCase(put.ID, put.By, etag, file)
	})
	if err != nil {
		return "", false, fmt.Errorf("keeping the case file of %s: %w", put.ID, err)
	}
	return etag, created, nil
}

// DeleteCase takes a case file out of force; its versions and its readings stay.
func (s *Store) DeleteCase(ctx context.Context, id, by string) error {
	err := s.do(ctx, func(p *writeConn) error {
		_, has, err := p.caseETag(id)
		if err != nil {
			return err
		}
		if !has {
			return soft{roof.ErrNotFound}
		}
		return p.addCase(id, by, "", nil)
	})
	return during(err, "removing case %s", id)
}

func (p *writeConn) caseETag(id string) (etag string, has bool, err error) {
	err = p.conn.QueryRowContext(context.Background(),
		`SELECT etag, file IS NOT NULL FROM case_file WHERE case_id = ? ORDER BY id DESC LIMIT 1`, id).Scan(&etag, &has)
	if errors.Is(err, sql.ErrNoRows) {
		return "", false, nil
	}
	return etag, has, err
}

// CarryCase adds the versions of a case file that came from another store, oldest
// first, as they were written there. Those that are kept here must be the first of
// them; otherwise it is another house, which is refused with roof.ErrTaken.
func (s *Store) CarryCase(ctx context.Context, versions []roof.CaseVersion) error {
	err := s.do(ctx, func(p *writeConn) error {
		for _, v := range versions {
			if v.Case != versions[0].Case {
				return soft{fmt.Errorf("versions of %s and %s in one history", versions[0].Case, v.Case)}
			}
			if sum := sha256.Sum256(v.File); v.ETag != "" && hex.EncodeToString(sum[:]) != v.ETag {
				return soft{fmt.Errorf("version %d of %s is not what it was", v.Number, v.Case)}
			}
		}
		here := 0
		if len(versions) == 0 {
			return nil
		}
		const kept = `SELECT etag, at FROM case_file WHERE case_id = ? ORDER BY id`
		if err := each(ctx, p.conn, kept, func(rows *sql.Rows) error {
			var etag string
			var at int64
			err := rows.Scan(&etag, &at)
			if err == nil && (here == len(versions) || versions[here].ETag != etag ||
				versions[here].Updated.UnixMilli() != at) {
				err = soft{fmt.Errorf("the history of %s differs from version %d on: %w", versions[0].Case, here+1,
					roof.ErrTaken)}
			}
			here++
			return err
		}, versions[0].Case); err != nil {
			return err
		}
		for _, v := range versions[here:] {
			file := v.File
			if v.ETag == "" {
				file = nil
			}
			if err := p.addCaseAt(v.Case, v.By, v.ETag, file, v.Updated.UnixMilli()); err != nil {
				return err
			}
		}
		return nil
	})
	return during(err, "keeping the versions of a case file")
}

func (p *writeConn) addCase(id, by, etag string, file []byte) error {
	return p.addCaseAt(id, by, etag, file, p.s.opt.Now().UnixMilli())
}

func (p *writeConn) addCaseAt(id, by, etag string, file []byte, at int64) error {
	ctx := context.Background()
	res, err := p.conn.ExecContext(ctx, `INSERT INTO case_file (case_id, at, by, etag, file) VALUES (?, ?, ?, ?, ?)`, id,
		at, by, etag, file)
	if err != nil {
		return err
	}
	n, err := res.LastInsertId()
	if err != nil {
		return err
	}
	t := p.ledger[ofCaseFiles]
	t = total{t.n + 1, linkOf(t.sum, n, at, id, by, etag, file)}
	p.change(ofCaseFiles, t)
	_, err = p.conn.ExecContext(ctx, `UPDATE case_file SET link = ? WHERE id = ?`, t.sum.bytes(), n)
	return err
}

// Case gives the case file in force; roof.ErrNotFound if there is none.
func (s *Store) Case(ctx context.Context, id string) (file []byte, etag string, updated time.Time, err error) {
	versions, err := s.versions(ctx, `SELECT case_id, 0, at, by, etag, 0, file FROM case_file
		WHERE case_id = ? ORDER BY id DESC LIMIT 1`, id)
	if err == nil && (len(versions) == 0 || versions[0].File == nil) {
		err = roof.ErrNotFound
	}
	if err != nil {
		return nil, "", time.Time{}, fmt.Errorf("case %s: %w", id, err)
	}
	return versions[0].File, versions[0].ETag, versions[0].Updated, nil
}

// Cases lists the cases in force by name, without their files.
func (s *Store) Cases(ctx context.Context) ([]roof.CaseVersion, error) {
	out, err := s.versions(ctx, `SELECT case_id, 0, at, by, etag, 0, NULL FROM case_file
		WHERE id IN (SELECT max(id) FROM case_file GROUP BY case_id) AND file IS NOT NULL ORDER BY case_id`)
	return out, during(err, "listing the cases")
}

// versionsOf are the versions of one case, counted from the first.
const versionsOf = ` FROM (SELECT case_id, row_number() OVER (ORDER BY id) AS n, at, by, etag,
	coalesce(length(file), 0) AS size, file FROM case_file WHERE case_id = ?) `

// CaseHistory lists the versions of a case file without the files, newest
// first, at most limit, older than the number before (0 for the newest); a
// version with an empty ETag says that the case was removed. A case that never
// was is roof.ErrNotFound.
func (s *Store) CaseHistory(ctx context.Context, id string, limit, before int) ([]roof.CaseVersion, error) {
	out, err := s.versions(ctx, `SELECT case_id, n, at, by, etag, size, NULL`+versionsOf+
		`WHERE ? < 1 OR n < ? ORDER BY n DESC LIMIT ?`, id, before, before, limit)
	if err == nil && len(out) == 0 && before < 1 {
		err = roof.ErrNotFound
	}
	return out, during(err, "reading the history of case %s", id)
}

// CaseVersion gives one version of a case file by its number or its ETag, of
// several with the same content the newest; roof.ErrNotFound if there is none.
func (s *Store) CaseVersion(ctx context.Context, id, version string) (roof.CaseVersion, error) {
	which, arg := `WHERE etag = ? AND file IS NOT NULL ORDER BY n DESC LIMIT 1`, any(version)
	if n, err := strconv.Atoi(version); err == nil {
		which, arg = `WHERE n = ?`, n
	}
	out, err := s.versions(ctx, `SELECT case_id, n, at, by, etag, size, file`+versionsOf+which, id, arg)
	if err == nil && len(out) == 0 {
		err = roof.ErrNotFound
	}
	if err != nil {
		return roof.CaseVersion{}, fmt.Errorf("version %s of case %s: %w", version, id, err)
	}
	return out[0], nil
}

func (s *Store) versions(ctx context.Context, query string, args ...any) ([]roof.CaseVersion, error) {
	var out []roof.CaseVersion
	err := s.each(ctx, query, func(rows *sql.Rows) error {
		var v roof.CaseVersion
		var at int64
		if err := rows.Scan(&v.Case, &v.Number, &at, &v.By, &v.ETag, &v.Size, &v.File); err != nil {
			return err
		}
		v.Updated = fromMS(at)
		if v.File != nil {
			if sum := sha256.Sum256(v.File); hex.EncodeToString(sum[:]) != v.ETag {
				return damaged(fmt.Errorf("the case file of %s, version of %s", v.Case, v.Updated.Format(stamp)))
			}
		}
		out = append(out, v)
		return nil
	}, args...)
	return out, err
}

// PutState keeps a blob under a kind and a key, in place of the one before.
func (s *Store) PutState(ctx context.Context, kind, key string, blob []byte) error {
	if blob == nil {
		blob = []byte{}
	}
	return during(s.do(ctx, func(p *writeConn) error { return p.putState(kind, key, blob) }), "keeping %s %s", kind, key)
}

func (p *writeConn) putState(kind, key string, blob []byte) error {
	if err := p.dropState(kind, key); err != nil {
		return err
	}
	at := p.s.opt.Now().UnixMilli()
	p.enter(ofState+kind, digestOfState(kind, key, at, blob))
	_, err := p.conn.ExecContext(context.Background(),
		`INSERT INTO state (kind, key, at, blob, crc) VALUES (?, ?, ?, ?, ?)`, kind, key, at, blob,
		stateCRC(kind, key, at, blob))
	return err
}

// DeleteState drops a blob; it is no error if there is none.
func (s *Store) DeleteState(ctx context.Context, kind, key string) error {
	return during(s.do(ctx, func(p *writeConn) error { return p.dropState(kind, key) }), "dropping %s %s", kind, key)
}

func (p *writeConn) dropState(kind, key string) error {
	return each(context.Background(), p.conn, `DELETE FROM state WHERE kind = ? AND key = ? RETURNING at, blob`,
		func(rows *sql.Rows) error {
			var at int64
			var blob []byte
			err := rows.Scan(&at, &blob)
			p.leave(ofState+kind, digestOfState(kind, key, at, blob))
			return err
		}, kind, key)
}

// State gives a kept blob; roof.ErrNotFound if there is none.
func (s *Store) State(ctx context.Context, kind, key string) ([]byte, error) {
	found, err := s.states(ctx, kind, `SELECT key, at, blob, crc FROM state WHERE kind = ? AND key = ?`, kind, key)
	if err == nil && len(found) == 0 {
		err = roof.ErrNotFound
	}
	if err != nil {
		return nil, fmt.Errorf("reading %s %s: %w", kind, key, err)
	}
	return found[0].Blob, nil
}

// States gives all blobs of a kind by key.
func (s *Store) States(ctx context.Context, kind string) ([]roof.KeptState, error) {
	found, err := s.states(ctx, kind, `SELECT key, at, blob, crc FROM state WHERE kind = ? ORDER BY key`, kind)
	return found, during(err, "reading what is kept as %s", kind)
}

func (s *Store) states(ctx context.Context, kind, query string, args ...any) ([]roof.KeptState, error) {
	var out []roof.KeptState
	err := s.each(ctx, query, func(rows *sql.Rows) error {
		var e roof.KeptState
		var at int64
		var crc uint32
		if err := rows.Scan(&e.Key, &at, &e.Blob, &crc); err != nil {
			return err
		}
		if stateCRC(kind, e.Key, at, e.Blob) != crc {
			return damaged(fmt.Errorf("%s %s", kind, e.Key))
		}
		e.At = fromMS(at)
		out = append(out, e)
		return nil
	}, args...)
	return out, err
}

func stateCRC(kind, key string, at int64, blob []byte) uint32 {
	return crc32.Update(undatedStateCRC(kind, key, blob), castagnoli, binary.AppendVarint(nil, at))
}

// undatedStateCRC is the check value of schemas before schemaLedger.
func undatedStateCRC(kind, key string, blob []byte) uint32 {
	return crc32.Update(crc32.Checksum([]byte(kind+"\x00"+key+"\x00"), castagnoli), castagnoli, blob)
}
