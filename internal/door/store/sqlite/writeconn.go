package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"modernc.org/sqlite"
)

// connector opens one database, always with the same settings.
type connector struct{ dsn string }

func (c connector) Connect(context.Context) (driver.Conn, error) {
	return (&sqlite.Driver{}).Open(c.dsn)
}

func (c connector) Driver() driver.Driver { return &sqlite.Driver{} }

// writeConn is the one writing connection and its cached view of the record. Only
// the writer's goroutine uses it.
type writeConn struct {
	s    *Store
	db   *sql.DB
	conn *sql.Conn

	prepared                               []*sql.Stmt
	begin, commit                          *sql.Stmt
	findLogger, addLogger, putLogger       *sql.Stmt
	findDay, putDay                        *sql.Stmt
	addRow, findRow, putRow, dropRows      *sql.Stmt
	addAside, findAside, putCommit, addOut *sql.Stmt

	chain      chain
	loggers    map[loggerKey]*logger
	touched    []*logger
	looked     []*day // sealed days looked into
	held       []heldDay
	heldN      int // readings in held
	ledger     ledger
	entered    map[string]bool // kinds of the ledger that this transaction changed
	days       digest          // over all days
	remoteDays int64           // days stored only in InfluxDB
	readings   int64           // stored in all, including this transaction
	buf        []byte

	out            []byte // entries for the outbox
	outN, outTotal int64
	outSent        int64

	rejectRows, rejectBytes int64 // in the log; rows -1: not counted yet

	logBusy  time.Time // no attempt to empty the log before
	logTried int64     // its length at the last attempt
}

// commitsKept is how many commits stay listed for comparison with a mark.
const commitsKept = 4096

type loggerKey struct{ caseID, name string }

// logger is what is known of one logger's record.
type logger struct {
	loggerKey
	id          int64
	n, aside    int64
	first, last int64
	days        map[int64]*day
	latest      *day // the day found last, latestDay
	latestDay   int64
	dirty       bool
}

// day is the state of one logger's UTC day.
type day struct {
	n, asideN           int64
	digest, asideDigest digest
	sealed              int64
	entered             digest // what the digest over all days has of it
	dirty               bool
	coming              int64 // readings for it in the request at hand
	held                *held // its content, once looked into
}

// The values of day.sealed.
const (
	asRows = iota
	asBlock
	rowsForGood // too many or damaged
	// and elsewhere, see outbox.go
)

func newWriteConn(s *Store) *writeConn {
	return &writeConn{s: s, loggers: map[loggerKey]*logger{}, entered: map[string]bool{}, rejectRows: -1}
}

// open connects. The log is emptied by checkpoint, not by SQLite on the side,
// so that an error in it is seen.
func (p *writeConn) open(ctx context.Context) error {
	p.db = sql.OpenDB(connector{dsn(filepath.Join(p.s.dir, fileName),
		"_pragma=busy_timeout(10000)", "_pragma=auto_vacuum(2)", "_pragma=journal_mode(WAL)", "_pragma=synchronous(FULL)",
		"_pragma=wal_autocheckpoint(0)", "_pragma=cache_size(-16000)", "_pragma=temp_store(2)",
		"_pragma=journal_size_limit(0)")})
	p.db.SetMaxOpenConns(1)
	var err error
	if p.conn, err = p.db.Conn(ctx); err != nil {
		p.drop()
		return err
	}
	if err := os.Chmod(filepath.Join(p.s.dir, fileName), 0o600); err != nil {
		return err
	}
	return checkVersion(ctx, p.conn)
}

