package sqlite

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"time"

	"modernc.org/sqlite"

	"dewcase/internal/roof"
)

// Damage is one thing in a store that is not as it was written.
type Damage struct {
	Case, Logger string    // as far as it concerns one
	From, Until  time.Time // the readings concerned; zero: not known
	What         string
}

// String says what is damaged, where and when.
func (d Damage) String() string {
	out := d.What
	if d.Logger != "" {
		out = fmt.Sprintf("case %s, logger %s: %s", d.Case, d.Logger, out)
	}
	if !d.From.IsZero() {
		out += fmt.Sprintf(" (readings from %s until %s)", d.From.Format(time.RFC3339), d.Until.Format(time.RFC3339))
	}
	return out
}

// Report is what Check found.
type Report struct {
	Schema                         int
	Loggers, Days, Readings, Aside int64
	Elsewhere                      int64 // readings that lie in another engine alone
	Cases                          int64 // versions of case files
	Incidents                      []roof.Incident
	Damage                         []Damage
	more                           int
}

// maxDamage is how many findings a report lists; the others are counted.
const maxDamage = 100

func (r *Report) add(d Damage) {
	if len(r.Damage) == maxDamage {
		r.more++
		return
	}
	r.Damage = append(r.Damage, d)
}

// Err returns nil for a sound store, else an error that wraps roof.ErrDamaged and
// names each finding on a line of its own.
func (r Report) Err() error {
	if len(r.Damage) == 0 {
		return nil
	}
	text := ""
	for _, d := range r.Damage {
		text += "\n" + d.String()
	}
	if r.more > 0 {
		text += fmt.Sprintf("\nand %d more", r.more)
	}
	return fmt.Errorf("%w:%s", roof.ErrDamaged, text)
}

// Check verifies the store of a data folder, also while a daemon serves from
// it: the file's structure, every reading against its check value, every day
// against its digest, the counts, the case files, and that no commit is missing
// at the end. The error says that checking itself was not possible.
func Check(ctx context.Context, dir string) (Report, error) {
	file := filepath.Join(dir, fileName)
	if _, err := os.Stat(file); err != nil {
		if what, _ := vacancy(ctx, dir); what != "" {
			return Report{}, fmt.Errorf("checking the store in %s: %s", dir, what)
		}
		return Report{}, fmt.Errorf("checking the store in %s: there is none: %w", dir, err)
	}
	m, marked := readMark(dir) // before the database, which only grows meanwhile
	var c chain
	var id string
	r, err := checkFile(ctx, file, func(ctx context.Context, db executor) (err error) {
		if c, err = loadChain(ctx, db); err == nil {
			id, err = storeID(ctx, db)
		}
		return err
	})
	if err != nil {
		return r, fmt.Errorf("checking the store in %s: %w", dir, err)
	}
	if marked && id != "" {
		if what := m.judge(id, c); what != "" {
			r.add(Damage{What: what})
		}
	}
	return r, nil
}

// checkBackup verifies a backup file in the same way.
func checkBackup(ctx context.Context, file string) (Report, error) {
	if _, err := os.Stat(file); err != nil {
		return Report{}, fmt.Errorf("checking the backup: %w", err)
	}
	r, err := checkFile(ctx, file, nil)
	return r, during(err, "checking the backup %s", file)
}

