package sqlite

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"fmt"
	"maps"
	"slices"

	"dewcase/internal/roof"
)

// schemaLedger is the first schema with a ledger.
const schemaLedger = 4

// The kinds of entry in the ledger. The daemon's state (alerts, links, messages
// to people) has one for each of its own kinds, after ofState. What is only a
// convenience is left out: the names heard, and the list of what another engine
// refused.
const (
	ofCaseFiles = "case_file"
	ofRejects   = "reject"
	ofCounts    = "reject_count"
	ofState     = "state "
)

// total is what the ledger says of one kind: how many entries there are and the
// digest of them all, of case files the newest version's link.
type total struct {
	n   int64
	sum digest
}

type ledger map[string]total

// digest covers every kind with its total.
func (l ledger) digest() digest {
	parts := make([]any, 0, 3*len(l))
	for _, kind := range slices.Sorted(maps.Keys(l)) {
		parts = append(parts, kind, l[kind].n, l[kind].sum.bytes())
	}
	return hashOf(parts...)
}

// hashOf is the SHA-256 of values, each with its length, so that no two lists of
// them read the same.
func hashOf(parts ...any) digest {
	b := make([]byte, 0, 256)
	for _, x := range parts {
		switch x := x.(type) {
		case int64:
			b = binary.AppendVarint(b, x)
		case string:
			b = append(binary.AppendUvarint(b, uint64(len(x))), x...)
		case []byte:
			b = append(binary.AppendUvarint(b, uint64(len(x))), x...)
		}
	}
	sum := sha256.Sum256(b)
	return asDigest(sum[:])
}

func digestOfDayRow(logger, k int64, d *day) digest {
	return hashOf(logger, k, d.n, d.digest.bytes(), d.asideN, d.asideDigest.bytes())
}

// linkOf covers a version of a case file and, through the link before it, all
// older ones. A nil file says that the case was removed.
func linkOf(before digest, id, at int64, caseID, by, etag string, file []byte) digest {
	was := "removed"
	if file != nil {
		was = "written"
	}
	return hashOf(before.bytes(), id, at, caseID, by, etag, was, file)
}

func digestOfReject(r roof.KeptReject) digest {
	return hashOf(r.ID, r.At.UnixMilli(), lineOf(r.Reject), r.Case, r.Logger, r.Source, string(r.Reason), r.Detail,
		r.Payload)
}

func digestOfCount(rows *sql.Rows) (digest, error) {
	var reason string
	var n, dropped int64
	err := rows.Scan(&reason, &n, &dropped)
	return hashOf(reason, n, dropped), err
}

func digestOfState(kind, key string, at int64, blob []byte) digest {
	return hashOf(kind, key, at, blob)
}

// commit is one link of the chain: what the store held after it.
type commit struct {
	seq, at, readings int64
	days, ledger      []byte // digests over all days and over the ledger; nil before there was one
	posted, sent      int64  // readings put into the outbox and taken out of it, ever
	head              []byte
}

// link is the head that the commit must have after the one before it.
func (c commit) link(before []byte) []byte {
	return hashOf(before, c.seq, c.at, c.readings, c.days, c.ledger, c.posted, c.sent).bytes()
}

// chain is the end of the chain of commits.
type chain struct {
	commit
	recent map[int64][]byte // heads of the commits still listed
}

func (c chain) mark(store string) mark {
	return mark{store: store, seq: c.seq, head: fmt.Sprintf("%x", c.head), at: c.at}
}

// commits lists the chain as far as it is kept, oldest first.
func commits(ctx context.Context, db executor, schema int) (out []commit, err error) {
	columns := `NULL, NULL, 0, 0`
	if schema >= schemaLedger {
		columns = `days, ledger, posted, sent`
	}
	query := `SELECT seq, at, readings, head, ` + columns + ` FROM commits ORDER BY seq`
	err = each(ctx, db, query, func(rows *sql.Rows) error {
		var c commit
		err := rows.Scan(&c.seq, &c.at, &c.readings, &c.head, &c.days, &c.ledger, &c.posted, &c.sent)
		out = append(out, c)
		return err
	})
	return out, during(err, "reading the list of commits")
}

func loadChain(ctx context.Context, db executor) (chain, error) {
	c := chain{commit: commit{head: make([]byte, sha256.Size)}, recent: map[int64][]byte{}}
	schema, err := schemaOf(ctx, db)
	if err != nil {
		return c, err
	}
	list, err := commits(ctx, db, schema)
	for _, x := range list {
		c.recent[x.seq], c.commit = x.head, x
	}
	return c, err
}

func loadLedger(ctx context.Context, db executor) (ledger, error) {
	out := ledger{}
	err := each(ctx, db, `SELECT kind, n, digest FROM ledger`, func(rows *sql.Rows) error {
		var kind string
		var t total
		var sum []byte
		err := rows.Scan(&kind, &t.n, &sum)
		t.sum = asDigest(sum)
		out[kind] = t
		return err
	})
	return out, during(err, "reading the ledger")
}

