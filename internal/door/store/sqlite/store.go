// Package sqlite is the default store: one file in the data folder with the
// raw readings, the case files and their history, the rejects, and the
// daemon's state.
//
// What it has acknowledged is on disk. Check finds what was altered since.
//
// A day's readings are rows until it has been quiet, then one compressed block.
// What comes for a past day in quantity, as from a file, goes to a block at once.
// A winter of six loggers at a reading a minute (1,555,200 readings of two
// values in hundredths, each stamped up to 0.2 s beside its minute) takes 1.91
// bytes a reading in blocks and 2.2 in the file as it stands, digests, lists and
// unused space included; the noise of its values and stamps alone is 1.80, which
// nothing that gives every bit back can go below. Format 1, read still and
// written anew, took 7.7. The figures are those of
// TestABlockIsNearlyAsShortAsItsNoise and BenchmarkAppendFile.
package sqlite

import (
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"modernc.org/sqlite" // also registers the driver
)

// The files of a data folder.
const (
	fileName = "dewcase.db"
	lockName = "dewcase.lock"
	markName = "dewcase.mark"
)

// minVersion is the first SQLite without the bug by which two connections
// could spoil a write-ahead log as it starts over.
var minVersion = [3]int{3, 51, 3}

// Options bound what a store may use. Zero values take the defaults.
type Options struct {
	Log         *slog.Logger
	Now         func() time.Time
	SealAfter   time.Duration // age at which a day is sealed; default 7 days, negative: never
	SealQuiet   time.Duration // a day is not sealed within this time of its last change; default 1 min, negative: at once
	BlockFrom   int           // so many readings of a past day at once become a block; default 16, negative: never
	Queue       int           // appends that may wait; default 1024
	RejectRows  int           // default 20,000
	RejectBytes int64         // default 16 MiB
	HeardNames  int           // default 1,000
	Outbox      bool          // note every new reading for another engine, see Pending
	NewStore    bool          // begin anew in a folder whose own database is missing or was exchanged
}

func (o Options) withDefaults() Options {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.SealAfter == 0 {
		o.SealAfter = 7 * 24 * time.Hour
	}
	if o.SealQuiet == 0 {
		o.SealQuiet = time.Minute
	}
	if o.BlockFrom == 0 {
		o.BlockFrom = 16 // writing a block costs as much as some dozen rows
	}
	if o.Queue <= 0 {
		o.Queue = 1024
	}
	if o.RejectRows <= 0 {
		o.RejectRows = 20_000
	}
	if o.RejectBytes <= 0 {
		o.RejectBytes = 16 << 20
	}
	if o.HeardNames <= 0 {
		o.HeardNames = 1000
	}
	return o
}

// Store is an open data folder. It implements roof.ReadingStore.
type Store struct {
	dir     string
	opt     Options
	id      string // hex
	release func() error
	read    *prepared
	mark    *os.File

	queue   chan *request
	quit    chan struct{} // closed: take no more
	stopped chan struct{} // closed: the writer has ended
	sealing sync.WaitGroup
	once    sync.Once
	closing error

	writeConn  *writeConn // the writer's own, with the two that follow
	crowding   crowding
	committed  time.Time // the last transaction
	failing    atomic.Pointer[Failure]
	commits    atomic.Int64
	looked     atomic.Int64 // Unix ms of the last look at the space left
	low        atomic.Bool  // little of it was
	remoteDays atomic.Int64 // days that lie in another engine alone
}

// Failure says since when writing fails, and why.
type Failure struct {
	Since time.Time
	Err   error
}

// ErrClosed says that the store was closed.
var ErrClosed = errors.New("the store is closed")

