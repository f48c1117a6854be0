package payload

import (
	"time"

	"dewcase/internal/roof"
)

// defaultPair is the longest time between the temperature and the humidity of
// one reading that come apart as bare numbers; common practice: such loggers
// publish their quantities within seconds, and air moves little in 90 s.
const defaultPair = 90 * time.Second

// maxPending bounds the loggers whose last half is remembered.
const maxPending = 10_000

// Pairer joins the quantities of one logger that come one to a message. What
// comes first is handed on at once under its own time and what follows within
// the window under that same time, with all that came before, so that a store
// makes one reading of them: nothing waits in memory to become durable, and
// forgetting it all (a restart) costs pairs and no value. A half that is too
// old is never taken.
//
// The zero value is ready; it is not for concurrent use.
type Pairer struct{ pending map[pairKey]*half }

type pairKey struct{ caseID, logger string }

type half struct {
	at     time.Time // of the reading
	values roof.Values
}

// Pair takes a reading without a time of its own, dated with its arrival, and
// dates it with what it belongs to. ready is false for a battery alone, which is no
// reading until something measured joins it.
func (p *Pairer) Pair(caseID string, r roof.Reading, window time.Duration) (paired roof.Reading, ready bool) {
	key := pairKey{caseID, r.Logger}
	h := p.pending[key]
	switch {
	case h == nil:
		h = p.start(key, r)
	case h.at.Equal(r.At) && overlap(h.values, r.Values):
		return r, r.Values.Measured() // a second value of the same instant: the store keeps the first, and so does the pair
	case r.At.Sub(h.at).Abs() > window || overlap(h.values, r.Values):
		*h = half{at: r.At}
	}
	if !h.values.Measured() {
		h.at = r.At // nothing was handed on yet, so nothing is dated
	}
	add(&h.values, r.Values)
	r.At, r.Values = h.at, h.values
	return r, h.values.Measured()
}

// start remembers a new logger; when there are too many, all are forgotten,
// which costs a pair each and no time for picking some.
func (p *Pairer) start(key pairKey, r roof.Reading) *half {
	if p.pending == nil || len(p.pending) >= maxPending {
		p.pending = map[pairKey]*half{}
	}
	h := &half{at: r.At}
	p.pending[key] = h
	return h
}

// add puts what was measured to what is there.
func add(to *roof.Values, v roof.Values) {
	for q := range roof.Quantity(roof.QuantityCount) {
		if x, ok := v.Get(q); ok {
			to.Set(q, x)
		}
	}
}

func overlap(a, b roof.Values) bool {
	for q := range roof.Quantity(roof.QuantityCount) {
		if a.Has(q) && b.Has(q) {
			return true
		}
	}
	return false
}