func (p *writeConn) prepare(ctx context.Context) error {
	for _, x := range []struct {
		stmt **sql.Stmt
		text string
	}{
		{&p.begin, `BEGIN IMMEDIATE`},
		{&p.commit, `COMMIT`},
		{&p.findLogger, `SELECT id, n, aside, first, last FROM logger WHERE case_id = ? AND name = ?`},
		{&p.addLogger, `INSERT INTO logger (case_id, name, n, first, last, aside) VALUES (?, ?, 0, 0, 0, 0)`},
		{&p.putLogger, `UPDATE logger SET n = ?, first = ?, last = ?, aside = ? WHERE id = ?`},
		{&p.findDay, `SELECT n, digest, aside_n, aside_digest, sealed FROM day WHERE logger = ? AND day = ?`},
		{&p.putDay, `INSERT INTO day (logger, day, n, digest, aside_n, aside_digest, changed, sealed)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET n = excluded.n, digest = excluded.digest, aside_n = excluded.aside_n,
				aside_digest = excluded.aside_digest, changed = excluded.changed, sealed = excluded.sealed`},
		{&p.addRow, `INSERT INTO reading (logger, at, rec) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`},
		{&p.findRow, `SELECT rec FROM reading WHERE logger = ? AND at = ?`},
		{&p.putRow, `UPDATE reading SET rec = ? WHERE logger = ? AND at = ?`},
		{&p.dropRows, `DELETE FROM reading WHERE logger = ? AND at >= ? AND at < ?`},
		{&p.addAside, `INSERT INTO aside (logger, at, rec) VALUES (?, ?, ?)`},
		{&p.findAside, `SELECT rec FROM aside WHERE logger = ? AND at = ?`},
		{&p.putCommit, putCommit},
		{&p.addOut, `INSERT INTO outbox (n, total, entries) VALUES (?, ?, ?)`},
	} {
		var err error
		if *x.stmt, err = p.conn.PrepareContext(ctx, x.text); err != nil {
			return fmt.Errorf("preparing %q: %w", x.text, err)
		}
		p.prepared = append(p.prepared, *x.stmt)
	}
	return nil
}

// reopen connects again after the connection was dropped.
func (p *writeConn) reopen(ctx context.Context) error {
	err := p.open(ctx)
	if err == nil {
		err = p.prepare(ctx)
	}
	if err == nil {
		err = p.load(ctx)
	}
	if err != nil {
		p.drop()
		return err
	}
	// On a full disk the log itself may be what fills it.
	var busy, length, done int64
	if err := p.conn.QueryRowContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &length, &done); err != nil {
		p.s.opt.Log.Debug("the log could not be emptied", "error", err)
	}
	return nil
}

// drop gives the connection up; the next transaction makes another.
func (p *writeConn) drop() {
	_ = p.finalize()
	if p.conn != nil {
		_ = p.conn.Close()
	}
	if p.db != nil {
		_ = p.db.Close()
	}
	p.conn, p.db = nil, nil
}

// finalize ends the prepared statements: SQLite keeps a connection open, its
// files and locks with it, while it has any.
func (p *writeConn) finalize() error {
	var errs []error
	for _, s := range p.prepared {
		errs = append(errs, s.Close())
	}
	p.prepared = nil
	return errors.Join(errs...)
}

// close empties the log into the main file and disconnects.
func (p *writeConn) close() error {
	if p.conn == nil {
		return nil
	}
	_, err := p.conn.ExecContext(context.Background(), `PRAGMA wal_checkpoint(TRUNCATE)`)
	err = errors.Join(err, p.finalize(), p.conn.Close(), p.db.Close())
	p.conn, p.db = nil, nil
	return err
}

// load reads the end of the chain.
func (p *writeConn) load(ctx context.Context) error {
	c, err := loadChain(ctx, p.conn)
	if err != nil {
		return err
	}
	p.chain, p.readings, p.days, p.outTotal, p.outSent = c, c.readings, asDigest(c.days), c.posted, c.sent
	if p.ledger, err = loadLedger(ctx, p.conn); err != nil {
		return err
	}
	return p.conn.QueryRowContext(ctx, `SELECT count(*) FROM day WHERE sealed = 3`).Scan(&p.remoteDays)
}