// Open opens the store in a data folder, making both if they are not there, and
// takes the folder: a second Open, also by another process, is refused until
// Close. An older schema is brought up to date, a newer one refused untouched. A
// folder whose mark speaks of another database than the one that is there is
// refused as well, unless Options.NewStore is set; an older copy of the right one
// is opened, and an incident stands until a person confirms it.
func Open(ctx context.Context, dir string, opt Options) (_ *Store, err error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("opening the data folder %s: %w", dir, err)
	}
	if err := os.MkdirAll(abs, 0o700); err != nil {
		return nil, fmt.Errorf("making the data folder %s: %w", dir, err)
	}
	s := &Store{dir: abs, opt: opt.withDefaults(), stopped: make(chan struct{}), quit: make(chan struct{})}
	s.queue = make(chan *request, s.opt.Queue)
	if s.release, err = lockDir(abs); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			s.shut()
			err = fmt.Errorf("opening the store in %s: %w", dir, explain(err))
		}
	}()
	sweep(abs, "."+fileName+".*.part*") // of a restore that was killed
	found, err := s.mayOpen(ctx)
	if err != nil {
		return nil, err
	}
	s.writeConn = newWriteConn(s)
	if err = s.writeConn.open(ctx); err != nil {
		return nil, err
	}
	from, err := migrate(ctx, s.writeConn.conn, s.opt.Now())
	if err != nil {
		return nil, err
	}
	if from != 0 && from < len(migrations) {
		s.opt.Log.Info("the store was upgraded", "from_schema", from, "to_schema", len(migrations))
	}
	if err = s.writeConn.layOut(ctx); err != nil {
		return nil, err
	}
	if err = syncDir(abs); err != nil {
		return nil, err
	}
	if err = s.writeConn.prepare(ctx); err != nil {
		return nil, err
	}
	if s.id, err = storeID(ctx, s.writeConn.conn); err != nil {
		return nil, err
	}
	if err = s.writeConn.load(ctx); err != nil {
		return nil, err
	}
	s.remoteDays.Store(s.writeConn.remoteDays)
	if s.mark, err = os.OpenFile(filepath.Join(abs, markName), os.O_RDWR|os.O_CREATE, 0o600); err != nil {
		return nil, err
	}
	s.read = prepare(sql.OpenDB(connector{dsn(filepath.Join(abs, fileName), "mode=ro", "_pragma=busy_timeout(10000)",
		"_pragma=query_only(1)")}))
	s.read.SetMaxOpenConns(8)
	s.read.SetMaxIdleConns(4)
	if err = s.read.PingContext(ctx); err != nil {
		return nil, err
	}
	go s.write()
	if s.opt.SealAfter > 0 {
		s.sealing.Go(s.sealRegularly)
	}
	for _, i := range found {
		if err = s.report(ctx, i); err != nil {
			_ = s.Close()
			return nil, err
		}
	}
	if _, marked := readMark(abs); !marked {
		// So that the folder's first mark does not wait for the first reading.
		_ = s.do(ctx, func(*writeConn) error { return nil })
	}
	return s, nil
}

// Failing says whether the last write failed, and since when writing does; nil
// while all is well.
func (s *Store) Failing() *Failure { return s.failing.Load() }

// Commits counts the transactions since opening.
func (s *Store) Commits() int64 { return s.commits.Load() }

// Queued counts the appends that wait, and says how many may.
func (s *Store) Queued() (waiting, room int) { return len(s.queue), cap(s.queue) }

// Close waits for what was taken, brings the log into the main file and gives
// the folder up.
func (s *Store) Close() error {
	s.once.Do(func() {
		close(s.quit)
		s.sealing.Wait()
		<-s.stopped
		s.closing = s.shut()
	})
	return s.closing
}

func (s *Store) shut() error {
	var errs []error
	if s.read != nil {
		errs = append(errs, s.read.Close())
	}
	if s.writeConn != nil {
		errs = append(errs, s.writeConn.close())
	}
	if s.mark != nil {
		errs = append(errs, s.mark.Sync(), s.mark.Close())
	}
	errs = append(errs, s.release())
	return during(errors.Join(errs...), "closing the store in %s", s.dir)
}

// dsn is a database's address with its settings.
func dsn(path string, params ...string) string {
	u := url.URL{Scheme: "file", Path: path, RawQuery: strings.Join(params, "&")}
	return u.String()
}

func storeID(ctx context.Context, db executor) (string, error) {
	var id []byte
	if err := db.QueryRowContext(ctx, `SELECT value FROM store WHERE name = 'id'`).Scan(&id); err != nil {
		return "", fmt.Errorf("reading the store's identity: %w", err)
	}
	return hex.EncodeToString(id), nil
}

// checkVersion refuses a SQLite with known faults.
func checkVersion(ctx context.Context, db executor) error {
	var v string
	if err := db.QueryRowContext(ctx, `SELECT sqlite_version()`).Scan(&v); err != nil {
		return err
	}
	for i, part := range strings.Split(v, ".") {
		n, err := strconv.Atoi(part)
		if err != nil || i >= len(minVersion) || n > minVersion[i] {
			break
		}
		if n < minVersion[i] {
			return fmt.Errorf("SQLite %s can spoil its log; at least %d.%d.%d is needed", v, minVersion[0], minVersion[1],
				minVersion[2])
		}
	}
	return nil
}

// explain maps SQLite's common errors to messages that say what to do.
func explain(err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return err
	}
	switch e.Code() & 0xff {
	case codeFull:
		return fmt.Errorf("the disk is full: free some space, writing then goes on by itself: %w", err)
	case codeReadonly, codePerm, codeCantOpen:
		return fmt.Errorf("the folder or its files cannot be written by this user: %w", err)
	case codeNotADB, codeCorrupt:
		return fmt.Errorf("%w; restore a backup with dewcase restore", damaged(err))
	case codeIOErr:
		return fmt.Errorf("the disk failed: %w", err)
	}
	return err
}

// during says what was being done when an error came; nil stays nil. What comes
// beside an error is not to be used.
func during(err error, doing string, args ...any) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", fmt.Sprintf(doing, args...), err)
}

// The primary result codes of SQLite that are told apart.
const (
	codeError    = 1
	codePerm     = 3
	codeReadonly = 8
	codeIOErr    = 10
	codeCorrupt  = 11
	codeFull     = 13
	codeCantOpen = 14
	codeNotADB   = 26
)