// each calls scan for every row of a query.
func each(ctx context.Context, db executor, query string, scan func(*sql.Rows) error, args ...any) error {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// caseRow is one version of a case file as it is kept.
type caseRow struct {
	id, at           int64
	caseID, by, etag string
	file, link       []byte
}

// caseRows gives every version in the order of writing; link is its column, NULL
// in a schema without.
func caseRows(ctx context.Context, db executor, link string, row func(caseRow) error) error {
	return each(ctx, db, `SELECT id, at, case_id, by, etag, file, `+link+` FROM case_file ORDER BY id`,
		func(rows *sql.Rows) error {
			var v caseRow
			if err := rows.Scan(&v.id, &v.at, &v.caseID, &v.by, &v.etag, &v.file, &v.link); err != nil {
				return err
			}
			return row(v)
		})
}

// count works the ledger and the days' digest out from what is there.
func count(ctx context.Context, db executor) (l ledger, days digest, err error) {
	l = ledger{}
	note := func(kind string, h digest) {
		t := l[kind]
		t.n++
		t.sum.add(h)
		l[kind] = t
	}
	if err := caseRows(ctx, db, `link`, func(v caseRow) error {
		l[ofCaseFiles] = total{l[ofCaseFiles].n + 1, asDigest(v.link)}
		return nil
	}); err != nil {
		return nil, days, err
	}
	for _, of := range []struct {
		query string
		scan  func(*sql.Rows) error
	}{
		{`SELECT ` + rejectColumns + ` FROM reject`, func(rows *sql.Rows) error {
			r, _, err := scanReject(rows)
			note(ofRejects, digestOfReject(r))
			return err
		}},
		{`SELECT reason, n, dropped FROM reject_count`, func(rows *sql.Rows) error {
			h, err := digestOfCount(rows)
			note(ofCounts, h)
			return err
		}},
		{`SELECT kind, key, at, blob FROM state`, func(rows *sql.Rows) error {
			var kind, key string
			var at int64
			var blob []byte
			err := rows.Scan(&kind, &key, &at, &blob)
			note(ofState+kind, digestOfState(kind, key, at, blob))
			return err
		}},
		{`SELECT logger, day, n, digest, aside_n, aside_digest FROM day`, func(rows *sql.Rows) error {
			var logger, k int64
			var d day
			var sum, aside []byte
			err := rows.Scan(&logger, &k, &d.n, &sum, &d.asideN, &aside)
			d.digest, d.asideDigest = asDigest(sum), asDigest(aside)
			days.add(digestOfDayRow(logger, k, &d))
			return err
		}},
	} {
		if err := each(ctx, db, of.query, of.scan); err != nil {
			return nil, days, err
		}
	}
	return l, days, nil
}

// enter adds an entry to a kind of the ledger; leave takes one away.
func (p *writeConn) enter(kind string, h digest) {
	t := p.ledger[kind]
	t.n++
	t.sum.add(h)
	p.change(kind, t)
}

func (p *writeConn) leave(kind string, h digest) {
	t := p.ledger[kind]
	t.n--
	t.sum.sub(h)
	p.change(kind, t)
}

func (p *writeConn) change(kind string, t total) {
	p.ledger[kind] = t
	p.entered[kind] = true
}

// putLedger writes the kinds that the transaction changed and gives the ledger's
// digest.
func (p *writeConn) putLedger(ctx context.Context) ([]byte, error) {
	if len(p.entered) == 0 {
		return p.chain.ledger, nil
	}
	for kind := range p.entered {
		t := p.ledger[kind]
		if _, err := p.conn.ExecContext(ctx, `INSERT OR REPLACE INTO ledger (kind, n, digest) VALUES (?, ?, ?)`, kind, t.n,
			t.sum.bytes()); err != nil {
			return nil, fmt.Errorf("writing the ledger: %w", err)
		}
	}
	return p.ledger.digest().bytes(), nil
}

// beginLedger is the part of the upgrade to schemaLedger that SQL cannot do:
// links, check values and the ledger for what is there, and a first commit over
// them. What did not agree with its old check value stays as it is, for Check to
// name.
func beginLedger(ctx context.Context, db executor, now int64) error {
	var all []caseRow
	var before digest
	if err := caseRows(ctx, db, `NULL`, func(v caseRow) error {
		before = linkOf(before, v.id, v.at, v.caseID, v.by, v.etag, v.file)
		all = append(all, caseRow{id: v.id, link: before.bytes()})
		return nil
	}); err != nil {
		return err
	}
	for _, v := range all {
		if _, err := db.ExecContext(ctx, `UPDATE case_file SET link = ? WHERE id = ?`, v.link, v.id); err != nil {
			return err
		}
	}
	type state struct {
		kind, key string
		crc       uint32
	}
	var states []state
	if err := each(ctx, db, `SELECT kind, key, at, blob, crc FROM state`, func(rows *sql.Rows) error {
		var s state
		var at int64
		var blob []byte
		err := rows.Scan(&s.kind, &s.key, &at, &blob, &s.crc)
		if s.crc == undatedStateCRC(s.kind, s.key, blob) {
			s.crc = stateCRC(s.kind, s.key, at, blob)
			states = append(states, s)
		}
		return err
	}); err != nil {
		return err
	}
	for _, s := range states {
		if _, err := db.ExecContext(ctx, `UPDATE state SET crc = ? WHERE kind = ? AND key = ?`, s.crc, s.kind,
			s.key); err != nil {
			return err
		}
	}
	l, days, err := count(ctx, db)
	if err != nil {
		return err
	}
	for kind, t := range l {
		if _, err := db.ExecContext(ctx, `INSERT INTO ledger (kind, n, digest) VALUES (?, ?, ?)`, kind, t.n,
			t.sum.bytes()); err != nil {
			return err
		}
	}
	c, err := loadChain(ctx, db)
	if err != nil {
		return err
	}
	head := c.head
	c.seq, c.at, c.days, c.ledger = c.seq+1, now, days.bytes(), l.digest().bytes()
	if err := db.QueryRowContext(ctx, `SELECT coalesce(max(total), 0), coalesce(min(total - n), 0) FROM outbox`).Scan(
		&c.posted, &c.sent); err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, putCommit, c.row(head)...)
	return err
}

