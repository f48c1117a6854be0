package sqlite

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"modernc.org/sqlite"

	"dewcase/internal/roof"
)

// How much one transaction gathers. Requests that wait while another commit is
// being synced go together into the next one. Nothing is held back, unless readings
// come from so many houses that each would have a commit of its own: then one
// commit follows another after holdFor at the soonest. Whoever sends one reading
// after the other, or writes anything else, does not wait.
const (
	groupRequests = 1024
	groupReadings = 16384
	holdFor       = 40 * time.Millisecond
	crowd         = 64 // so many appends are looked back on,
	crowdHouses   = 48 // which come from so many houses
)

// crowding counts the houses that the last appends came from.
type crowding struct {
	last  [crowd]string
	next  int
	times map[string]int
}

func (c *crowding) came(caseID string) {
	if c.times == nil {
		c.times = map[string]int{}
	}
	if was := c.last[c.next]; c.times[was] > 1 {
		c.times[was]--
	} else {
		delete(c.times, was)
	}
	c.times[caseID]++
	c.last[c.next] = caseID
	c.next = (c.next + 1) % crowd
}

// request is one caller's part of a transaction.
type request struct {
	caseID   string
	readings []roof.Reading
	outcomes []roof.Outcome
	do       func(*writeConn) error // instead of readings
	err      error
	taken    atomic.Bool // by the writer, or given up by the caller: whoever comes first
	done     chan struct{}
}

// soft is an error of one request that leaves the transaction sound.
type soft struct{ error }

func (s soft) Unwrap() error { return s.error }

// Append implements roof.ReadingStore. Appends that come at the same time share
// one transaction and one sync of the disk; while the queue is full, Append
// waits.
func (s *Store) Append(ctx context.Context, caseID string, readings []roof.Reading) ([]roof.Outcome, error) {
	for i := range readings {
		if err := readings[i].Storable(); err != nil {
			return nil, fmt.Errorf("appending to case %s: %w", caseID, err)
		}
	}
	if len(readings) == 0 {
		return nil, ctx.Err()
	}
	r := &request{caseID: caseID, readings: readings}
	if err := s.submit(ctx, r); err != nil {
		return nil, fmt.Errorf("appending to case %s: %w", caseID, err)
	}
	return r.outcomes, nil
}

// do runs a change of another kind in the writer's next transaction.
func (s *Store) do(ctx context.Context, change func(*writeConn) error) error {
	return s.submit(ctx, &request{do: change})
}

func (s *Store) submit(ctx context.Context, r *request) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	r.done = make(chan struct{})
	select {
	case <-s.quit:
		return ErrClosed
	default:
	}
	select {
	case s.queue <- r:
	case <-ctx.Done():
		return ctx.Err()
	case <-s.quit:
		return ErrClosed
	}
	select {
	case <-r.done:
		return r.err
	case <-ctx.Done():
		if r.taken.CompareAndSwap(false, true) {
			return ctx.Err()
		}
	case <-s.stopped:
		if r.taken.CompareAndSwap(false, true) {
			return ErrClosed
		}
	}
	<-r.done // it is being written: what became of it is known in a moment
	return r.err
}

// write is the one goroutine that writes.
func (s *Store) write() {
	defer close(s.stopped)
	for {
		select {
		case r := <-s.queue:
			s.group(s.gather(r))
		case <-s.quit:
			for {
				select {
				case r := <-s.queue:
					s.group(s.gather(r))
				default:
					return
				}
			}
		}
	}
}

// gather takes what waits, and of a crowd what comes until the next commit is due.
func (s *Store) gather(first *request) []*request {
	var group []*request
	readings, hold := 0, true
	take := func(r *request) {
		group = append(group, r)
		readings += len(r.readings)
		if hold = hold && r.do == nil; r.do == nil {
			s.crowding.came(r.caseID)
		}
	}
	take(first)
	for len(group) < groupRequests && readings < groupReadings {
		select {
		case r := <-s.queue:
			take(r)
			continue
		default:
		}
		wait := time.Until(s.committed.Add(holdFor))
		if !hold || wait <= 0 || len(s.crowding.times) < crowdHouses {
			break
		}
		select {
		case r := <-s.queue:
			take(r)
		case <-s.quit:
			hold = false
		case <-time.After(wait):
			hold = false
		}
	}
	return group
}

