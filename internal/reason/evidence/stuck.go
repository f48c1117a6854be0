package evidence

import (
	"math"
	"slices"
	"time"

	"dewcase/internal/roof"
)

// When a probe has failed.
const (
	// stuckFor and stuckBelowPct: no movement at all for 8 h below 98.5 %RH while
	// neighbours move says that the probe failed (design, Risk at a surface);
	// nearer saturation a humidity sensor stands still by itself.
	stuckFor      = 8 * time.Hour
	stuckBelowPct = 98.5
	// coarseFor is the same for a logger that reports in steps of coarseStep and
	// more, K or %RH, which stands still by rounding.
	coarseFor  = 24 * time.Hour
	coarseStep = 0.4
	// stillWithin is how far values differ, K or %RH, that have not moved: the
	// last digit of those loggers that report three.
	stillWithin = 0.002
	// movesK and movesPct are what a neighbour must move by within that time;
	// common practice: some times the resolution of any such logger.
	movesK   = 1.0
	movesPct = 3.0
	// Reach is how far from a reading the readings lie that decide whether its
	// probe was stuck, so that a part of a record is judged as the whole is.
	Reach = 25 * time.Hour

	// minStill is how many readings a standstill has: fewer show no pattern
	// (common practice).
	minStill = 8
	// Silence ends a run of readings: what was not sent did not stand still.
	Silence = 2 * time.Hour
	// around is how far on either side of a standstill a logger's steps are
	// looked at.
	around = 14 * time.Hour
	// bin is the grain in which movement is remembered.
	bin     = 15 * time.Minute
	binMS   = int64(bin / time.Millisecond)
	dayBins = 96
)

// Span is a stretch of time in Unix ms, both ends in it.
type Span struct{ FromMS, ToMS int64 }

// Movement is how one logger's values moved. The zero value is a logger that
// has sent nothing.
type Movement struct {
	days map[int64]*[dayBins]extents // by day, so that a stray date costs one day's memory
	of   stands
}

// stands follow temperature and humidity.
type stands [2]standing

// extents are how far a logger's values reached in a bin, and its smallest steps.
type extents [2]extent

type extent struct{ low, high, step float32 } // NaN where none was

var nothing = extent{nan32, nan32, nan32}

var nan32 = float32(math.NaN())

// standing follows one quantity.
type standing struct {
	last   float64
	lastMS int64
	any    bool
	run    Span
	n      int
	spans  []Span // stretches without a step
}

// Add takes the logger's next reading; readings come in time order.
func (m *Movement) Add(r roof.Reading) { m.of.add(r, m.learn) }

// add takes the logger's next reading; learn is told of each value and its step.
func (s *stands) add(r roof.Reading, learn func(q int, ms int64, x, step float64)) {
	ms := r.At.UnixMilli()
	rh, ok := r.Values.Get(roof.RHPct)
	if ok {
		rh = math.Min(rh, 100)
		moved := s[1].add(ms, rh, rh < stuckBelowPct)
		learn(1, ms, rh, moved)
		if !math.IsNaN(moved) && moved > stillWithin { // the logger lives
			s[0].end()
		}
	}
	if t, ok := r.Values.Get(roof.TempC); ok {
		learn(0, ms, t, s[0].add(ms, t, true))
	}
}

// Still follows in a few bytes whether one logger's values stand still, where no
// more is asked. The zero value is a logger that has sent nothing.
type Still struct{ of stands }

// Add takes the logger's next reading; readings come in time order, and two of one
// time may each hold a part of what was measured.
func (s *Still) Add(r roof.Reading) { s.of.add(r, func(int, int64, float64, float64) {}) }

// Long reports whether a standstill was, or is, nearly as long as one that may say
// that the probe failed (Movement.Stuck).
func (s *Still) Long() bool {
	for _, x := range s.of {
		if len(x.spans) > 0 || x.n >= minStill-1 && x.run.ToMS-x.run.FromMS >= (stuckFor-Silence).Milliseconds() {
			return true
		}
	}
	return false
}