// settle writes what the transaction changed in loggers, days and chain.
func (p *writeConn) settle() error {
	ctx := context.Background()
	now := p.s.opt.Now().UnixMilli()
	if err := p.postRow(); err != nil {
		return err
	}
	for _, l := range p.touched {
		for k, d := range l.days {
			if !d.dirty {
				continue
			}
			if _, err := p.putDay.ExecContext(ctx, l.id, k, d.n, d.digest.bytes(), d.asideN, d.asideDigest.bytes(), now,
				d.sealed); err != nil {
				return fmt.Errorf("writing a day's digest: %w", err)
			}
			p.days.sub(d.entered)
			d.entered = digestOfDayRow(l.id, k, d)
			p.days.add(d.entered)
		}
		if _, err := p.putLogger.ExecContext(ctx, l.n, l.first, l.last, l.aside, l.id); err != nil {
			return fmt.Errorf("writing what is known of logger %s: %w", l.name, err)
		}
	}
	held, err := p.putLedger(ctx)
	if err != nil {
		return err
	}
	before := p.chain.head
	p.chain.commit = commit{seq: p.chain.seq + 1, at: now, readings: p.readings, days: p.days.bytes(), ledger: held,
		posted: p.outTotal, sent: p.outSent}
	if _, err := p.putCommit.ExecContext(ctx, p.chain.row(before)...); err != nil {
		return fmt.Errorf("writing the commit's head: %w", err)
	}
	return nil
}

// The cache keeps a few days of each logger and not every logger for ever: those of
// 10,000 houses, each of which sends every few minutes, some 40 MB.
const (
	daysCached    = 2
	loggersCached = 100_000
)

// settled notes a commit that is on the disk.
func (p *writeConn) settled() {
	for _, l := range p.touched {
		l.dirty, l.latest = false, nil
		for k, d := range l.days {
			d.dirty, d.held = false, nil
			if len(l.days) > daysCached {
				delete(l.days, k)
			}
		}
	}
	if len(p.loggers) > loggersCached {
		clear(p.loggers)
	}
	p.touched, p.looked = p.touched[:0], p.looked[:0]
	clear(p.entered)
	p.chain.recent = nil
	p.s.remoteDays.Store(p.remoteDays)
	// The mark is a witness beside the record: without it nothing is lost.
	_, _ = p.s.mark.WriteAt(p.chain.mark(p.s.id).text(), 0)
}

// forget drops all that was thought to be known, after a transaction that did
// not come about.
func (p *writeConn) forget() {
	clear(p.loggers)
	p.touched, p.looked = p.touched[:0], p.looked[:0]
	p.held, p.heldN = p.held[:0], 0
	clear(p.entered)
	p.rejectRows = -1
	p.out, p.outN = p.out[:0], 0
}

// logPages is the length of the log, in pages of 4 KiB, from which it is
// brought into the main file.
const logPages = 2000

// checkpoint empties the log when it has grown, or earlier on a disk that would
// soon be too full for it. Readers are not waited for.
func (p *writeConn) checkpoint() error {
	st, err := os.Stat(filepath.Join(p.s.dir, fileName+"-wal"))
	if err != nil || st.Size() < logPages*4096/64 || time.Now().Before(p.logBusy) {
		return nil
	}
	if st.Size() < p.logTried {
		p.logTried = 0
	}
	if st.Size() < logPages*4096 {
		if space, err := SpaceOf(p.s.dir); err != nil || space.Free > 2*st.Size() {
			return nil
		}
	}
	// A log that a reader still needs is not tried again before it has grown on;
	// one that was emptied starts over with the next commit, shorter.
	if p.logTried > 0 && st.Size() < p.logTried+logPages*4096/2 {
		return nil
	}
	p.logTried = st.Size()
	var busy, length, done int64
	if err := p.conn.QueryRowContext(context.Background(), `PRAGMA wal_checkpoint(PASSIVE)`).Scan(&busy, &length,
		&done); err != nil {
		p.logBusy = time.Now().Add(10 * time.Second)
		return err
	}
	return nil
}
