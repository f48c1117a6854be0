package app

import (
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"dewcase/internal/door/floodlog"
	"dewcase/internal/door/http/api"
	"dewcase/internal/roof"
)

// hub hands readings to whoever watches a case live. A watcher that does not
// keep up misses readings; nothing waits for it.
type hub struct {
	mu       sync.Mutex
	watchers map[string]map[chan api.LiveReading]bool
	count    int
	closed   bool
	refused  atomic.Int64
	warnings floodlog.Log
}

const (
	maxWatchers  = 200
	watcherQueue = 64
)

var errTooManyWatchers = roof.NewError(roof.Busy, "too many pages watch live readings; close some")

func newHub(log *slog.Logger) *hub {
	return &hub{watchers: map[string]map[chan api.LiveReading]bool{},
		warnings: floodlog.Log{To: log, Lines: 1, Within: time.Minute}}
}

// Subscribe starts watching a case; the channel is closed by cancel and when
// the daemon stops.
func (h *hub) Subscribe(caseID string) (<-chan api.LiveReading, func(), error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed || h.count >= maxWatchers {
		h.refused.Add(1)
		h.warnings.Warn("a live stream was refused: all are taken", "streams", maxWatchers, "case", caseID)
		return nil, nil, errTooManyWatchers
	}
	c := make(chan api.LiveReading, watcherQueue)
	if h.watchers[caseID] == nil {
		h.watchers[caseID] = map[chan api.LiveReading]bool{}
	}
	h.watchers[caseID][c] = true
	h.count++
	return c, func() { h.leave(caseID, c) }, nil
}

func (h *hub) leave(caseID string, c chan api.LiveReading) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.watchers[caseID][c] {
		delete(h.watchers[caseID], c)
		h.count--
		close(c)
	}
}

// watched reports whether anyone watches the case, so that nothing is worked
// out for nobody.
func (h *hub) watched(caseID string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.watchers[caseID]) > 0
}

func (h *hub) tell(caseID string, r api.LiveReading) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for c := range h.watchers[caseID] {
		select {
		case c <- r:
		default:
		}
	}
}

// close ends every stream, so that a stop does not wait for them.
func (h *hub) close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	for _, all := range h.watchers {
		for c := range all {
			close(c)
		}
	}
	h.watchers, h.count = map[string]map[chan api.LiveReading]bool{}, 0
}
