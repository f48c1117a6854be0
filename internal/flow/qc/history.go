package qc

import (
	"fmt"
	"iter"
	"math"
	"time"

	"dewcase/internal/roof"
)

// The rules that need a logger's history. Each looks at most Reach to either
// side of a reading, so that a part of a record is judged as the whole is.
const (
	// Reach is how far from a reading the readings lie that decide its flags.
	Reach = 9 * time.Hour
	// FlatFor and FlatBelowPct: no movement at all for 8 h below 98.5 %RH while
	// neighbours move says that the probe failed (design, Risk at a surface);
	// nearer saturation a humidity sensor stands still by itself.
	FlatFor      = 8 * time.Hour
	FlatBelowPct = 98.5
	// leastFlat and leastLate are how many readings a flat line and a standing
	// lag have at least: fewer show no pattern (common practice).
	leastFlat = 8
	leastLate = 4
	// MovesK and MovesPct are what a neighbour must move by within that time;
	// common practice: some times the resolution of any such logger.
	MovesK   = 1.0
	MovesPct = 3.0
	// JumpK and JumpPct are the largest steps of air within one minute (WMO
	// Guidelines on Quality Control Procedures for Data from Automatic Weather
	// Stations, 2004, time consistency check; from memory), JumpKMin and
	// JumpPctMin what each further minute allows (common practice: the
	// underside of a covering in the sun warms by under 0.5 K/min).
	JumpK      = 3.0
	JumpPct    = 10.0
	JumpKMin   = 0.5
	JumpPctMin = 2.0
	// jumpWithin is the longest step that is judged: over more, all can happen.
	jumpWithin = 30 * time.Minute
	// LagFor: readings that keep arriving one by one, each the same time after
	// the moment they claim, come from a clock that is wrong; a logger that
	// catches up sends many at once, and its lag shrinks. Common practice; the
	// lag must be over LagMin and last LagFor.
	LagMin = 12 * time.Hour
	LagFor = 2 * time.Hour
	// silence ends a run of readings: what was not sent did not stand still.
	silence = 2 * time.Hour
	// binMS is the grain in which movement is remembered.
	binMS      = int64(15 * 60_000)
	binsPerDay = 96
)

// History judges readings by what came before and after them and by what the
// case's other loggers did meanwhile. All loggers are learnt first, then each
// one's readings are flagged; it is not for concurrent use while learning.
type History struct {
	loggers map[string]*past
}

// past is what was learnt of one logger.
type past struct {
	flat, lag []span
	moves     map[int64]*[binsPerDay]extent // by day, so that a stray date costs one day's memory
}

// span is a stretch of time in ms, both ends in it.
type span struct{ from, to int64 }

// extent is how far a logger's values reached in a bin; NaN where none was.
type extent struct{ minT, maxT, minRH, maxRH float32 }

var nan32 = float32(math.NaN())

// NewHistory starts a history.
func NewHistory() *History { return &History{loggers: map[string]*past{}} }

