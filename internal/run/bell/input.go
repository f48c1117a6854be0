package bell

import (
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"sync"
	"time"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/qc"
	"dewcase/internal/flow/record"
	"dewcase/internal/flow/watch"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
)

const anHour = int64(3600_000)

// input gathers what a look needs: three weeks of hours at hand, the loggers,
// and what the nightly work found.
func (b *Bell) input(ctx context.Context, c *roof.Case, h *house, now time.Time) (watch.Input, error) {
	until := record.HourAt(c, now.UnixMilli()) + anHour
	from := until - int64(watch.Days)*24*anHour
	rows, err := b.opt.Record.Hours(ctx, c, from, until)
	if err != nil {
		return watch.Input{}, fmt.Errorf("reading the last weeks of %s: %w", c.ID, err)
	}
	in := watch.Input{Case: c, Rows: rows, FromMS: from, Now: now, Slow: h.slow}
	if in.Loggers, err = b.loggers(ctx, c, now); err != nil {
		return in, err
	}
	if in.Forecast, err = b.forecastOf(ctx, c.ID); err != nil {
		return in, err
	}
	in.Chance = watch.Tonight(in)
	return in, nil
}

// loggers says how each logger was last heard.
func (b *Bell) loggers(ctx context.Context, c *roof.Case, now time.Time) ([]watch.Seen, error) {
	spans, err := b.opt.Record.Spans(ctx, c.ID)
	if err != nil {
		return nil, fmt.Errorf("listing the loggers of %s: %w", c.ID, err)
	}
	flagged, err := qc.Flag(c, func(logger string) iter.Seq2[roof.Reading, error] {
		return b.opt.Record.Range(ctx, c.ID, logger, now.Add(-24*time.Hour-qc.Reach), time.Time{})
	})
	if err != nil {
		return nil, fmt.Errorf("judging the readings of %s: %w", c.ID, err)
	}
	var out []watch.Seen
	for _, s := range spans {
		if _, known := c.Logger(s.Logger); !known {
			continue
		}
		x := watch.Seen{Logger: s.Logger, Last: s.Last}
		if x.Last.After(now) {
			x.Last = now
		}
		const doubtful = roof.FlagFlatLine | roof.FlagJump | roof.FlagMakerRange
		for r, err := range flagged(s.Logger) {
			if err != nil {
				return nil, err
			}
			if level, ok := r.Values.Get(roof.BatteryPct); ok {
				x.BatteryPct, x.BatteryAt = &level, r.At
			}
			if r.At.Before(now.Add(-24 * time.Hour)) {
				continue
			}
			x.Day++
			if r.Flags&doubtful != 0 {
				x.Doubtful++
			}
		}
		b.arrivals.add(c.ID, now, &x)
		out = append(out, x)
	}
	return out, nil
}

// arrivals counts what came of each logger.
type arrivals struct {
	mu    sync.Mutex
	by    map[string]map[string]*heardLogger // case, logger
	fresh map[string]time.Time               // when the first reading came that nobody has examined, by case
}

// examine notes that what came of a case is being looked at, and returns since
// when it waited.
func (a *arrivals) examine(caseID string) time.Time {
	a.mu.Lock()
	defer a.mu.Unlock()
	came := a.fresh[caseID]
	delete(a.fresh, caseID)
	return came
}

// unexamined takes an examine back.
func (a *arrivals) unexamined(caseID string, came time.Time) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if !came.IsZero() {
		a.fresh[caseID] = came
	}
}

// behind is how long the oldest reading that nobody has examined waits.
func (a *arrivals) behind(now time.Time) (longest time.Duration) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, came := range a.fresh {
		longest = max(longest, now.Sub(came))
	}
	return longest
}

// heardLogger counts what came of a logger by the hour of its arrival, because a
// reading with a wrong clock is not dated when it came.
type heardLogger struct {
	last   time.Time
	newest time.Time        // measured; the past comes in as it moves on
	began  time.Time        // to move on, without a lull
	moved  time.Time        // on last
	hours  map[int64][2]int // readings, of these with a clock that cannot be right
}

// A logger that hands its memory over moves on to newer readings all the time:
// one that has not for movesWithin is done. What was measured before its newest
// reading says nothing, and after catchUpFor a logger that is not yet at the
// present is silent, however its past trickles in.
const (
	movesWithin = 5 * time.Minute
	catchUpFor  = 15 * time.Minute
)

// takes notes what was measured at a time and arrived at another.
func (h *heardLogger) takes(measured, arrived time.Time) {
	if !measured.After(h.newest) {
		return
	}
	if arrived.Sub(h.moved) > catchUpFor {
		h.began = arrived
	}
	h.newest, h.moved = measured, arrived
}

// catchingUp reports that the logger is only just handing its past over.
func (h *heardLogger) catchingUp(now time.Time) bool {
	return now.Sub(h.moved) < movesWithin && now.Sub(h.began) < catchUpFor
}

// maxHeard bounds the loggers counted of a case.
const maxHeard = 1000

// add puts to a logger what is known by arrival: one with a wrong clock is not
// silent.
func (a *arrivals) add(caseID string, now time.Time, x *watch.Seen) {
	a.mu.Lock()
	defer a.mu.Unlock()
	h := a.by[caseID][x.Logger]
	if h == nil {
		return
	}
	if h.last.After(x.Last) && !h.last.After(now) {
		x.Last = h.last
	}
	x.CatchingUp = h.catchingUp(now)
	n := 0
	for at, k := range h.hours {
		if now.UnixMilli()-at*anHour > 25*anHour {
			delete(h.hours, at)
			continue
		}
		n += k[0]
		x.ClockWrong += k[1]
	}
	x.Day = max(x.Day, n)
}

