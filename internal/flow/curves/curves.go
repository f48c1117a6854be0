// Package curves gives a chart its columns: any quantity of any position over
// any span, at the readings' own times or in steps with mean, least and greatest
// and the share that was observed.
//
// Every quantity is derived at the readings and summed up afterwards, never
// derived from means: vapour pressure after Magnus (package psychro), absolute
// humidity as e / (R_v T) with R_v 461.523 J/(kg K) (ASHRAE Handbook Fundamentals
// 2017, ch. 1), the excess over outdoors at the union of both loggers' times.
// Inside an observed interval a quantity runs linearly between two readings.
//
// Wide spans are summed up from hours, and where the clock of the house does not
// show whole hours of UTC or the steps are shorter, from quarters of an hour. Both
// are kept in memory a day at a time; a new reading drops the days that it can
// change. A winter of six loggers is 2 MiB of hours, 9 MiB of quarters. The hours of
// days gone by are also kept on a shelf, under the digest of what they rest on
// (package kept), so that the first chart after a start reads no readings.
package curves

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

const (
	minuteMS = int64(time.Minute / time.Millisecond)
	hourMS   = 60 * minuteMS
	dayMS    = 24 * 60 * minuteMS
	// BaseMS is the step that is kept in memory; longer steps are made of it.
	BaseMS = 15 * minuteMS
)

// Steps are the steps that a chart takes, in ms; under the shortest it shows the
// readings themselves. None lies between three hours and a day: half days would
// draw the turn of day and night as a zigzag.
var Steps = []int64{minuteMS, 5 * minuteMS, BaseMS, 60 * minuteMS, 180 * minuteMS, dayMS}

// StepFor is the shortest step with which a span has at most so many points; 0
// stands for the readings themselves, where they come no faster than that.
func StepFor(spanMS, usualMS int64, points int) int64 {
	for _, s := range Steps {
		if spanMS/s <= int64(points) {
			if s <= usualMS {
				return 0
			}
			return s
		}
	}
	return dayMS
}

// most bounds how many figures one answer holds a column.
const most = 20_000

// ErrTooLong is wrapped when an answer would hold more.
var ErrTooLong = roof.NewError(roof.Request, "too many steps")

// Bin is a quantity over one step; Seen is the share of it that was observed, and
// without it the others mean nothing. Of rain Mean is the amount.
type Bin struct{ Mean, Min, Max, Seen float32 }

// add sums up a later bin into one of n bins so far.
func (b *Bin) add(x Bin, amount bool) {
	if x.Seen == 0 {
		return
	}
	if b.Seen == 0 {
		*b = x
		return
	}
	both := b.Seen + x.Seen
	if amount {
		b.Mean += x.Mean
	} else {
		b.Mean = (b.Mean*b.Seen + x.Mean*x.Seen) / both
	}
	b.Min, b.Max, b.Seen = min(b.Min, x.Min), max(b.Max, x.Max), both
}

// Column is one quantity of one position. In steps it has bins; else the readings
// of the span, with one more at each end where an observed interval crosses it.
type Column struct {
	Key      Key
	Bins     []Bin
	Readings series.Track
}

// View is some columns over a span. Where StepMS is 0 they hold readings.
type View struct {
	FromMS, UntilMS, StepMS int64
	Columns                 []Column
}

// Len is the number of steps.
func (v View) Len() int {
	if v.StepMS == 0 {
		return 0
	}
	return int((v.UntilMS - v.FromMS) / v.StepMS)
}

// Observed is the share of [fromMS, untilMS) in which a column was observed.
func (v View) Observed(column int, fromMS, untilMS int64) float64 {
	col, sum := v.Columns[column], 0.0
	within := func(a, b int64) float64 { return float64(max(min(b, untilMS)-max(a, fromMS), 0)) }
	for i, b := range col.Bins {
		at := v.FromMS + int64(i)*v.StepMS
		sum += float64(b.Seen) * within(at, at+v.StepMS)
	}
	for i, joined := range col.Readings.Joined {
		if joined && i+1 < col.Readings.Len() {
			sum += within(col.Readings.AtMS[i], col.Readings.AtMS[i+1])
		}
	}
	return min(sum/float64(max(untilMS-fromMS, 1)), 1)
}

// Record is where the readings come from.
type Record interface {
	// Around is the calibrated record over [fromMS, untilMS), with what lies
	// before and after it as far as it reaches into the span.
	Around(ctx context.Context, c *roof.Case, fromMS, untilMS int64) (*series.Set, error)
}

// ofSet is a record that is at hand as a whole.
type ofSet struct{ set *series.Set }

func (x ofSet) Around(_ context.Context, _ *roof.Case, fromMS, untilMS int64) (*series.Set, error) {
	set := *x.set
	set.FromMS, set.UntilMS = fromMS, untilMS
	return &set, nil
}

// OfSet makes a keeper of a record that is at hand as a whole.
func OfSet(set *series.Set) *Keeper { return New(ofSet{set}) }