// openToRead opens a database file without changing it. Where not even the
// index of the log can be made, a file without a log is read as it stands.
func openToRead(ctx context.Context, file string) (*sql.DB, error) {
	abs, err := filepath.Abs(file)
	if err != nil {
		return nil, err
	}
	params := []string{"mode=ro", "_pragma=busy_timeout(10000)"}
	for {
		db := sql.OpenDB(connector{dsn(abs, params...)})
		db.SetMaxOpenConns(2)
		var n int
		err := db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_master`).Scan(&n)
		var e *sqlite.Error
		log, noLog := os.Stat(abs + "-wal")
		if len(params) == 2 && errors.As(err, &e) && (e.Code()&0xff == codeCantOpen || e.Code()&0xff == codeReadonly) &&
			(noLog != nil || log.Size() == 0) {
			db.Close()
			params = append(params, "immutable=1")
			continue
		}
		// A file that is no database is left for the caller to find.
		return db, nil
	}
}

func checkFile(ctx context.Context, file string, also func(context.Context, executor) error) (r Report, err error) {
	db, err := openToRead(ctx, file)
	if err != nil {
		return r, explain(err)
	}
	defer db.Close()
	tx, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return r, explain(err)
	}
	defer func() { _ = tx.Rollback() }()
	c := checker{tx: tx, r: &r}
	r.Schema, err = schemaOf(ctx, tx)
	if errors.Is(err, errNewer) || ctx.Err() != nil {
		return r, err
	}
	if err != nil {
		r.add(Damage{What: fmt.Sprintf("the file cannot be read as a store: %v", err)})
		return r, nil
	}
	c.part(ctx, "the file's structure", c.structure)
	if r.Schema == 0 {
		r.add(Damage{What: "the file holds no store"})
		return r, nil
	}
	c.part(ctx, "the list of loggers", c.loggers)
	c.part(ctx, "the case files", c.caseFiles)
	c.part(ctx, "the daemon's state", c.states)
	c.part(ctx, "the reject log", c.rejects)
	if r.Schema >= schemaLedger {
		c.part(ctx, "the ledger", c.audit)
	}
	if also != nil {
		c.part(ctx, "the chain of commits", func(ctx context.Context) error { return also(ctx, tx) })
	}
	return r, ctx.Err()
}

// checker walks through a store in one read transaction.
type checker struct {
	tx *sql.Tx
	r  *Report
}

// part runs one part of the check; what keeps it from ending is damage too.
func (c *checker) part(ctx context.Context, of string, run func(context.Context) error) {
	if ctx.Err() != nil {
		return
	}
	if err := run(ctx); err != nil && ctx.Err() == nil {
		c.tell("%s: %v", of, err)
	}
}

func (c *checker) structure(ctx context.Context) error {
	return each(ctx, c.tx, `PRAGMA integrity_check(20)`, func(rows *sql.Rows) error {
		var line string
		if err := rows.Scan(&line); err != nil {
			return err
		}
		if line != "ok" {
			c.tell("the file's structure: %s", line)
		}
		return nil
	})
}

func (c *checker) loggers(ctx context.Context) error {
	var all []logger
	err := each(ctx, c.tx, `SELECT id, case_id, name, n, aside, first, last FROM logger ORDER BY id`,
		func(rows *sql.Rows) error {
			var l logger
			err := rows.Scan(&l.id, &l.caseID, &l.name, &l.n, &l.aside, &l.first, &l.last)
			all = append(all, l)
			return err
		})
	var sum int64
	for i := range all {
		l := &all[i]
		if err := c.logger(ctx, l); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			c.r.add(Damage{Case: l.caseID, Logger: l.name, From: fromMS(l.first), Until: fromMS(l.last + 1),
				What: fmt.Sprintf("cannot be read: %v", err)})
		}
		sum += l.n
	}
	if err != nil {
		return err
	}
	c.r.Loggers = int64(len(all))
	var strays, kept int64
	if err := c.tx.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM (SELECT DISTINCT logger FROM day
			UNION SELECT DISTINCT logger FROM reading UNION SELECT DISTINCT logger FROM aside)
		WHERE logger NOT IN (SELECT id FROM logger)),
		coalesce((SELECT readings FROM commits ORDER BY seq DESC LIMIT 1), 0)`).Scan(&strays, &kept); err != nil {
		return err
	}
	if strays > 0 {
		c.tell("there are readings of %d loggers whose names are lost", strays)
	}
	if kept != sum {
		c.tell("the last commit counted %d readings, the loggers count %d", kept, sum)
	}
	return nil
}

