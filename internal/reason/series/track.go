// Package series joins the loggers fitted at a position into one calibrated
// track per quantity and records when it was observed. Tracks are piecewise
// linear inside observed intervals and undefined in a gap.
package series

import (
	"sort"
)

// Track is one quantity over time. Joined[i] says that the interval from
// AtMS[i] to AtMS[i+1] was observed, inside which the quantity runs linearly;
// the last entry of Joined is always false. Times are Unix milliseconds,
// strictly rising.
type Track struct {
	AtMS   []int64
	Value  []float64
	Joined []bool
}

// Len counts the readings.
func (t Track) Len() int { return len(t.AtMS) }

// after is the index of the first reading later than ms.
func (t Track) after(ms int64) int {
	return sort.Search(len(t.AtMS), func(i int) bool { return t.AtMS[i] > ms })
}

// At returns the value at a time in Unix ms; ok is false where it was not
// observed.
func (t Track) At(ms int64) (value float64, ok bool) {
	i := t.after(ms) - 1
	if i < 0 {
		return 0, false
	}
	if t.AtMS[i] == ms && (t.Joined[i] || i > 0 && t.Joined[i-1]) {
		return t.Value[i], true
	}
	if !t.Joined[i] {
		return 0, false
	}
	return t.between(i, ms), true
}

func (t Track) between(i int, ms int64) float64 {
	f := float64(ms-t.AtMS[i]) / float64(t.AtMS[i+1]-t.AtMS[i])
	return t.Value[i] + f*(t.Value[i+1]-t.Value[i])
}

// Slice returns the part of the track whose readings lie in [fromMS, untilMS),
// with one reading more at each end where an observed interval crosses the
// bound.
func (t Track) Slice(fromMS, untilMS int64) Track {
	lo := sort.Search(len(t.AtMS), func(i int) bool { return t.AtMS[i] >= fromMS })
	hi := sort.Search(len(t.AtMS), func(i int) bool { return t.AtMS[i] >= untilMS })
	if lo > 0 && lo < len(t.AtMS) && t.Joined[lo-1] {
		lo--
	}
	if hi > lo && hi < len(t.AtMS) && t.Joined[hi-1] {
		hi++
	}
	s := Track{AtMS: t.AtMS[lo:hi], Value: t.Value[lo:hi], Joined: append([]bool(nil), t.Joined[lo:hi]...)}
	if n := len(s.Joined); n > 0 {
		s.Joined[n-1] = false
	}
	return s
}

// Until returns the track up to a time in Unix ms: an observed interval that the
// time divides ends there, at the value it then had.
func (t Track) Until(ms int64) Track {
	i := sort.Search(len(t.AtMS), func(i int) bool { return t.AtMS[i] >= ms })
	if i == len(t.AtMS) {
		return t
	}
	s := Track{append([]int64(nil), t.AtMS[:i]...), append([]float64(nil), t.Value[:i]...),
		append([]bool(nil), t.Joined[:i]...)}
	if i > 0 && t.Joined[i-1] {
		s.AtMS, s.Value, s.Joined = append(s.AtMS, ms), append(s.Value, t.between(i-1, ms)), append(s.Joined, false)
	}
	return s
}

// Piece is one observed stretch of a track, linear from A to B.
type Piece struct {
	FromMS, UntilMS int64
	A, B            float64
}

// Pieces calls each for every observed stretch inside [fromMS, untilMS), cut at
// the bounds.
func (t Track) Pieces(fromMS, untilMS int64, each func(Piece)) {
	i := max(t.after(fromMS)-1, 0)
	for ; i < len(t.AtMS)-1 && t.AtMS[i] < untilMS; i++ {
		if !t.Joined[i] {
			continue
		}
		p := Piece{t.AtMS[i], t.AtMS[i+1], t.Value[i], t.Value[i+1]}
		if p.UntilMS <= fromMS {
			continue
		}
		if p.FromMS < fromMS {
			p.A, p.FromMS = t.between(i, fromMS), fromMS
		}
		if p.UntilMS > untilMS {
			p.B, p.UntilMS = t.between(i, untilMS), untilMS
		}
		each(p)
	}
}

// Bin is a track summed up over one step.
type Bin struct {
	Mean, Min, Max float64 // of the observed time; meaningless where ObservedMS is 0
	ObservedMS     int64
}

// Bins sums the track up over n steps of stepMS from fromMS. The mean is over
// observed time, exact for the linear course.
func (t Track) Bins(fromMS, stepMS int64, n int) []Bin {
	out := make([]Bin, n)
	k, end := 0, fromMS+stepMS // the step that the last piece began in
	t.Pieces(fromMS, fromMS+stepMS*int64(n), func(p Piece) {
		if p.FromMS >= end {
			k = int((p.FromMS - fromMS) / stepMS)
			end = fromMS + int64(k+1)*stepMS
		}
		if p.UntilMS <= end { // as nearly all do
			out[k].add(p)
			return
		}
		splitAtSteps(p, fromMS, stepMS, func(k int, q Piece) { out[k].add(q) })
	})
	for k := range out {
		if out[k].ObservedMS > 0 {
			out[k].Mean /= float64(out[k].ObservedMS)
		}
	}
	return out
}

func (b *Bin) add(p Piece) {
	lo, hi := min(p.A, p.B), max(p.A, p.B)
	if b.ObservedMS == 0 {
		b.Min, b.Max = lo, hi
	} else {
		b.Min, b.Max = min(b.Min, lo), max(b.Max, hi)
	}
	d := p.UntilMS - p.FromMS
	b.Mean += (p.A + p.B) / 2 * float64(d)
	b.ObservedMS += d
}

// splitAtSteps divides a piece at the bounds of the steps it crosses and calls
// each with the step's index.
func splitAtSteps(p Piece, fromMS, stepMS int64, each func(step int, q Piece)) {
	for k := (p.FromMS - fromMS) / stepMS; p.FromMS < p.UntilMS; k++ {
		end := fromMS + (k+1)*stepMS
		q := p
		if end < p.UntilMS {
			f := float64(end-p.FromMS) / float64(p.UntilMS-p.FromMS)
			q.UntilMS, q.B = end, p.A+f*(p.B-p.A)
		}
		each(int(k), q)
		p.FromMS, p.A = q.UntilMS, q.B
	}
}

// ObservedMS returns for how many ms the track was observed within [fromMS,
// untilMS).
func (t Track) ObservedMS(fromMS, untilMS int64) int64 {
	var sum int64
	t.Pieces(fromMS, untilMS, func(p Piece) { sum += p.UntilMS - p.FromMS })
	return sum
}

// LongestGapMS returns the longest stretch, in ms, within [fromMS, untilMS) that
// was not observed.
func (t Track) LongestGapMS(fromMS, untilMS int64) int64 {
	var longest int64
	end := fromMS
	t.Pieces(fromMS, untilMS, func(p Piece) {
		longest = max(longest, p.FromMS-end)
		end = p.UntilMS
	})
	return max(longest, untilMS-end)
}
