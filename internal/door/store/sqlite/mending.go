package sqlite

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"sync/atomic"
	"time"
)

// mending begins a file of derived values anew that turns out damaged while it is
// used: nothing is lost but time, and nobody has to be called.
type mending struct {
	log   *slog.Logger
	mu    sync.Mutex
	begun atomic.Int64 // how often
	then  func()       // told of it; may be nil
}

func (m *mending) tell(path string, err error) {
	m.log.Warn("what was kept of earlier work cannot be used; it is worked out anew", "file", path, "error", err)
}

// OnAnew has then told whenever the file was begun anew while it was used. It is
// called before any other use.
func (d *Derived) OnAnew(then func()) { d.mend.then = then }

// begun is how often the file was begun anew, to be asked before a use of it.
func (d *Derived) begun() int64 {
	if d.mend == nil {
		return 0
	}
	return d.mend.begun.Load()
}

// mended begins the file anew where what a use of it ended with says that it is
// damaged, and reports whether it is a new one since that use began.
func (d *Derived) mended(ctx context.Context, begun int64, err error) bool {
	if d.mend == nil || !unusable(err) {
		return false
	}
	m := d.mend
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.begun.Load() != begun {
		return true
	}
	m.tell(d.path, err)
	// Whoever still reads the old file has it, removed, until the end of that; every
	// connection from now on is to the new one.
	err = d.remove()
	d.db.SetConnMaxLifetime(time.Nanosecond) // none that is in use now is used again
	time.AfterFunc(oldConns, func() { d.db.SetConnMaxLifetime(time.Hour) })
	if err == nil {
		fresh := d.connect()
		err = errors.Join(d.lay(ctx, fresh), fresh.Close())
	}
	if err != nil {
		m.log.Error("what is worked out cannot be kept", "file", d.path, "error", err)
		return false
	}
	d.census.forget()
	m.begun.Add(1)
	if m.then != nil {
		m.then()
	}
	return true
}

// unusable says that an error is of a damaged file, or of one whose tables are not
// those that were laid.
func unusable(err error) bool {
	return isCode(err, codeCorrupt) || isCode(err, codeNotADB) || isCode(err, codeError)
}

// oldConns is how long connections are not used again after a file was begun anew.
const oldConns = 10 * time.Second

// remove takes the file away.
func (d *Derived) remove() error {
	for _, end := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(d.path + end); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("beginning %s anew: %w", d.path, err)
		}
	}
	return nil
}
