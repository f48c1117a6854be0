package qc

import (
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
)

// Calm follows the loggers of a case reading by reading. As long as it holds, no
// reading that it was given is excluded for what came before or after it, so that
// a new one changes nothing but what its own time bears on.
type Calm struct{ by []follow }

// follow is what is at hand of one logger.
type follow struct {
	still  evidence.Still
	lastMS int64
}

// NewCalm begins to follow so many loggers.
func NewCalm(loggers int) *Calm { return &Calm{make([]follow, loggers)} }

// Take takes the next reading of one of the loggers and reports whether all is calm
// still: it came in its order and without a long delay, and no value stands still
// for so long that the probe may have failed. Once it is not, it is of no more use.
func (k *Calm) Take(logger int, r roof.Reading) bool {
	f, ms := &k.by[logger], r.At.UnixMilli()
	if ms < f.lastMS || late(r) {
		return false
	}
	f.lastMS = ms
	f.still.Add(r)
	return !f.still.Long()
}