// Flag learns the readings of all loggers of a case, given in time order, and
// returns the same readings with the flags that their history gives.
func Flag(c *roof.Case, readings func(logger string) iter.Seq2[roof.Reading, error]) (
	func(logger string) iter.Seq2[roof.Reading, error], error) {
	h := NewHistory()
	loggers := map[string]roof.Logger{}
	for _, l := range c.Loggers {
		loggers[l.ID] = l
		if err := h.Learn(l.ID, readings(l.ID)); err != nil {
			return nil, err
		}
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

// Learn takes one logger's readings in time order.
func (h *History) Learn(logger string, readings iter.Seq2[roof.Reading, error]) error {
	p := &past{moves: map[int64]*[binsPerDay]extent{}}
	h.loggers[logger] = p
	var still, late run
	var last roof.Reading
	n := 0
	for r, err := range readings {
		if err != nil {
			return fmt.Errorf("judging the record of logger %s: %w", logger, err)
		}
		ms := r.At.UnixMilli()
		p.move(r, ms)
		gap := time.Duration(math.MaxInt64)
		if n > 0 {
			gap = r.At.Sub(last.At)
		}
		if n == 0 || gap > silence || !unmoved(last, r) {
			p.flat = still.end(p.flat, FlatFor, leastFlat)
			still = run{}
		}
		if rh, ok := r.Values.Get(roof.RHPct); !ok || rh < FlatBelowPct {
			still.add(ms)
		}
		if n == 0 || gap > silence || !sameLag(last, r, gap) {
			p.lag = late.end(p.lag, LagFor, leastLate)
			late = run{}
		}
		if r.Flags&roof.FlagArrivalTime == 0 && r.Arrived.Sub(r.At) > LagMin {
			late.add(ms)
		}
		last = r
		n++
	}
	p.flat = still.end(p.flat, FlatFor, leastFlat)
	p.lag = late.end(p.lag, LagFor, leastLate)
	return nil
}

// run is a stretch of readings that have something in common.
type run struct {
	span
	n int
}

func (r *run) add(ms int64) {
	if r.n == 0 {
		r.from = ms
	}
	r.to = ms
	r.n++
}

func (r *run) end(spans []span, least time.Duration, n int) []span {
	if r.n >= n && r.to-r.from >= least.Milliseconds() {
		return append(spans, r.span)
	}
	return spans
}

func unmoved(a, b roof.Reading) bool {
	for _, q := range []roof.Quantity{roof.TempC, roof.RHPct} {
		x, ok1 := a.Values.Get(q)
		y, ok2 := b.Values.Get(q)
		if ok1 != ok2 || x != y {
			return false
		}
	}
	return true
}

// sameLag reports that two successive readings arrived as far apart as they
// claim to have been measured.
func sameLag(a, b roof.Reading, gap time.Duration) bool {
	apart := b.Arrived.Sub(a.Arrived)
	return gap > 0 && (apart-gap).Abs() <= max(gap/10, 2*time.Second)
}

func (p *past) move(r roof.Reading, ms int64) {
	t, hasT := r.Values.Get(roof.TempC)
	rh, hasRH := r.Values.Get(roof.RHPct)
	bin := floorDiv(ms, binMS)
	day := floorDiv(bin, binsPerDay)
	bins := p.moves[day]
	if bins == nil {
		bins = &[binsPerDay]extent{}
		for i := range bins {
			bins[i] = extent{nan32, nan32, nan32, nan32}
		}
		p.moves[day] = bins
	}
	e := &bins[bin-day*binsPerDay]
	if hasT {
		e.minT, e.maxT = reach(e.minT, e.maxT, float32(t))
	}
	if hasRH {
		e.minRH, e.maxRH = reach(e.minRH, e.maxRH, float32(min(rh, 100)))
	}
}

func reach(low, high, x float32) (float32, float32) {
	if low != low || x < low { // NaN: none yet
		low = x
	}
	if high != high || x > high {
		high = x
	}
	return low, high
}

// moved reports whether a logger moved within bins [from, to).
func (p *past) moved(from, to int64) bool {
	all := extent{nan32, nan32, nan32, nan32}
	for b := from; b < to; b++ {
		day := floorDiv(b, binsPerDay)
		bins := p.moves[day]
		if bins == nil {
			continue
		}
		e := bins[b-day*binsPerDay]
		if e.minT == e.minT {
			all.minT, _ = reach(all.minT, all.maxT, e.minT)
			_, all.maxT = reach(all.minT, all.maxT, e.maxT)
		}
		if e.minRH == e.minRH {
			all.minRH, _ = reach(all.minRH, all.maxRH, e.minRH)
			_, all.maxRH = reach(all.minRH, all.maxRH, e.maxRH)
		}
	}
	return all.maxT-all.minT >= MovesK || all.maxRH-all.minRH >= MovesPct
}

// failed narrows a logger's flat stretches to those during which another
// logger moved: each eight hours of a stretch are judged by themselves.
func (h *History) failed(logger string) (out []span) {
	p := h.loggers[logger]
	if p == nil {
		return nil
	}
	const whole = int64(FlatFor/time.Millisecond)/binMS - 1 // bins that surely lie within eight hours
	for _, s := range p.flat {
		first, last := floorDiv(s.from+binMS-1, binMS), floorDiv(s.to, binMS)
		for b := first; b+whole <= last; b++ {
			if !h.othersMoved(logger, b, b+whole) {
				continue
			}
			f := span{max(s.from, (b-1)*binMS), min(s.to, (b+whole+1)*binMS)}
			if n := len(out); n > 0 && f.from <= out[n-1].to {
				out[n-1].to = f.to
				continue
			}
			out = append(out, f)
		}
	}
	return out
}

func (h *History) othersMoved(logger string, from, to int64) bool {
	for name, other := range h.loggers {
		if name != logger && other.moved(from, to) {
			return true
		}
	}
	return false
}

// Flagged yields one logger's readings, given in time order, with the flags
// added that their history gives: jump, flat line, clock wrong and before
// fitting. Nothing is left out or changed.
func (h *History) Flagged(l roof.Logger, readings iter.Seq2[roof.Reading, error]) iter.Seq2[roof.Reading, error] {
	return func(yield func(roof.Reading, error) bool) {
		flat := cursor{spans: h.failed(l.ID)}
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
			if flat.holds(ms) {
				r.Flags |= roof.FlagFlatLine
			}
			if lag.holds(ms) {
				r.Flags |= roof.FlagClockWrong
			}
			if !fitted.IsZero() && r.At.Before(fitted) {
				r.Flags |= roof.FlagBeforeFitting
			}
			if before[0].jump(r, roof.TempC, JumpK, JumpKMin) || before[1].jump(r, roof.RHPct, JumpPct, JumpPctMin) {
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
	spans []span
	i     int
}

func (c *cursor) holds(ms int64) bool {
	for c.i < len(c.spans) && c.spans[c.i].to < ms {
		c.i++
	}
	return c.i < len(c.spans) && c.spans[c.i].from <= ms
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
	if !was.ok || gap <= 0 || gap > jumpWithin {
		return false
	}
	return math.Abs(x-was.x) > step+perMin*max(gap.Minutes()-1, 0)
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