// Took notes readings that have become durable. Catching up on the past is no
// sign of life now, a wrong clock is.
func (b *Bell) Took(caseID string, readings []roof.Reading, outcomes []roof.Outcome) {
	wake(b.news)
	b.arrivals.mu.Lock()
	defer b.arrivals.mu.Unlock()
	for i, r := range readings {
		if outcomes[i] != roof.Stored && outcomes[i] != roof.Merged || r.Arrived.IsZero() {
			continue
		}
		all := b.arrivals.by[caseID]
		if all == nil {
			all = map[string]*heardLogger{}
			b.arrivals.by[caseID] = all
		}
		h := all[r.Logger]
		if h == nil {
			if len(all) > maxHeard {
				continue
			}
			h = &heardLogger{hours: map[int64][2]int{}}
			all[r.Logger] = h
		}
		if _, waits := b.arrivals.fresh[caseID]; !waits {
			b.arrivals.fresh[caseID] = r.Arrived
		}
		h.takes(r.At, r.Arrived)
		k := h.hours[r.Arrived.UnixMilli()/anHour]
		k[0]++
		if r.Flags&roof.FlagClockWrong != 0 {
			k[1]++
			h.last = r.Arrived
		}
		h.hours[r.Arrived.UnixMilli()/anHour] = k
	}
}

// nightly asks the whole record once a night, after noon of the house's clock,
// and once after a start where nothing is kept: verdicts move at a fixed hour,
// whether or not anybody looks.
func (b *Bell) nightly(ctx context.Context, c *roof.Case) {
	now := b.now()
	h, err := b.hold(ctx, c.ID)
	if err != nil {
		return // the glance that follows says it
	}
	night := func(t time.Time) int64 { return evidence.NightOf(t, c.Property.Zone).FromMS }
	due := now.Sub(h.slowAt) > time.Hour && (h.slow == nil || night(h.slow.Done) != night(now))
	if due {
		h.slowAt = now
	}
	before := h.slow
	h.mu.Unlock()
	if !due {
		return
	}
	a, err := b.opt.Record.Current(ctx, c)
	if err != nil {
		if ctx.Err() == nil {
			b.opt.Log.Error("the nightly assessment failed", "case", c.ID, "error", err)
		}
		return
	}
	b.assessed.Add(1)
	s := slowOf(c, a, before)
	s.Done = now
	blob, err := json.Marshal(s)
	if err == nil {
		err = b.State.PutState(ctx, kindSlow, c.ID, blob)
	}
	if err != nil {
		b.opt.Log.Error("what the nightly work found could not be kept", "case", c.ID, "error", err)
	}
	h.mu.Lock()
	h.slow, h.at = s, time.Time{}
	h.mu.Unlock()
}

// slowOf takes from an assessment what alerts need; the best firm verdict of a
// repair so far is carried on.
func slowOf(c *roof.Case, a assessment.Answer, before *watch.Slow) *watch.Slow {
	s := &watch.Slow{Finding: a.Diagnosis.Finding, Strength: a.Diagnosis.Strength, Repaired: a.Finding.Window.Repair,
		Doubts: a.Doubts}
	if a.From != nil && a.Until != nil {
		s.At = *a.Until
		s.Days = a.Until.Sub(*a.From).Hours() / 24
		healthy := 0.0
		for _, c := range a.Diagnosis.Causes {
			if c.Cause == "none_found" || c.Cause == "night_sky_cooling" {
				healthy += c.Support
			}
		}
		if len(a.Diagnosis.Causes) > 0 {
			s.Healthy = &healthy
		}
	}
	for _, p := range a.Behind.Surfaces {
		x := watch.SlowSurface{Surface: p.Surface}
		if m := p.Mould; m != nil && len(m.Course) > 0 {
			x.Mould, x.MouldKnown = m.End, true
			for _, k := range m.Course {
				if k.AtMS <= s.At.AddDate(0, 0, -14).UnixMilli() {
					x.MouldPast = k.Index
				}
			}
		}
		for _, t := range []struct {
			is bool
			n  int
		}{{true, 0}, {false, 1}} {
			r := p.Wood
			if t.n == 1 {
				r = p.Timber
			}
			if r != nil && len(r.Weeks) > 0 && !x.TimberKnown {
				x.TimberPct, x.TimberKnown, x.TimberMeasured = r.Weeks[len(r.Weeks)-1].MeanPct, true, t.is
			}
		}
		s.Surfaces = append(s.Surfaces, x)
	}
	for i, r := range a.Repairs {
		t := watch.Turn{Surface: r.Surface, At: r.At, Verdict: string(r.Verdict), ReductionPct: r.ReductionPct,
			LowPct: r.LowPct, HighPct: r.HighPct, Unseen: a.Unseen(c, i)}
		if before != nil {
			for _, old := range before.Repairs {
				if old.Surface == t.Surface && old.At.Equal(t.At) {
					t.Best = old.Best
				}
			}
		}
		if r.Verdict == "worked" {
			t.Best = string(r.Verdict)
		}
		s.Repairs = append(s.Repairs, t)
	}
	return s
}
