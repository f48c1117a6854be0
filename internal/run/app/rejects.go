package app

import (
	"context"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"dewcase/internal/roof"
)

// rejectLog is where rejects are kept; it is bounded in size by itself.
type rejectLog interface {
	AppendReject(ctx context.Context, rejects ...roof.Reject) error
	Heard(ctx context.Context, caseID, logger string, at time.Time) error
}

// keeper writes rejects in the background, since a flood of bad messages must not
// slow good ones. Its queue is bounded; rejects that find it full are counted and
// dropped. Every reject was counted by reason before it got here.
type keeper struct {
	log     rejectLog
	say     *slog.Logger
	queue   chan roof.Reject
	unkept  atomic.Int64
	quiet   map[roof.Reason]time.Time // when each reason was last said; the writer's own
	since   map[roof.Reason]int
	done    chan struct{}
	closing sync.Once
	quit    chan struct{}

	mu    sync.Mutex
	heard map[name]time.Time // last time written
	due   map[name]time.Time
}

type name struct{ caseID, logger string }

const (
	keeperQueue = 4096
	keeperBatch = 256
	// A name heard every second is written once in a while.
	heardEvery = time.Minute
	maxHeard   = 5000
	sayEvery   = time.Minute
)

func newKeeper(log rejectLog, say *slog.Logger) *keeper {
	k := &keeper{log: log, say: say, queue: make(chan roof.Reject, keeperQueue), done: make(chan struct{}),
		quit:  make(chan struct{}),
		quiet: map[roof.Reason]time.Time{}, since: map[roof.Reason]int{}, heard: map[name]time.Time{},
		due: map[name]time.Time{}}
	go k.run()
	return k
}

// Keep queues rejects for the log.
func (k *keeper) Keep(_ context.Context, rejects []roof.Reject) {
	for _, r := range rejects {
		select {
		case k.queue <- r:
		default:
			k.unkept.Add(1)
		}
	}
}

// Heard notes a name that no case file knows.
func (k *keeper) Heard(caseID, logger string, at time.Time) {
	k.mu.Lock()
	defer k.mu.Unlock()
	n := name{caseID, logger}
	if at.Sub(k.heard[n]) < heardEvery || len(k.due) >= maxHeard {
		return
	}
	if len(k.heard) >= maxHeard {
		clear(k.heard)
	}
	k.heard[n], k.due[n] = at, at
}

func (k *keeper) run() {
	defer close(k.done)
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case r := <-k.queue:
			k.write(r)
		case <-tick.C:
			k.names()
		case <-k.quit:
			for {
				select {
				case r := <-k.queue:
					k.write(r)
				default:
					k.names()
					return
				}
			}
		}
	}
}

func (k *keeper) write(first roof.Reject) {
	batch := []roof.Reject{first}
	for len(batch) < keeperBatch {
		select {
		case r := <-k.queue:
			batch = append(batch, r)
			continue
		default:
		}
		break
	}
	for _, r := range batch {
		k.tell(r)
	}
	if err := k.log.AppendReject(context.Background(), batch...); err != nil {
		k.unkept.Add(int64(len(batch)))
		k.say.Error("rejects could not be kept", "count", len(batch), "error", err)
	}
}

// tell logs the first reject of a reason in a minute and counts the others.
func (k *keeper) tell(r roof.Reject) {
	k.since[r.Reason]++
	if now := time.Now(); now.Sub(k.quiet[r.Reason]) >= sayEvery {
		k.say.Warn("could not be used", "reason", string(r.Reason), "source", r.Source, "detail", r.Detail, "count",
			k.since[r.Reason])
		k.quiet[r.Reason], k.since[r.Reason] = now, 0
	}
}

func (k *keeper) names() {
	k.mu.Lock()
	due := k.due
	k.due = map[name]time.Time{}
	k.mu.Unlock()
	for n, at := range due {
		if err := k.log.Heard(context.Background(), n.caseID, n.logger, at); err != nil {
			k.say.Error("a heard name could not be kept", "case", n.caseID, "logger", n.logger, "error", err)
			return
		}
	}
}

// heard lists the names that were heard and that no case file knows.
func (a *App) heard(ctx context.Context) ([]roof.HeardName, error) {
	names, err := a.store.HeardNames(ctx)
	return slices.DeleteFunc(names, func(h roof.HeardName) bool { return a.book.Fitted(h.Case, h.Logger) }), err
}

// forgetHeard frees the places of names that a case file has come to know: the
// list of names heard is bounded.
func (a *App) forgetHeard(caseID string) {
	ctx := a.base
	names, err := a.store.HeardNames(ctx)
	for _, h := range names {
		if err == nil && h.Case == caseID && a.book.Fitted(h.Case, h.Logger) {
			err = a.store.ForgetHeard(ctx, h.Case, h.Logger)
		}
	}
	if err != nil {
		a.opt.Log.Warn("names heard before could not be crossed off", "case", caseID, "error", err)
	}
}

// close writes what is queued and ends.
func (k *keeper) close() {
	k.closing.Do(func() { close(k.quit) })
	<-k.done
}
