package bell

import (
	"slices"
	"sync"
	"time"

	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// sentries say when each house is to be examined: they take every reading as it
// comes, which must cost next to nothing.
type sentries struct {
	mu sync.Mutex
	by map[string]*sentry
}

// sentry is what is at hand of one house between two looks.
type sentry struct {
	c       *roof.Case // that the last look was for; nil before the first
	vigil   *watch.Vigil
	last    time.Time // look
	due     time.Time // the next one, at the latest
	loggers []heardLogger
	night   *nightlyWork // nil before it was asked for
}

// nightlyWork is when the nightly work of a house was done, and last tried; empty
// is a record that had no reading yet.
type nightlyWork struct {
	done, tried time.Time
	empty       bool
}

// maxHeard bounds the loggers counted of a case.
const maxHeard = 1000

func (s *sentries) of(caseID string) *sentry {
	x := s.by[caseID]
	if x == nil {
		x = &sentry{}
		s.by[caseID] = x
	}
	return x
}

func (x *sentry) logger(id string) *heardLogger {
	i := slices.IndexFunc(x.loggers, func(h heardLogger) bool { return h.id == id })
	if i < 0 {
		return nil
	}
	return &x.loggers[i]
}

// sooner brings the next look forward.
func (x *sentry) sooner(at time.Time) {
	if at.Before(x.due) {
		x.due = at
	}
}

// took notes readings that have become durable, and reports whether the house is
// to be examined at once.
func (s *sentries) took(caseID string, readings []roof.Reading, outcomes []roof.Outcome, now time.Time) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	x := s.of(caseID)
	waiting := !x.due.After(now)
	if x.night != nil && x.night.empty {
		x.night = nil
		x.sooner(now)
	}
	for i, r := range readings {
		if outcomes[i] != roof.Stored && outcomes[i] != roof.Merged {
			continue
		}
		if x.vigil != nil {
			x.sooner(x.last.Add(x.vigil.Take(r)))
		}
		if r.Arrived.IsZero() {
			continue
		}
		h := x.logger(r.Logger)
		if h == nil {
			if len(x.loggers) > maxHeard {
				continue
			}
			x.loggers = append(x.loggers, heardLogger{id: r.Logger})
			h = &x.loggers[len(x.loggers)-1]
		}
		h.takes(r)
	}
	if due := !x.due.After(now); due && !waiting {
		x.due = now // it waits from now on
	}
	return !x.due.After(now)
}

// add puts to a logger what is known by arrival: one with a wrong clock is not
// silent.
func (s *sentries) add(caseID string, now time.Time, x *watch.Seen) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if house := s.by[caseID]; house != nil {
		if h := house.logger(x.Logger); h != nil {
			h.tell(now, x)
		}
	}
}

// due lists the cases that are to be examined, those first that wait for longest.
func (s *sentries) due(cases []*roof.Case, now time.Time) (out []*roof.Case) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, c := range cases {
		if x := s.of(c.ID); x.c != c && x.c != nil || !x.due.After(now) {
			out = append(out, c)
		}
	}
	slices.SortStableFunc(out, func(a, b *roof.Case) int { return s.by[a.ID].due.Compare(s.by[b.ID].due) })
	return out
}

// unseen reports whether a house is still waiting for its first look, or for the
// assessment that the look waits for.
func (s *sentries) unseen(cases []*roof.Case, now time.Time) bool {
	return slices.ContainsFunc(cases, func(c *roof.Case) bool {
		s.mu.Lock()
		x := s.of(c.ID)
		waits := x.c == nil && !x.due.After(now)
		s.mu.Unlock()
		return waits || s.unassessed(c.ID)
	})
}

// unassessed reports whether a house's nightly work was neither done nor tried yet,
// or was before there was a reading.
func (s *sentries) unassessed(caseID string) bool {
	w, known := s.nightly(caseID)
	return !known || w.tried.IsZero() && w.done.IsZero()
}