// group writes requests in one transaction. If one of them spoils it, each is
// tried alone, so that a damaged corner of the file takes nothing with it; but
// a disk that fails or is full is told to all at once and not asked again.
func (s *Store) group(all []*request) {
	group := all[:0]
	for _, r := range all {
		if r.taken.CompareAndSwap(false, true) {
			group = append(group, r)
		}
	}
	err := s.transact(group)
	if isCode(err, codeFull) {
		// The log may be what fills the disk: the connection made anew has
		// emptied it into the main file.
		err = s.transact(group)
	}
	if err != nil && len(group) > 1 && !ofDisk(err) {
		for _, r := range group {
			if err := s.transact([]*request{r}); err != nil {
				r.err = err
			}
		}
	} else if err != nil {
		for _, r := range group {
			r.err = err
		}
	}
	for _, r := range group {
		close(r.done)
	}
}

// transact writes a group and commits it; the error is that of the whole.
func (s *Store) transact(group []*request) error {
	if len(group) == 0 {
		return nil
	}
	err := s.writeConn.transaction(func() error {
		for _, r := range group {
			r.err = nil
			var err error
			if r.do != nil {
				err = r.do(s.writeConn)
			} else {
				r.outcomes, err = s.writeConn.append(r.caseID, r.readings)
			}
			if of := (soft{}); errors.As(err, &of) {
				r.err = of.error
			} else if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		s.failed(err)
		return explain(err)
	}
	if was := s.failing.Swap(nil); was != nil {
		s.opt.Log.Info("writing works again", "failed_since", was.Since)
	}
	s.commits.Add(1)
	s.committed = time.Now()
	if err := s.writeConn.checkpoint(); err != nil {
		s.failed(fmt.Errorf("bringing the log into the main file: %w", err))
	}
	return nil
}

func (s *Store) failed(err error) {
	f := &Failure{Since: s.opt.Now(), Err: explain(err)}
	if was := s.failing.Load(); was != nil {
		f.Since = was.Since
	} else {
		s.opt.Log.Error("writing to the store failed; nothing is acknowledged until it works again", "error", f.Err)
	}
	s.failing.Store(f)
}

func isCode(err error, code int) bool {
	var e *sqlite.Error
	return errors.As(err, &e) && e.Code()&0xff == code
}

// ofDisk reports an error of the disk rather than of the data on it.
func ofDisk(err error) bool {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return false
	}
	switch e.Code() & 0xff {
	case codeFull, codeIOErr, codeReadonly, codePerm, codeCantOpen:
		return true
	}
	return false
}

// transaction runs do between BEGIN and COMMIT with the store's own
// book-keeping.
func (p *writeConn) transaction(do func() error) error {
	ctx := context.Background()
	if p.conn == nil {
		if err := p.reopen(ctx); err != nil {
			return err
		}
	}
	began := time.Now()
	_, err := p.begin.ExecContext(ctx)
	if err == nil {
		if err = do(); err == nil {
			err = p.settle()
		}
		if err == nil {
			_, err = p.commit.ExecContext(ctx)
		}
	}
	if err != nil {
		_, _ = p.conn.ExecContext(ctx, `ROLLBACK`)
		p.forget()
		// The connection may hold what the failed write left: start afresh.
		if ofDisk(err) || p.load(ctx) != nil {
			p.drop()
		}
		return err
	}
	p.settled()
	if took := time.Since(began); took > 5*time.Second {
		p.s.opt.Log.Warn("the disk is slow", "commit_took", took)
	}
	return nil
}