// tally is what a day holds or should hold.
type tally struct {
	n, asideN   int64
	sum, aside  digest
	sealed      int64
	alreadyTold bool
}

func (c *checker) logger(ctx context.Context, l *logger) error {
	should, is := map[int64]tally{}, map[int64]tally{}
	sealed := `sealed`
	if c.r.Schema < 2 {
		sealed = `0`
	}
	err := each(ctx, c.tx, `SELECT day, n, digest, aside_n, aside_digest, `+sealed+` FROM day WHERE logger = ?`,
		func(rows *sql.Rows) error {
			var k int64
			var t tally
			var a, b []byte
			err := rows.Scan(&k, &t.n, &a, &t.asideN, &b, &t.sealed)
			t.sum, t.aside = asDigest(a), asDigest(b)
			should[k] = t
			return err
		}, l.id)
	if err != nil {
		return err
	}
	first, last := int64(math.MaxInt64), int64(math.MinInt64)
	count := func(r *roof.Reading) {
		ms := r.At.UnixMilli()
		first, last = min(first, ms), max(last, ms)
		t := is[dayOf(ms)]
		t.n++
		t.sum.add(digestOf(ofRecord, l.caseID, r))
		is[dayOf(ms)] = t
	}
	broken := func(k, from, until int64, what error) {
		t := is[k]
		if !t.alreadyTold || until-from < dayMS {
			c.r.add(Damage{Case: l.caseID, Logger: l.name, From: fromMS(from), Until: fromMS(until), What: what.Error()})
		}
		t.alreadyTold = true
		is[k] = t
	}
	records := func(query, of string, use func(k int64, r *roof.Reading)) error {
		return each(ctx, c.tx, query, func(rows *sql.Rows) error {
			var at int64
			var rec []byte
			if err := rows.Scan(&at, &rec); err != nil {
				return err
			}
			r, err := readRecord(rec, l.id, l.name, at)
			if err != nil {
				broken(dayOf(at), at, at+1, fmt.Errorf("%s%w", of, err))
				return nil
			}
			use(dayOf(at), &r)
			return nil
		}, l.id)
	}
	err = records(`SELECT at, rec FROM reading WHERE logger = ? ORDER BY at`, "", func(k int64, r *roof.Reading) {
		if should[k].sealed == asBlock {
			broken(k, k*dayMS, (k+1)*dayMS, errors.New("the day holds a block and rows"))
		}
		count(r)
	})
	if err != nil {
		return err
	}
	if c.r.Schema >= 2 {
		err = eachBlock(ctx, c.tx, c.r.Schema, func(b sealedDay) error {
			readings, err := b.open(l.id, l.name, nil)
			if err != nil {
				broken(b.day, b.day*dayMS, (b.day+1)*dayMS, err)
				return nil
			}
			for i := range readings {
				count(&readings[i])
			}
			return nil
		}, l.id, math.MinInt64, math.MaxInt64, -1)
		if err != nil {
			return err
		}
	}
	err = records(`SELECT at, rec FROM aside WHERE logger = ?`, "a reading kept aside: ", func(k int64, r *roof.Reading) {
		t := is[k]
		t.asideN++
		t.aside.add(digestOf(ofAside, l.caseID, r))
		is[k] = t
	})
	if err != nil {
		return err
	}
	c.compare(l, should, is, first, last)
	return nil
}

