package repair

import (
	"math"
	"slices"

	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// Changes are the logarithms of a roof's changes at a repair by its humidity:
// of the loft's exchange with outdoor air, of the flow through the ceiling and
// of the void's exchange with outdoor air.
type Changes [3]float64

// Follower fits the model of one surface to the nights before a repair once, and
// from there to as many nights after it as are asked for. What it answers for a
// moment depends on the readings up to that moment alone.
type Follower struct {
	j       *judge
	before  *fit
	pretend Changes
}

// followLock is how many nights after the repair a follower leaves out: fewer
// than a verdict on wet hours, since it asks for the exchange and not for hours
// that a drying roof has.
const followLock = 2

// Window bounds what a repair is judged on at a surface by the repairs before
// and after it that disturb it.
func Window(set *series.Set, e roof.Event, surface roof.Position) (fromMS, untilMS int64) {
	a := &assessor{set: set, repairs: set.Case.Repairs()}
	i := slices.IndexFunc(a.repairs, func(o roof.Event) bool { return o.At.Equal(e.At) && o.What == e.What })
	if i < 0 {
		return set.FromMS, set.UntilMS
	}
	fromMS, untilMS, _ = a.window(i, surface)
	return fromMS, untilMS
}

// Follow prepares to follow a repair at a surface. It returns nil where the model
// cannot be fitted there or fewer than minNights nights before are on record.
func Follow(set *series.Set, e roof.Event, surface string) *Follower {
	p, ok := set.Case.Position(surface)
	if !ok {
		return nil
	}
	fromMS, untilMS := Window(set, e, p)
	a := &assessor{set: set, opts: Options{Draws: extraStarts}, cache: newLayCache()}
	j, err := a.judge(e, surface, fromMS, untilMS, credit(set.Case, e))
	if err != nil {
		return nil
	}
	j.terms.lockNights = followLock
	end := j.s.repairBin - j.doubt
	if end <= j.start {
		return nil
	}
	t := newTrial(j.s, j.bins, j.terms, j.start, end, end, 0)
	if len(t.validB) < minNights {
		return nil
	}
	f := &Follower{j: j, before: j.fitTo(t, nil)}
	f.pretended(t)
	return f
}

// pretendedAt are the parts of the nights before at which a repair is pretended.
var pretendedAt = [...]float64{0.3, 0.5, 0.7}

// pretended makes of the nights before what the changes make of nothing: their
// root mean square over repairs that nobody made.
func (f *Follower) pretended(t *trial) {
	for _, part := range pretendedAt {
		at := f.j.s.nights[t.validB[int(part*float64(len(t.validB)))]].from
		p := f.from(newTrial(f.j.s, f.j.bins, f.j.terms, t.start, at, t.end, 0))
		d, c, v := p.t.changes(&p.u)
		for k, x := range [3]float64{d, c, v} {
			f.pretend[k] += x * x / float64(len(pretendedAt))
		}
	}
	for k := range f.pretend {
		f.pretend[k] = math.Sqrt(f.pretend[k])
	}
}

// from fits a trial from the optimum of the nights before.
func (f *Follower) from(t *trial) *fit {
	x := newFit(t)
	x.take(f.before)
	x.u[pD], x.u[pC], x.u[pV], x.u[pLoftStep], x.u[pVoidStep] = 0, 0, 0, 0, 0
	x.rounds(2, 8)
	return x
}

// Pretended is what the model made of repairs that nobody made, as a root mean
// square.
func (f *Follower) Pretended() Changes { return f.pretend }

// At are the changes by the readings before ms, with their posterior standard
// deviations.
func (f *Follower) At(ms int64) (ln, sd Changes) {
	s := f.j.s
	end := s.inside(ms)
	x := f.from(newTrial(s, f.j.bins, f.j.terms, f.j.start, s.repairBin, end, f.j.doubt))
	ln[0], ln[1], ln[2] = x.t.changes(&x.u)
	for k, p := range [3]int{pD, pC, pV} {
		sd[k] = x.sdOf(p) * x.t.pr[p].sd
	}
	return ln, sd
}