// Columns returns the columns of keys over [fromMS, untilMS), in Unix ms, in
// steps of stepMS, or the readings where it is 0. Bounds are widened to whole
// steps of the clock in the house's zone. Margins without a repair rest on what
// the repairs changed. An error wraps ErrTooLong.
func (k *Keeper) Columns(ctx context.Context, c *roof.Case, keys []Key, fromMS, untilMS, stepMS int64,
	changes ...Change) (View, error) {
	if untilMS < fromMS || stepMS != 0 && !slices.Contains(Steps, stepMS) {
		return View{}, fmt.Errorf("chart of case %s: a span runs forward and a step is one of %d: %w", c.ID, Steps,
			roof.NewError(roof.Request, "not a stretch"))
	}
	v := View{FromMS: fromMS, UntilMS: untilMS, StepMS: stepMS}
	if stepMS == 0 {
		if untilMS-fromMS > 40*dayMS {
			return v, fmt.Errorf("chart of case %s: %w (readings of at most 40 days at once)", c.ID, ErrTooLong)
		}
		set, err := k.record.Around(ctx, c, fromMS, untilMS)
		if err != nil {
			return v, err
		}
		for _, key := range keys {
			t := track(set, measured(key)).Slice(fromMS, untilMS)
			if key.Quantity == UnrepairedK {
				t = changeOf(changes, key.Position).readings(t)
			}
			if t.Len() > most {
				return v, fmt.Errorf("chart of case %s: %d readings at %s: %w", c.ID, t.Len(), key.Position, ErrTooLong)
			}
			v.Columns = append(v.Columns, Column{Key: key, Readings: t})
		}
		return v, nil
	}
	_, offset := time.UnixMilli(fromMS).In(c.Property.Zone).Zone()
	phase := -int64(offset) * 1000
	v.FromMS = floor(fromMS-phase, stepMS) + phase
	v.UntilMS = -floor(phase-untilMS, stepMS) + phase
	if v.Len() > most {
		return v, fmt.Errorf("chart of case %s: %d steps: %w (at most %d)", c.ID, v.Len(), ErrTooLong, most)
	}
	if stepMS < BaseMS || floor(v.FromMS, BaseMS) != v.FromMS {
		set, err := k.record.Around(ctx, c, v.FromMS, v.UntilMS)
		if err != nil {
			return v, err
		}
		for _, key := range keys {
			step := stepMS
			if key.Quantity == UnrepairedK {
				step = min(step, BaseMS)
			}
			fine := bins(track(set, measured(key)), key.Quantity, v.FromMS, step, int((v.UntilMS-v.FromMS)/step))
			if key.Quantity == UnrepairedK {
				fine = changeOf(changes, key.Position).bins(fine, v.FromMS, step)
			}
			v.Columns = append(v.Columns, Column{Key: key, Bins: fold(fine, int(stepMS/step), false)})
		}
		return v, nil
	}
	v.Columns = make([]Column, len(keys))
	coarse := BaseMS
	if stepMS%hourMS == 0 && floor(v.FromMS, hourMS) == v.FromMS {
		coarse = hourMS
	}
	grain := func(key Key) int64 {
		if key.Quantity == UnrepairedK { // the model changes it half hour by half hour
			return BaseMS
		}
		return coarse
	}
	for _, g := range []int64{BaseMS, hourMS} {
		var of []Key
		for _, key := range keys {
			if grain(key) == g {
				of = append(of, measured(key))
			}
		}
		if len(of) == 0 {
			continue
		}
		columns, err := k.base(ctx, c, of, v.FromMS, v.UntilMS, g)
		if err != nil {
			return v, err
		}
		for i, key := range keys {
			if grain(key) != g {
				continue
			}
			if key.Quantity == UnrepairedK {
				columns[0] = changeOf(changes, key.Position).bins(columns[0], v.FromMS, g)
			}
			v.Columns[i] = Column{Key: key, Bins: fold(columns[0], int(stepMS/g), key.Quantity == RainMM)}
			columns = columns[1:]
		}
	}
	return v, nil
}

// measured is what a key's column is made of.
func measured(k Key) Key {
	if k.Quantity == UnrepairedK {
		k.Quantity = MarginK
	}
	return k
}

// bins sums a track up over n steps.
func bins(t series.Track, q Quantity, fromMS, stepMS int64, n int) []Bin {
	out := make([]Bin, n)
	for i, b := range t.Slice(fromMS, fromMS+stepMS*int64(n)).Bins(fromMS, stepMS, n) {
		if b.ObservedMS > 0 {
			out[i] = Bin{float32(b.Mean), float32(b.Min), float32(b.Max), float32(float64(b.ObservedMS) / float64(stepMS))}
		}
	}
	if q != RainMM {
		return out
	}
	for i := range out {
		out[i].Mean, out[i].Min, out[i].Max = 0, 0, 0
	}
	for i, ms := range t.AtMS {
		k := (ms - 1 - fromMS) / stepMS // the amount fell before the time of its report
		if ms <= fromMS || k >= int64(n) {
			continue
		}
		b := &out[k]
		b.Mean += float32(t.Value[i])
		b.Max = b.Mean
		b.Seen = max(b.Seen, float32(math.SmallestNonzeroFloat32))
	}
	return out
}

// fold adds k neighbouring bins into one.
func fold(in []Bin, k int, amount bool) []Bin {
	if k == 1 {
		return in
	}
	out := make([]Bin, len(in)/k)
	for i := range out {
		for _, b := range in[i*k : (i+1)*k] {
			out[i].add(b, amount)
		}
		out[i].Seen /= float32(k)
		if amount {
			out[i].Min, out[i].Max = 0, out[i].Mean
		}
	}
	return out
}

// floor is the multiple of a step not later than ms.
func floor(ms, step int64) int64 {
	if ms < 0 {
		return -((-ms + step - 1) / step * step)
	}
	return ms / step * step
}