func (c *checker) compare(l *logger, should, is map[int64]tally, first, last int64) {
	var n, aside, away int64
	for k, t := range is {
		n += t.n
		aside += t.asideN
		w := should[k]
		if w.sealed == elsewhere && t.n == 0 {
			w.n, w.sum = 0, digest{} // nothing of it is to be here but what was kept aside
		}
		if t.alreadyTold {
			continue
		}
		what := ""
		switch {
		case t.n == 0 && w.n > 0:
			what = fmt.Sprintf("all %d readings of the day are missing", w.n)
		case t.n != w.n:
			what = fmt.Sprintf("the day holds %d readings, %d were stored", t.n, w.n)
		case t.sum != w.sum:
			what = "the day's readings do not agree with their digest: a value was altered"
		case t.asideN != w.asideN || t.aside != w.aside:
			what = "what was kept aside that day does not agree with its digest"
		}
		if what != "" {
			c.r.add(Damage{Case: l.caseID, Logger: l.name, From: fromMS(k * dayMS), Until: fromMS((k + 1) * dayMS), What: what})
		}
	}
	for k, w := range should {
		if w.sealed == elsewhere {
			n += w.n
			away += w.n
			first, last = min(first, l.first), max(last, l.last) // not known here
			continue
		}
		if _, ok := is[k]; !ok && (w.n != 0 || w.asideN != 0) {
			c.r.add(Damage{Case: l.caseID, Logger: l.name, From: fromMS(k * dayMS), Until: fromMS((k + 1) * dayMS),
				What: fmt.Sprintf("all %d readings of the day are missing", w.n)})
		}
	}
	c.r.Days += int64(len(is))
	c.r.Readings += n - away
	c.r.Elsewhere += away
	c.r.Aside += aside
	if len(c.r.Damage) == 0 && (n != l.n || aside != l.aside || n > 0 && (first != l.first || last != l.last)) {
		c.r.add(Damage{Case: l.caseID, Logger: l.name, What: fmt.Sprintf("%d readings are there, %d were stored", n, l.n)})
	}
}

// caseFiles holds each version of a case file against its digest, and against
// the link that covers all of its row and the version before it.
func (c *checker) caseFiles(ctx context.Context) error {
	link := `link`
	if c.r.Schema < schemaLedger {
		link = `NULL`
	}
	var last caseRow
	return caseRows(ctx, c.tx, link, func(v caseRow) error {
		c.r.Cases++
		of := fmt.Sprintf("the case file of %s, version of %s", v.caseID, fromMS(v.at).Format(stamp))
		switch sum := sha256.Sum256(v.file); {
		case v.file != nil && hex.EncodeToString(sum[:]) != v.etag:
			c.tell("%s, was altered", of)
		case c.r.Schema < schemaLedger:
		case v.id != last.id+1:
			c.tell("%d versions of case files are missing before %s", v.id-last.id-1, of)
		case !bytes.Equal(v.link, linkOf(asDigest(last.link), v.id, v.at, v.caseID, v.by, v.etag, v.file).bytes()):
			c.tell("%s, is not as it was written: its time, its author, its content or its place among the versions was "+
				"altered, or it was put in by hand", of)
		}
		last = v
		return nil
	})
}

// tell adds a finding.
func (c *checker) tell(format string, args ...any) {
	c.r.add(Damage{What: fmt.Sprintf(format, args...)})
}

func (c *checker) states(ctx context.Context) error {
	return each(ctx, c.tx, `SELECT kind, key, at, blob, crc FROM state`, func(rows *sql.Rows) error {
		var kind, key string
		var at int64
		var blob []byte
		var crc uint32
		if err := rows.Scan(&kind, &key, &at, &blob, &crc); err != nil {
			return err
		}
		want := stateCRC(kind, key, at, blob)
		if c.r.Schema < schemaLedger {
			want = undatedStateCRC(kind, key, blob)
		}
		if kind == incidentKind {
			c.r.Incidents = append(c.r.Incidents, asIncident(roof.KeptState{Key: key, At: fromMS(at), Blob: blob}))
		}
		if crc != want {
			c.tell("the state %s %s was altered", kind, key)
		}
		return nil
	})
}

func (c *checker) rejects(ctx context.Context) error {
	return each(ctx, c.tx, `SELECT `+rejectColumns+` FROM reject`,
		func(rows *sql.Rows) error {
			r, crc, err := scanReject(rows)
			if err == nil && crc != rejectCRC(r.Reject) {
				c.tell("number %d of the reject log was altered", r.ID)
			}
			return err
		})
}
