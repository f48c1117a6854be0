package qc

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"time"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
)

// The rules that need a logger's history. Each looks at most Reach to either
// side of a reading, so that a part of a record is judged as the whole is.
const (
	// Reach is how far from a reading the readings lie that decide its flags.
	Reach = evidence.Reach
	// minLate is how many readings a standing lag has: fewer show no pattern
	// (common practice).
	minLate = 4
	// jumpK and jumpPct are the largest steps of air within one minute (WMO
	// Guidelines on Quality Control Procedures for Data from Automatic Weather
	// Stations, 2004, time consistency check; from memory), jumpKMin and
	// jumpPctMin what each further minute allows (common practice: the
	// underside of a covering in the sun warms by under 0.5 K/min).
	jumpK      = 3.0
	jumpPct    = 10.0
	jumpKMin   = 0.5
	jumpPctMin = 2.0
	// JumpWithin is the longest step that is judged: over more, all can happen.
	JumpWithin = 30 * time.Minute
	// lagFor: readings that keep arriving one by one, each the same time after
	// the moment they claim, come from a clock that is wrong; a logger that
	// catches up sends many at once, and its lag shrinks. Common practice; the
	// lag must be over lagMin and last lagFor.
	lagMin = 12 * time.Hour
	lagFor = 2 * time.Hour
)

// History judges readings by what came before and after them and by what the
// case's other loggers did meanwhile. All loggers are learnt first, then each
// one's readings are flagged.
type History struct {
	loggers map[string]*past
}

// past is what was learnt of one logger.
type past struct {
	moves evidence.Movement
	lag   []evidence.Span
}

// Flag learns the readings of all loggers of a case, given in time order, and
// returns the same readings with the flags that their history gives.
func Flag(c *roof.Case, readings func(logger string) iter.Seq2[roof.Reading, error]) (
	func(logger string) iter.Seq2[roof.Reading, error], error) {
	return FlagBy(roof.InTurn, c, readings)
}

// FlagBy is Flag, the loggers learnt by workers; what it returns may be read of
// several loggers at a time where readings may.
func FlagBy(by roof.Workers, c *roof.Case, readings func(logger string) iter.Seq2[roof.Reading, error]) (
	func(logger string) iter.Seq2[roof.Reading, error], error) {
	learnt, errs := make([]*past, len(c.Loggers)), make([]error, len(c.Loggers))
	by(len(learnt), func(i int) { learnt[i], errs[i] = learn(c.Loggers[i].ID, readings(c.Loggers[i].ID)) })
	if err := cmp.Or(errs...); err != nil {
		return nil, err
	}
	h := &History{loggers: map[string]*past{}}
	loggers := map[string]roof.Logger{}
	for i, l := range c.Loggers {
		loggers[l.ID], h.loggers[l.ID] = l, learnt[i]
	}
	return func(logger string) iter.Seq2[roof.Reading, error] {
		l, ok := loggers[logger]
		if !ok {
			l.ID = logger
		}
		return h.Flagged(l, readings(logger))
	}, nil
}

// Before cuts a record off at a time, so that what came later decides nothing;
// the zero time cuts nothing.
func Before(until time.Time, readings func(logger string) iter.Seq2[roof.Reading, error]) func(
	logger string) iter.Seq2[roof.Reading, error] {
	if until.IsZero() {
		return readings
	}
	return func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for r, err := range readings(logger) {
				if err == nil && !r.At.Before(until) || !yield(r, err) {
					return
				}
			}
		}
	}
}

// learn takes one logger's readings in time order.
func learn(logger string, readings iter.Seq2[roof.Reading, error]) (*past, error) {
	p := &past{}
	// What has no temperature or humidity, such as a look with a moisture meter, keeps
	// a time of its own and says nothing of the other readings'.
	var ofAir, others lag
	for r, err := range readings {
		if err != nil {
			return nil, fmt.Errorf("judging the record of logger %s: %w", logger, err)
		}
		p.moves.Add(r)
		if r.Values.OfAir() {
			ofAir.add(r)
		} else {
			others.add(r)
		}
	}
	if ofAir.n == 0 {
		ofAir = others
	}
	p.lag = ofAir.late.end(ofAir.spans)
	return p, nil
}

// lag finds when readings kept arriving one time after the moment they claim.
type lag struct {
	spans []evidence.Span
	late  run
	last  roof.Reading
	n     int
}

