package bell

import (
	"context"
	"encoding/json"
	"fmt"
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
	in := watch.Input{Case: c, Rows: rows, FromMS: from, Now: now, Slow: h.slow}.Laid()
	if in.Loggers, err = b.loggers(ctx, c, h, now); err != nil {
		return in, err
	}
	if in.Forecast, err = b.forecastOf(ctx, c.ID); err != nil {
		return in, err
	}
	in.Chance = watch.Tonight(in)
	return in, nil
}

// dayOf is what the readings of a day say of a logger, which changes slowly and is
// read from the record once an hour.
type dayOf struct {
	batteryPct    *float64
	batteryAt     time.Time
	day, doubtful int
}

// loggers says how each logger was last heard.
func (b *Bell) loggers(ctx context.Context, c *roof.Case, h *house, now time.Time) ([]watch.Seen, error) {
	spans, err := b.opt.Record.Spans(ctx, c.ID)
	if err != nil {
		return nil, fmt.Errorf("listing the loggers of %s: %w", c.ID, err)
	}
	if h.c != c || now.Sub(h.daysAt) >= watch.Hourly {
		if err = b.days(ctx, c, h, spans, now); err != nil {
			return nil, err
		}
	}
	var out []watch.Seen
	for _, s := range spans {
		if _, known := c.Logger(s.Logger); !known {
			continue
		}
		d := h.days[s.Logger]
		x := watch.Seen{Logger: s.Logger, Last: s.Last, BatteryPct: d.batteryPct, BatteryAt: d.batteryAt, Day: d.day,
			Doubtful: d.doubtful}
		if x.Last.After(now) {
			x.Last = now
		}
		b.sentries.add(c.ID, now, &x)
		out = append(out, x)
	}
	return out, nil
}

func (b *Bell) days(ctx context.Context, c *roof.Case, h *house, spans []roof.LoggerSpan, now time.Time) error {
	if h.c != c {
		h.days, h.daysCalm = nil, nil
	}
	from := now.Add(-24 * time.Hour)
	flagged, calm, err := b.opt.Record.Flagged(ctx, c, from, h.daysCalm)
	if err != nil {
		return fmt.Errorf("judging the readings of %s: %w", c.ID, err)
	}
	out := map[string]dayOf{}
	for _, s := range spans {
		if _, known := c.Logger(s.Logger); !known {
			continue
		}
		var d dayOf
		if was, ok := h.days[s.Logger]; ok && !was.batteryAt.Before(from.Add(-qc.Reach)) {
			d.batteryPct, d.batteryAt = was.batteryPct, was.batteryAt
		}
		for r, err := range flagged(s.Logger) {
			if err != nil {
				return err
			}
			if level, ok := r.Values.Get(roof.BatteryPct); ok {
				d.batteryPct, d.batteryAt = &level, r.At
			}
			if r.At.Before(from) {
				continue
			}
			d.day++
			if r.Flags&roof.Doubtful != 0 {
				d.doubtful++
			}
		}
		out[s.Logger] = d
	}
	h.days, h.daysAt, h.daysCalm = out, now, calm
	return nil
}

// Took takes note of readings that have become durable.
func (b *Bell) Took(caseID string, readings []roof.Reading, outcomes []roof.Outcome) {
	if b.sentries.took(caseID, readings, outcomes, b.now()) {
		wake(b.news)
	}
}

// nights asks the whole record of every house once a night, after noon of the
// house's clock, and once after a start where nothing is kept: verdicts move at a
// fixed hour, whether or not anybody looks. It can take seconds a house, which no
// look waits for but a house's first; between houses it rests for as long as it
// worked, so that thousands of them take half a processor.
func (b *Bell) nights(ctx context.Context) {
	t := time.NewTicker(b.paced(lookEvery))
	defer t.Stop()
	for {
		due, first := b.nightsDue(ctx)
		for i, c := range due[:min(len(due), roundNights)] {
			if ctx.Err() != nil {
				return
			}
			began := time.Now()
			b.nightly(ctx, c)
			if i >= first { // of thousands of houses it takes hours, and the rest goes on
				rest(ctx, time.Since(began))
			}
		}
		if len(due) > roundNights {
			continue
		}
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		case <-b.unknown:
			// A record that is only just coming in is assessed once it is here.
			rest(ctx, b.paced(settleFor))
		}
	}
}

// rest waits, not longer than ctx.
func rest(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// roundNights is how many houses are assessed before those that are due are listed
// again.
const roundNights = 20

// nightsDue lists the houses whose nightly work is to be done, those first that
// were never assessed: nothing is said of them before.
func (b *Bell) nightsDue(ctx context.Context) (all []*roof.Case, never int) {
	var first, due []*roof.Case
	for _, c := range b.Cases.All() {
		w, ok := b.sentries.nightly(c.ID)
		if !ok {
			h, err := b.hold(ctx, c.ID)
			if err != nil {
				continue // the glance that follows says it
			}
			if h.slow != nil {
				w.done = h.slow.Done
			}
			h.mu.Unlock()
			b.sentries.worked(c.ID, w)
		}
		now := b.now()
		night := func(t time.Time) int64 { return evidence.NightOf(t, c.Property.Zone).FromMS }
		switch {
		case now.Sub(w.tried) <= time.Hour:
		case w.done.IsZero():
			first = append(first, c)
		case night(w.done) != night(now):
			due = append(due, c)
		}
	}
	return append(first, due...), len(first)
}

func (b *Bell) nightly(ctx context.Context, c *roof.Case) {
	h, err := b.hold(ctx, c.ID)
	if err != nil {
		return
	}
	now, before := b.now(), h.slow
	h.mu.Unlock()
	w := nightlyWork{tried: now}
	if before != nil {
		w.done = before.Done
	}
	defer func() {
		b.sentries.worked(c.ID, w)
		b.stir(c.ID)
	}()
	a, err := b.opt.Record.Current(ctx, c)
	if err != nil {
		if ctx.Err() == nil {
			b.opt.Log.Error("the nightly assessment failed", "case", c.ID, "error", err)
		}
		return
	}
	b.assessed.Add(1)
	w.done, w.empty = now, a.From == nil
	if w.empty {
		return // the first reading asks again
	}
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
