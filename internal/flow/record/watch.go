package record

import (
	"math"
	"slices"
	"time"
)

// Watch tells how far back a record changed while something was made of it.
type Watch struct {
	r          *Reader
	caseID     string
	earliestMS int64
}

// Watch begins to watch a case's record; Close ends it.
func (r *Reader) Watch(caseID string) *Watch {
	w := &Watch{r, caseID, math.MaxInt64}
	r.mu.Lock()
	defer r.mu.Unlock()
	k := r.held(caseID)
	k.watches = append(k.watches, w)
	return w
}

// Same reports whether the record is as it was when the watch began, from its
// beginning to a time: readings of later times do not bear on what ends there. A
// changed case file bears on everything.
func (w *Watch) Same(until time.Time) bool {
	w.r.mu.Lock()
	defer w.r.mu.Unlock()
	return w.earliestMS > until.UnixMilli()
}

// Close ends the watch.
func (w *Watch) Close() {
	w.r.mu.Lock()
	defer w.r.mu.Unlock()
	if k := w.r.cases[w.caseID]; k != nil {
		k.watches = slices.DeleteFunc(k.watches, func(o *Watch) bool { return o == w })
	}
}

// came tells those who watch of a change of the record at a time.
func (k *held) came(ms int64) {
	for _, w := range k.watches {
		w.earliestMS = min(w.earliestMS, ms)
	}
}
