// Package mem keeps readings in memory, in time order, for tests of code that
// needs a store.
package mem

import (
	"context"
	"fmt"
	"iter"
	"slices"
	"sort"
	"strings"
	"sync"
	"time"

	"dewcase/internal/roof"
)

// Store is a roof.ReadingStore in memory.
type Store struct {
	mu    sync.Mutex
	cases map[string]*house
}

type house struct {
	loggers map[string]*record
	aside   []roof.Reading // in the order in which they were kept aside
}

// record holds one logger's readings; index finds them by time while readings
// that came out of order still wait to be sorted.
type record struct {
	readings []roof.Reading
	index    map[int64]int
	sorted   bool
	aside    map[int64][]roof.Values
}

// New gives an empty store.
func New() *Store { return &Store{cases: map[string]*house{}} }

// Append implements roof.ReadingStore.
func (s *Store) Append(ctx context.Context, caseID string, readings []roof.Reading) ([]roof.Outcome, error) {
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("appending to case %s: %w", caseID, err)
	}
	for _, r := range readings {
		if err := r.Storable(); err != nil {
			return nil, fmt.Errorf("appending to case %s: %w", caseID, err)
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	h := s.cases[caseID]
	if h == nil {
		h = &house{loggers: map[string]*record{}}
		s.cases[caseID] = h
	}
	out := make([]roof.Outcome, len(readings))
	for i, r := range readings {
		r.At, r.Arrived = whole(r.At), whole(r.Arrived)
		out[i] = h.append(r)
	}
	return out, nil
}

func (h *house) append(r roof.Reading) roof.Outcome {
	l := h.loggers[r.Logger]
	if l == nil {
		l = &record{index: map[int64]int{}, sorted: true, aside: map[int64][]roof.Values{}}
		h.loggers[r.Logger] = l
	}
	at := r.At.UnixMilli()
	k, ok := l.index[at]
	if !ok {
		if n := len(l.readings); n > 0 && l.readings[n-1].At.After(r.At) {
			l.sorted = false
		}
		l.index[at] = len(l.readings)
		l.readings = append(l.readings, r)
		return roof.Stored
	}
	outcome, merged := roof.Meet(l.readings[k], l.aside[at], r)
	switch outcome {
	case roof.Merged:
		l.readings[k] = merged
	case roof.Conflict:
		l.aside[at] = append(l.aside[at], r.Values)
		h.aside = append(h.aside, r)
	}
	return outcome
}

// sort puts late readings where they belong.
func (l *record) sort() {
	if l.sorted {
		return
	}
	slices.SortFunc(l.readings, func(a, b roof.Reading) int { return a.At.Compare(b.At) })
	for i, r := range l.readings {
		l.index[r.At.UnixMilli()] = i
	}
	l.sorted = true
}

// chunk is how many readings Range copies out under the lock at a time.
const chunk = 1024

// Range implements roof.ReadingStore.
func (s *Store) Range(ctx context.Context, caseID, logger string, from, until time.Time) iter.Seq2[roof.Reading,
	error] {
	return func(yield func(roof.Reading, error) bool) {
		next := from
		buf := make([]roof.Reading, 0, chunk)
		for {
			if err := ctx.Err(); err != nil {
				yield(roof.Reading{}, fmt.Errorf("reading logger %s of case %s: %w", logger, caseID, err))
				return
			}
			buf = s.copy(buf[:0], caseID, logger, next, until)
			for _, r := range buf {
				if !yield(r, nil) {
					return
				}
			}
			if len(buf) < chunk {
				return
			}
			next = buf[len(buf)-1].At.Add(time.Millisecond)
		}
	}
}

func (s *Store) copy(buf []roof.Reading, caseID, logger string, from, until time.Time) []roof.Reading {
	s.mu.Lock()
	defer s.mu.Unlock()
	h := s.cases[caseID]
	if h == nil || h.loggers[logger] == nil {
		return buf
	}
	l := h.loggers[logger]
	l.sort()
	i := 0
	if !from.IsZero() {
		i = sort.Search(len(l.readings), func(i int) bool { return !l.readings[i].At.Before(from) })
	}
	for ; i < len(l.readings) && len(buf) < chunk; i++ {
		if !until.IsZero() && !l.readings[i].At.Before(until) {
			break
		}
		buf = append(buf, l.readings[i])
	}
	return buf
}

// Spans implements roof.ReadingStore.
func (s *Store) Spans(ctx context.Context, caseID string) ([]roof.LoggerSpan, error) {
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("listing the loggers of case %s: %w", caseID, err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	h := s.cases[caseID]
	if h == nil {
		return nil, nil
	}
	var out []roof.LoggerSpan
	for name, l := range h.loggers {
		l.sort()
		n := len(l.readings)
		out = append(out, roof.LoggerSpan{Logger: name, Count: int64(n), First: l.readings[0].At, Last: l.readings[n-1].At})
	}
	slices.SortFunc(out, func(a, b roof.LoggerSpan) int { return strings.Compare(a.Logger, b.Logger) })
	return out, nil
}

// Conflicts implements roof.ReadingStore.
func (s *Store) Conflicts(ctx context.Context, caseID string, limit int) ([]roof.Conflicting, error) {
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("listing the conflicts of case %s: %w", caseID, err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	h := s.cases[caseID]
	if h == nil {
		return nil, nil
	}
	var out []roof.Conflicting
	for i := len(h.aside) - 1; i >= 0 && len(out) < limit; i-- {
		r := h.aside[i]
		l := h.loggers[r.Logger]
		out = append(out, roof.Conflicting{Reading: r, Kept: l.readings[l.index[r.At.UnixMilli()]].Values})
	}
	return out, nil
}

// whole is a time in UTC to the millisecond, without a monotonic clock.
func whole(t time.Time) time.Time { return time.UnixMilli(t.UnixMilli()).UTC() }
