package sqlite

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"dewcase/internal/roof"
)

// What a reject may take in the log, in bytes.
const (
	rejectPayload = roof.RejectPayloadBytes
	rejectText    = 512
)

// AppendReject keeps rejects in the log and counts them. The oldest are dropped
// when the log is full; the counts stay.
func (s *Store) AppendReject(ctx context.Context, rejects ...roof.Reject) error {
	if len(rejects) == 0 {
		return nil
	}
	err := s.do(ctx, func(p *writeConn) error {
		for _, r := range rejects {
			if err := p.reject(r); err != nil {
				return err
			}
		}
		if err := p.trimRejects(); err != nil {
			return err
		}
		return p.countReasons()
	})
	return during(err, "keeping a reject")
}

// cut shortens text to what the log keeps, at a rune's end.
func cut(s string) string {
	if len(s) > rejectText {
		n := rejectText
		for n > rejectText-utf8.UTFMax && !utf8.RuneStart(s[n]) {
			n--
		}
		s = s[:n]
	}
	return strings.ToValidUTF8(s, "\uFFFD")
}

func (p *writeConn) reject(r roof.Reject) error {
	ctx := context.Background()
	if p.s.nearlyFull() && len(r.Payload) > 0 {
		r.Payload = nil // before readings are refused, what was rejected is kept without its bytes
		r.Detail += " (its bytes were not kept, because the disk is nearly full)"
	}
	r.Case, r.Logger, r.Source, r.Detail = cut(r.Case), cut(r.Logger), cut(r.Source), cut(r.Detail)
	if len(r.Payload) > rejectPayload {
		r.Payload = r.Payload[:rejectPayload]
	}
	if r.Payload == nil {
		r.Payload = []byte{}
	}
	r.At = fromMS(r.At.UnixMilli())
	size := len(r.Payload) + len(r.Case) + len(r.Logger) + len(r.Source) + len(r.Detail) + 64
	res, err := p.conn.ExecContext(ctx, `INSERT INTO reject
		(at, case_id, logger, source, line, reason, detail, payload, size, crc) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		r.At.UnixMilli(), r.Case, r.Logger, r.Source, lineOf(r), string(r.Reason), r.Detail, r.Payload, size, rejectCRC(r))
	if err != nil {
		return err
	}
	id, err := res.LastInsertId()
	if err != nil {
		return err
	}
	p.enter(ofRejects, digestOfReject(roof.KeptReject{ID: id, Reject: r}))
	if p.rejectRows >= 0 {
		p.rejectRows++
		p.rejectBytes += int64(size)
	}
	_, err = p.conn.ExecContext(ctx, `INSERT INTO reject_count (reason, n, dropped) VALUES (?, 1, 0)
		ON CONFLICT DO UPDATE SET n = n + 1`, string(r.Reason))
	return err
}

// countReasons brings the counts by reason into the ledger.
func (p *writeConn) countReasons() error {
	var t total
	err := each(context.Background(), p.conn, `SELECT reason, n, dropped FROM reject_count`, func(rows *sql.Rows) error {
		h, err := digestOfCount(rows)
		t.n++
		t.sum.add(h)
		return err
	})
	p.change(ofCounts, t)
	return err
}

// trimRejects drops the oldest rejects until the log is back within its bounds,
// with some room so that this is not done for every reject.
func (p *writeConn) trimRejects() error {
	ctx := context.Background()
	if p.rejectRows < 0 {
		if err := p.conn.QueryRowContext(ctx, `SELECT count(*), coalesce(sum(size), 0) FROM reject`).Scan(&p.rejectRows,
			&p.rejectBytes); err != nil {
			return err
		}
	}
	rows, bytes := int64(p.s.opt.RejectRows), p.s.opt.RejectBytes
	if p.rejectRows <= rows && p.rejectBytes <= bytes {
		return nil
	}
	rows, bytes = rows-rows/16, bytes-bytes/16
	found, err := p.conn.QueryContext(ctx, `SELECT id, size FROM reject ORDER BY id`)
	if err != nil {
		return err
	}
	last := int64(math.MinInt64)
	for (p.rejectRows > rows || p.rejectBytes > bytes) && found.Next() {
		var size int64
		if err := found.Scan(&last, &size); err != nil {
			found.Close()
			return err
		}
		p.rejectRows--
		p.rejectBytes -= size
	}
	if err := errors.Join(found.Err(), found.Close()); err != nil {
		return err
	}
	if _, err := p.conn.ExecContext(ctx, `UPDATE reject_count SET dropped = dropped +
		(SELECT count(*) FROM reject r WHERE r.reason = reject_count.reason AND r.id <= ?)`, last); err != nil {
		return err
	}
	return each(ctx, p.conn, `DELETE FROM reject WHERE id <= ? RETURNING `+rejectColumns, func(rows *sql.Rows) error {
		r, _, err := scanReject(rows)
		p.leave(ofRejects, digestOfReject(r))
		return err
	}, last)
}

// retainedLine stands in the column line of a retained message: messages have no
// lines.
const retainedLine = -1

func lineOf(r roof.Reject) int64 {
	if r.Retained {
		return retainedLine
	}
	return int64(r.Line)
}

func rejectCRC(r roof.Reject) uint32 {
	var b []byte
	b = binary.AppendVarint(b, r.At.UnixMilli())
	b = binary.AppendVarint(b, lineOf(r))
	for _, s := range []string{r.Case, r.Logger, r.Source, string(r.Reason), r.Detail} {
		b = binary.AppendUvarint(b, uint64(len(s)))
		b = append(b, s...)
	}
	return crc32.Checksum(append(b, r.Payload...), castagnoli)
}

// Rejects lists the log newest first: of one case, or of all with "", with an ID
// below before (0: from the newest), at most limit.
func (s *Store) Rejects(ctx context.Context, caseID string, limit int, before int64) ([]roof.KeptReject, error) {
	if before <= 0 {
		before = math.MaxInt64
	}
	query := `SELECT ` + rejectColumns + ` FROM reject WHERE id < ? ORDER BY id DESC LIMIT ?`
	args := []any{before, max(limit, 0)}
	if caseID != "" {
		query, args = strings.Replace(query, "WHERE", "WHERE case_id = ? AND", 1), append([]any{caseID}, args...)
	}
	var out []roof.KeptReject
	err := s.each(ctx, query, func(rows *sql.Rows) error {
		r, crc, err := scanReject(rows)
		if err == nil && crc != rejectCRC(r.Reject) {
			err = damaged(fmt.Errorf("reject %d", r.ID))
		}
		out = append(out, r)
		return err
	}, args...)
	return out, during(err, "listing what was rejected")
}

const rejectColumns = `id, at, case_id, logger, source, line, reason, detail, payload, crc`

func scanReject(rows *sql.Rows) (r roof.KeptReject, crc uint32, err error) {
	var at int64
	err = rows.Scan(&r.ID, &at, &r.Case, &r.Logger, &r.Source, &r.Line, &r.Reason, &r.Detail, &r.Payload, &crc)
	if r.At = fromMS(at); r.Line == retainedLine {
		r.Line, r.Retained = 0, true
	}
	return r, crc, err
}

// ForgetRejects drops rejects from the log that were taken after all; the counts
// stay.
func (s *Store) ForgetRejects(ctx context.Context, ids []int64) error {
	err := s.do(ctx, func(p *writeConn) error {
		for _, id := range ids {
			if err := p.forgetReject(id); err != nil {
				return err
			}
		}
		p.rejectRows = -1 // counted anew by the next reject
		return p.countReasons()
	})
	return during(err, "dropping what was taken after all")
}

func (p *writeConn) forgetReject(id int64) error {
	ctx := context.Background()
	if _, err := p.conn.ExecContext(ctx, `UPDATE reject_count SET dropped = dropped + 1
		WHERE reason = (SELECT reason FROM reject WHERE id = ?)`, id); err != nil {
		return err
	}
	return each(ctx, p.conn, `DELETE FROM reject WHERE id = ? RETURNING `+rejectColumns, func(rows *sql.Rows) error {
		r, _, err := scanReject(rows)
		p.leave(ofRejects, digestOfReject(r))
		return err
	}, id)
}

// RejectCounts says how many were ever rejected, by reason, those included that
// the log has dropped since.
func (s *Store) RejectCounts(ctx context.Context) (map[roof.Reason]int64, error) {
	out := map[roof.Reason]int64{}
	err := s.each(ctx, `SELECT reason, n FROM reject_count`, func(rows *sql.Rows) error {
		var reason string
		var n int64
		err := rows.Scan(&reason, &n)
		out[roof.Reason(reason)] = n
		return err
	})
	return out, during(err, "counting what was rejected")
}

// Heard notes that a case or logger that is not known was heard. Beyond the
// bound of names, the sighting is counted under the empty name.
func (s *Store) Heard(ctx context.Context, caseID, logger string, at time.Time) error {
	caseID, logger = cut(caseID), cut(logger)
	ms := at.UnixMilli()
	err := s.do(ctx, func(p *writeConn) error {
		note := func(caseID, logger, where string, more ...any) (bool, error) {
			res, err := p.conn.ExecContext(context.Background(), `INSERT INTO heard (case_id, logger, n, first, last)
				SELECT ?, ?, 1, ?, ? WHERE `+where+` ON CONFLICT DO UPDATE
				SET n = n + 1, first = min(first, excluded.first), last = max(last, excluded.last)`,
				append([]any{caseID, logger, ms, ms}, more...)...)
			if err != nil {
				return false, err
			}
			n, err := res.RowsAffected()
			return n > 0, err
		}
		ok, err := note(caseID, logger, `(SELECT count(*) FROM heard) < ?
			OR EXISTS (SELECT 1 FROM heard WHERE case_id = ? AND logger = ?)`, p.s.opt.HeardNames, caseID, logger)
		if err == nil && !ok {
			_, err = note("", "", `true`)
		}
		return err
	})
	return during(err, "noting that logger %s of case %s was heard", logger, caseID)
}

// HeardNames lists what was heard but is not known, newest first; an empty case
// and logger stand for all beyond the bound of names.
func (s *Store) HeardNames(ctx context.Context) ([]roof.HeardName, error) {
	var out []roof.HeardName
	err := s.each(ctx, `SELECT case_id, logger, n, first, last FROM heard ORDER BY last DESC, case_id, logger`,
		func(rows *sql.Rows) error {
			var h roof.HeardName
			var first, last int64
			err := rows.Scan(&h.Case, &h.Logger, &h.Count, &first, &last)
			h.First, h.Last = fromMS(first), fromMS(last)
			out = append(out, h)
			return err
		})
	return out, during(err, "listing what was heard")
}

// ForgetHeard drops a case, or one logger of it, from what was heard, since it
// is known now.
func (s *Store) ForgetHeard(ctx context.Context, caseID, logger string) error {
	err := s.do(ctx, func(p *writeConn) error {
		_, err := p.conn.ExecContext(context.Background(), `DELETE FROM heard WHERE case_id = ? AND (logger = ? OR ? = '')`,
			caseID, logger, logger)
		return err
	})
	return during(err, "forgetting what was heard of case %s", caseID)
}
