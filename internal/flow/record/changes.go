package record

import (
	"math"
	"slices"
	"time"
)

// Changes tell how far back a record changed while something was made of it.
type Changes struct {
	r          *Reader
	caseID     string
	earliestMS int64
}

// Changes begins to note how a case's record changes; Close ends it.
func (r *Reader) Changes(caseID string) *Changes {
	x := &Changes{r, caseID, math.MaxInt64}
	r.mu.Lock()
	defer r.mu.Unlock()
	k := r.held(caseID)
	k.noted = append(k.noted, x)
	return x
}

// None reports that the record is as it was at first, from its beginning to a
// time: readings of later times do not bear on what ends there. A changed case
// file bears on everything.
func (x *Changes) None(until time.Time) bool {
	x.r.mu.Lock()
	defer x.r.mu.Unlock()
	return x.earliestMS > until.UnixMilli()
}

// Close ends it.
func (x *Changes) Close() {
	x.r.mu.Lock()
	defer x.r.mu.Unlock()
	if k := x.r.cases[x.caseID]; k != nil {
		k.noted = slices.DeleteFunc(k.noted, func(o *Changes) bool { return o == x })
	}
}

// came notes a change of the record at a time.
func (k *held) came(ms int64) {
	for _, x := range k.noted {
		x.earliestMS = min(x.earliestMS, ms)
	}
}