// begin notes that a look at a house begins: what comes from now on may need
// another.
func (s *sentries) begin(caseID string, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	x := s.of(caseID)
	x.last, x.due = now, now.Add(watch.Hourly)
}

// examined notes what a look found.
func (s *sentries) examined(c *roof.Case, v watch.View, book *alert.Book, next, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	x := s.of(c.ID)
	x.c, x.vigil = c, v.Keep(c, book, alert.RulesOf(c.Alerts), now, x.vigil)
	x.sooner(next)
}

// nightly is how the nightly work of a house stands, as far as that is known.
func (s *sentries) nightly(caseID string) (w nightlyWork, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if x := s.of(caseID); x.night != nil {
		return *x.night, true
	}
	return w, false
}

// worked notes how the nightly work of a house stands.
func (s *sentries) worked(caseID string, w nightlyWork) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.of(caseID).night = &w
}

// stir has a house examined at a time, if not before.
func (s *sentries) stir(caseID string, at time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.of(caseID).sooner(at)
}

// later puts the next look off.
func (s *sentries) later(caseID string, at time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.of(caseID).due = at
}

// behind is how long the look that is due for longest has been due.
func (s *sentries) behind(now time.Time) (longest time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, x := range s.by {
		if x.c != nil {
			longest = max(longest, now.Sub(x.due))
		}
	}
	return longest
}

// heardLogger counts what came of a logger by the hour of its arrival, because a
// reading with a wrong clock is not dated when it came. Times are Unix ms.
type heardLogger struct {
	id     string
	lastMS int64 // a reading with a clock that cannot be right came
	newest int64 // measured; the past comes in as it moves on
	began  int64 // to move on, without a lull
	moved  int64 // on last
	hours  [heardHours]heardHour
}

// heardHours is a day and the hours that it begins and ends in.
const heardHours = 26

// heardHour is what came in one hour.
type heardHour struct {
	hour     int32 // since 1970
	n, wrong uint32
}

// A logger that hands its memory over moves on to newer readings all the time:
// one that has not for movesWithin is done. What was measured before its newest
// reading says nothing, and after catchUpFor a logger that is not yet at the
// present is silent, however its past trickles in.
const (
	movesWithin = 5 * time.Minute
	catchUpFor  = 15 * time.Minute
)

// takes notes a reading. Catching up on the past is no sign of life now, a wrong
// clock is.
func (h *heardLogger) takes(r roof.Reading) {
	ms, arrived := r.At.UnixMilli(), r.Arrived.UnixMilli()
	if ms > h.newest {
		if arrived-h.moved > catchUpFor.Milliseconds() {
			h.began = arrived
		}
		h.newest, h.moved = ms, arrived
	}
	hour := int32(arrived / anHour)
	k := &h.hours[uint32(hour)%heardHours]
	if k.hour != hour {
		*k = heardHour{hour: hour}
	}
	k.n++
	if r.Flags&roof.FlagClockWrong != 0 {
		k.wrong++
		h.lastMS = arrived
	}
}

// catchingUp reports that the logger is only just handing its past over.
func (h *heardLogger) catchingUp(now time.Time) bool {
	ms := now.UnixMilli()
	return ms-h.moved < movesWithin.Milliseconds() && ms-h.began < catchUpFor.Milliseconds()
}

func (h *heardLogger) tell(now time.Time, x *watch.Seen) {
	if last := time.UnixMilli(h.lastMS).UTC(); last.After(x.Last) && !last.After(now) {
		x.Last = last
	}
	x.CatchingUp = h.catchingUp(now)
	n := 0
	for _, k := range h.hours {
		if now.UnixMilli()-int64(k.hour)*anHour > 25*anHour {
			continue
		}
		n += int(k.n)
		x.ClockWrong += int(k.wrong)
	}
	x.Day = max(x.Day, n)
}

// forget drops what is at hand of a house.
func (s *sentries) forget(caseID string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.by, caseID)
}