const putCommit = `INSERT OR REPLACE INTO commits (slot, seq, at, readings, head, days, ledger, posted, sent)
	VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`

// row links the commit to the head before it and is its row.
func (c *commit) row(before []byte) []any {
	c.head = c.link(before)
	return []any{c.seq % commitsKept, c.seq, c.at, c.readings, c.head, c.days, c.ledger, c.posted, c.sent}
}

// audit compares the ledger, the days and the outbox with what the chain of
// commits says of them, and the chain with itself.
func (c *checker) audit(ctx context.Context) error {
	list, err := commits(ctx, c.tx, c.r.Schema)
	if err != nil {
		return err
	}
	for i, x := range list {
		before := make([]byte, sha256.Size)
		switch {
		case x.days == nil && (i == 0 || list[i-1].days == nil): // of an older schema
			continue
		case x.seq == 1:
		case i == 0: // what it stands on is no longer listed
			continue
		case list[i-1].seq != x.seq-1:
			c.tell("the chain of commits: %d that were made between %s and %s are missing", x.seq-1-list[i-1].seq,
				fromMS(list[i-1].at).Format(stamp), fromMS(x.at).Format(stamp))
			continue
		default:
			before = list[i-1].head
		}
		if !bytes.Equal(x.head, x.link(before)) {
			c.tell("the chain of commits: number %d of %s was altered", x.seq, fromMS(x.at).Format(stamp))
		}
	}
	if len(list) == 0 || list[len(list)-1].days == nil {
		c.tell("the chain of commits was cut: its end says nothing of case files, rejects and state")
		return nil
	}
	last := list[len(list)-1]
	written, err := loadLedger(ctx, c.tx)
	if err != nil {
		return err
	}
	if !bytes.Equal(written.digest().bytes(), last.ledger) {
		c.tell("the ledger is not the one that the last commit covers: it was altered")
	}
	there, days, err := count(ctx, c.tx)
	if err != nil {
		return err
	}
	kinds := maps.Clone(there)
	maps.Copy(kinds, written)
	for _, kind := range slices.Sorted(maps.Keys(kinds)) {
		is, was := there[kind], written[kind]
		switch {
		case is.n != was.n:
			c.tell("%s: %d are there, %d were written", plural(kind), is.n, max(was.n, 0))
		case is.sum != was.sum:
			c.tell("%s are not those that were written: one was altered, or exchanged for another", plural(kind))
		}
	}
	if !bytes.Equal(days.bytes(), last.days) {
		c.tell("the days' digests are not those that the last commit covers: one was altered, added or taken away")
	}
	return c.outbox(ctx, last)
}

// plural names a kind of the ledger for people.
func plural(kind string) string {
	switch kind {
	case ofCaseFiles:
		return "versions of case files"
	case ofRejects:
		return "entries of the reject log"
	case ofCounts:
		return "counts of rejects by reason"
	}
	return "entries of the daemon's " + kind
}

// outbox looks for what was taken out of the outbox without having been sent.
func (c *checker) outbox(ctx context.Context, last commit) error {
	at := last.sent
	err := each(ctx, c.tx, `SELECT seq, n, total, entries FROM outbox ORDER BY seq`, func(rows *sql.Rows) error {
		var seq, n, sum int64
		var entries []byte
		if err := rows.Scan(&seq, &n, &sum, &entries); err != nil {
			return err
		}
		if sum-n != at {
			c.tell("the outbox: %d readings before entry %d are missing", sum-n-at, seq)
		}
		at = sum
		if !soundEntries(entries) {
			c.tell("the outbox: entry %d was altered", seq)
		}
		return nil
	})
	if err == nil && at != last.posted {
		c.tell("the outbox: %d readings at its end are missing", last.posted-at)
	}
	return err
}