// add lengthens the run or begins another, and returns the step, NaN for none.
func (s *standing) add(ms int64, x float64, can bool) (step float64) {
	step = math.NaN()
	near := s.any && time.Duration(ms-s.lastMS)*time.Millisecond <= Silence
	if near {
		step = math.Abs(x - s.last)
	}
	if !near || !can || step > stillWithin {
		s.end()
	}
	if can {
		if s.n == 0 {
			s.run.FromMS = ms
		}
		s.run.ToMS = ms
		s.n++
	}
	s.last, s.lastMS, s.any = x, ms, true
	return step
}

func (s *standing) end() {
	if s.n >= minStill && s.run.ToMS-s.run.FromMS >= stuckFor.Milliseconds() {
		s.spans = append(s.spans, s.run)
	}
	s.run, s.n = Span{}, 0
}

func (m *Movement) learn(q int, ms int64, x, step float64) {
	b := floorDiv(ms, binMS)
	day := floorDiv(b, dayBins)
	bins := m.days[day]
	if bins == nil {
		bins = &[dayBins]extents{}
		for i := range bins {
			bins[i] = extents{nothing, nothing}
		}
		if m.days == nil {
			m.days = map[int64]*[dayBins]extents{}
		}
		m.days[day] = bins
	}
	e := &bins[b-day*dayBins][q]
	e.take(extent{float32(x), float32(x), nan32})
	if step > 1e-6 { // NaN is no step
		e.take(extent{nan32, nan32, float32(step)})
	}
}

func (e *extent) take(o extent) {
	if o.low < e.low || e.low != e.low { // NaN: none yet
		e.low = o.low
	}
	if o.high > e.high || e.high != e.high {
		e.high = o.high
	}
	if o.step < e.step || e.step != e.step {
		e.step = o.step
	}
}

// within is how far values reached in bins [from, to).
func (m *Movement) within(q int, from, to int64) extent {
	all := nothing
	for b := from; b < to; b++ {
		day := floorDiv(b, dayBins)
		if bins := m.days[day]; bins != nil {
			all.take(bins[b-day*dayBins][q])
		}
	}
	return all
}

// moved reports that the logger moved by more than noise in bins [from, to).
func (m *Movement) moved(from, to int64) bool {
	t, rh := m.within(0, from, to), m.within(1, from, to)
	return t.high-t.low >= movesK || rh.high-rh.low >= movesPct
}

// Stuck lists when a quantity (TempC or RHPct) of the logger stood still while
// another logger moved. Each eight hours, of a coarse logger each day, are
// judged by themselves.
func (m *Movement) Stuck(q roof.Quantity, others []*Movement) (out []Span) {
	k := 0
	if q == roof.RHPct {
		k = 1
	}
	s := m.of[k]
	s.end()
	for _, run := range s.spans {
		first, last := floorDiv(run.FromMS+binMS-1, binMS), floorDiv(run.ToMS, binMS)
		for b := first; b < last; b++ {
			until, failed := m.failed(k, b, last, others)
			if !failed {
				continue
			}
			f := Span{max(run.FromMS, (b-1)*binMS), min(run.ToMS, (until+1)*binMS)}
			if n := len(out); n > 0 && f.FromMS <= out[n-1].ToMS {
				out[n-1].ToMS = max(out[n-1].ToMS, f.ToMS)
				continue
			}
			out = append(out, f)
		}
	}
	return out
}

// failed judges the standstill that begins with bin from and lasts until bin
// last at most; until is the end of what was judged.
func (m *Movement) failed(k int, from, last int64, others []*Movement) (until int64, failed bool) {
	const short, long = int64(stuckFor/bin) - 1, int64(coarseFor/bin) - 1 // bins that surely lie within
	still := func(until int64) bool {
		own := m.within(k, from, until)
		return until <= last && own.high-own.low <= 1.01*stillWithin && // float32 rounds
			slices.ContainsFunc(others, func(o *Movement) bool { return o.moved(from, until) })
	}
	if still(from + long) {
		return from + long, true
	}
	return from + short, still(from+short) && !m.coarse(k, from, from+short)
}

// coarse reports that the logger's smallest step around bins [from, to) is a
// coarse one; where it took none, that its value is one that such a logger
// reports.
func (m *Movement) coarse(k int, from, to int64) bool {
	const side = int64(around / bin)
	if step := m.within(k, from-side, to+side).step; step == step {
		return step >= coarseStep
	}
	halves := 2 * float64(m.within(k, from, to).low)
	return math.Abs(halves-math.Round(halves)) < 1e-4
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