func (g *lag) add(r roof.Reading) {
	gap := time.Duration(math.MaxInt64)
	if g.n > 0 {
		gap = r.At.Sub(g.last.At)
	}
	if g.n == 0 || gap > evidence.Silence || !sameLag(g.last, r, gap) {
		g.spans = g.late.end(g.spans)
		g.late = run{}
	}
	if late(r) {
		g.late.add(r.At.UnixMilli())
	}
	g.last = r
	g.n++
}

// late reports that a reading arrived long after the moment it claims.
func late(r roof.Reading) bool {
	return r.Flags&roof.FlagArrivalTime == 0 && r.Arrived.Sub(r.At) > lagMin
}

// run is a stretch of readings that have something in common.
type run struct {
	evidence.Span
	n int
}

func (r *run) add(ms int64) {
	if r.n == 0 {
		r.FromMS = ms
	}
	r.ToMS = ms
	r.n++
}

func (r *run) end(spans []evidence.Span) []evidence.Span {
	if r.n >= minLate && r.ToMS-r.FromMS >= lagFor.Milliseconds() {
		return append(spans, r.Span)
	}
	return spans
}

// sameLag reports that two successive readings arrived as far apart as they
// claim to have been measured.
func sameLag(a, b roof.Reading, gap time.Duration) bool {
	apart := b.Arrived.Sub(a.Arrived)
	return gap > 0 && (apart-gap).Abs() <= max(gap/10, 2*time.Second)
}

// stuck lists when a quantity of the logger was stuck: it did not move while
// another logger's did.
func (h *History) stuck(logger string, q roof.Quantity) cursor {
	p := h.loggers[logger]
	if p == nil {
		return cursor{}
	}
	var others []*evidence.Movement
	for name, other := range h.loggers {
		if name != logger {
			others = append(others, &other.moves)
		}
	}
	return cursor{spans: p.moves.Stuck(q, others)}
}

// Flagged yields one logger's readings, given in time order, with the flags
// added that their history gives: jump, flat line, clock wrong and before
// fitting. Nothing is left out or changed.
func (h *History) Flagged(l roof.Logger, readings iter.Seq2[roof.Reading, error]) iter.Seq2[roof.Reading, error] {
	return func(yield func(roof.Reading, error) bool) {
		stuckRH, stuckTemp := h.stuck(l.ID, roof.RHPct), h.stuck(l.ID, roof.TempC)
		var lag cursor
		if p := h.loggers[l.ID]; p != nil {
			lag.spans = p.lag
		}
		var fitted time.Time
		for _, f := range l.Fitted {
			if fitted.IsZero() || f.From.Before(fitted) {
				fitted = f.From
			}
		}
		var before [2]previous
		for r, err := range readings {
			if err != nil {
				yield(r, err)
				return
			}
			ms := r.At.UnixMilli()
			switch rh, temp := stuckRH.holds(ms), stuckTemp.holds(ms); {
			case r.Values.Has(roof.RHPct) && rh && !temp:
				r.Flags |= roof.FlagFlatLine | roof.FlagTempAlive
			case r.Values.Has(roof.RHPct) && rh, !r.Values.Has(roof.RHPct) && temp:
				r.Flags |= roof.FlagFlatLine
			}
			if lag.holds(ms) {
				r.Flags |= roof.FlagClockWrong
			}
			if !fitted.IsZero() && r.At.Before(fitted) {
				r.Flags |= roof.FlagBeforeFitting
			}
			if before[0].jump(r, roof.TempC, jumpK, jumpKMin) || before[1].jump(r, roof.RHPct, jumpPct, jumpPctMin) {
				r.Flags |= roof.FlagJump
			}
			if !yield(r, nil) {
				return
			}
		}
	}
}

// cursor walks spans in time order.
type cursor struct {
	spans []evidence.Span
	i     int
}

func (c *cursor) holds(ms int64) bool {
	for c.i < len(c.spans) && c.spans[c.i].ToMS < ms {
		c.i++
	}
	return c.i < len(c.spans) && c.spans[c.i].FromMS <= ms
}

// previous is the last value of one quantity.
type previous struct {
	at time.Time
	x  float64
	ok bool
}

func (p *previous) jump(r roof.Reading, q roof.Quantity, step, perMin float64) bool {
	x, ok := r.Values.Get(q)
	if !ok {
		return false
	}
	was := *p
	*p = previous{r.At, x, true}
	gap := r.At.Sub(was.at)
	if !was.ok || gap <= 0 || gap > JumpWithin {
		return false
	}
	return math.Abs(x-was.x) > step+perMin*max(gap.Minutes()-1, 0)
}
