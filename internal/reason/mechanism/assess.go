package mechanism

import (
	"math"
	"slices"
	"time"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/leak"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// assessor answers for one set; what several surfaces share is worked out once.
type assessor struct {
	set   *series.Set
	voids map[voidKey]Result
	pairs map[int64]pair // by the repair's time
}

type voidKey struct {
	atMS     int64
	position string
}

func newAssessor(set *series.Set) *assessor {
	return &assessor{set: set, voids: map[voidKey]Result{}, pairs: map[int64]pair{}}
}

// Assess answers for each repair and surface of results, in their order: every
// quantity that the work is credited with, and what else was noticed.
func Assess(set *series.Set, results []repair.Result) [][]Result {
	return Prepared{newAssessor(set)}.Assess(results)
}

// Prepared answers for one set from what was worked out beforehand.
type Prepared struct{ a *assessor }

// Prepare works out what does not wait for the verdicts on wet hours.
func Prepare(set *series.Set) Prepared {
	p := Prepared{newAssessor(set)}
	for _, e := range set.Case.Repairs() {
		for _, s := range repair.Judged(set.Case, e) {
			p.a.one(e, s.ID, nil)
		}
	}
	return p
}

// Assess is Assess of the prepared set.
func (p Prepared) Assess(results []repair.Result) [][]Result {
	a, set := p.a, p.a.set
	out := make([][]Result, len(results))
	for i, res := range results {
		k := slices.IndexFunc(set.Case.Repairs(), func(e roof.Event) bool { return e.At.Equal(res.At) && e.What == res.What })
		if k < 0 {
			continue
		}
		out[i] = a.one(set.Case.Repairs()[k], res.Surface, res.Leak)
	}
	return out
}

// quantities are those that this room can be asked about, in the order in which
// they are told.
var quantities = []roof.Change{roof.VoidVentilation, roof.LoftVentilation, roof.CeilingChange, roof.WaterEntry}

func (a *assessor) one(e roof.Event, surfaceID string, mended *leak.Result) []Result {
	out := []Result{}
	surface, _ := a.set.Case.Position(surfaceID)
	alters := a.set.Case.Alters(e)
	for _, q := range quantities {
		credited := slices.Contains(alters, q)
		var r Result
		switch q {
		case roof.VoidVentilation:
			r = a.void(e, surface)
		case roof.WaterEntry:
			r = waterEntry(mended)
		default:
			if !slices.Contains(alters, roof.LoftVentilation) && !slices.Contains(alters, roof.CeilingChange) {
				continue
			}
			r = a.judgePair(e, q)
			r.Said.Together = slices.Contains(alters, roof.LoftVentilation) && slices.Contains(alters, roof.CeilingChange)
		}
		r.What, r.Credited = q, credited
		if !credited {
			if r.Verdict != Changed {
				continue
			}
			r.Verdict, r.Said.Noticed = TooEarly, true
		}
		r.Said.At, r.Said.Zone = e.At, a.set.Case.Property.Zone
		r.conclude()
		out = append(out, r)
	}
	return out
}

// waterEntry is the answer on a leak, which package leak gives by wood and looks:
// loggers of air do not tell, whatever they read (package comment).
func waterEntry(l *leak.Result) Result {
	var r Result
	r.early(words.WantWetSpot)
	if l == nil {
		return r
	}
	r.Factor, r.Low, r.High, r.Said.Leak = l.Share, l.ShareLow, l.ShareHigh, &l.Said
	switch l.Verdict {
	case words.Worked:
		r.Verdict = Changed
	case words.NoChangeShown:
		r.Verdict = NoChangeShown
	}
	return r
}

// best is the position of a place with most observed temperature; none gives
// none.
func (a *assessor) best(place roof.Place, fromMS, untilMS int64) []*series.Course {
	var best *series.Course
	most := int64(0)
	for _, c := range a.set.At(place) {
		if n := c.TempC.ObservedMS(fromMS, untilMS); n > most {
			best, most = c, n
		}
	}
	if best == nil {
		return nil
	}
	return []*series.Course{best}
}

// voidOf is the covering and the void that a surface's answer is about: its own,
// or one that the repair treats.
func (a *assessor) voidOf(e roof.Event, surface roof.Position) (cover, air *series.Course) {
	pair := func(p roof.Position) bool {
		if p.Place != roof.CoveringUnderside {
			return false
		}
		c := a.set.Course(p.Meets)
		if c == nil || c.Position.Place != roof.BattenVoidAir {
			return false
		}
		cover, air = a.set.Course(p.ID), c
		return cover != nil
	}
	if pair(surface) {
		return cover, air
	}
	for _, treated := range []bool{true, false} {
		for _, p := range a.set.Case.Surfaces() {
			named := slices.Contains(e.Treats, p.ID) || slices.Contains(e.Treats, p.Meets)
			if !a.set.Case.IsUntouched(p) && (named || !treated) && pair(p) {
				return cover, air
			}
		}
	}
	return nil, nil
}

// void is the answer on the void's exchange with outdoor air.
func (a *assessor) void(e roof.Event, surface roof.Position) Result {
	cover, air := a.voidOf(e, surface)
	if air == nil {
		var r Result
		r.early(words.WantPlace).Missing = "in the batten void and one under the covering that meets it"
		return r
	}
	key := voidKey{e.At.UnixMilli(), air.Position.ID}
	if r, ok := a.voids[key]; ok {
		return r
	}
	r := a.judgeVoid(e, cover, air)
	r.Position = air.Position.ID
	if len(a.set.At(roof.BattenVoidAir)) > 1 {
		r.Said.Place = "the batten void (" + air.Position.ID + ")"
	}
	a.voids[key] = r
	return r
}

func (a *assessor) judgeVoid(e roof.Event, cover, air *series.Course) (r Result) {
	v := a.lookAtVoid(e, cover, air, &r)
	if v == nil {
		return r
	}
	n := len(v.evenings)
	stands, since := steady(n, v.holds, v.falls)
	last := v.at(n - 1)
	switch {
	case !v.base.ok:
		s := r.early(words.WantHoursBefore)
		s.Have, s.Least = int(v.base.hours), minBeforeH
		return r
	case !last.w.ok:
		s := r.early(words.WantHoursAfter)
		s.Have, s.Least = int(last.w.after.hours), minAfterH
		return r
	}
	f := v.factor(&last.w)
	r.figures(f)
	r.ShareBefore, r.ShareAfter = share3(last.w.before.x), share3(last.w.after.x)
	switch {
	case stands:
		nights := since + firstVoidNight
		r.Verdict, r.SinceNights = Changed, &nights
	case !last.likeWeather:
		r.early(words.WantLikeWeather).ColderK = v.colder(n - 1)
	case v.r.until >= unshownNights && f.within(voidUnshown):
		r.Verdict = NoChangeShown
	default:
		r.early(words.WantMore)
	}
	return r
}

// lookAtVoid lays out the evenings of one void; nil where there is nothing to
// look at, and then the result says why.
func (a *assessor) lookAtVoid(e roof.Event, cover, air *series.Course, r *Result) *voidLooks {
	fromMS, untilMS := repair.Window(a.set, e, cover.Position)
	rec := newRecord(e.At.UnixMilli(), fromMS, untilMS, e.Uncertain.Milliseconds())
	r.Nights = max(rec.until, 0)
	out := rec.temperature(a.best(roof.OutdoorAir, fromMS, untilMS))
	airC, coverC := rec.temperature([]*series.Course{air}), rec.temperature([]*series.Course{cover})
	loft := rec.temperature(a.best(roof.LoftAir, fromMS, untilMS))
	if !a.asked(e, cover, air, &rec, coverC, airC, r) {
		return nil
	}
	if out == nil {
		r.early(words.WantPlace).Missing = words.Outdoors
		if loft != nil {
			newBlindLooks(&rec, airC, coverC, loft).judge(r)
		}
		return nil
	}
	if loft == nil {
		loft = rec.temperature(a.best(roof.UnderlayUnderside, fromMS, untilMS))
	}
	return newVoidLooks(&rec, out, airC, coverC, loft)
}

// asked reports whether a void can be asked at all; where not, the result says why.
func (a *assessor) asked(e roof.Event, cover, air *series.Course, rec *record, coverC, airC *column, r *Result) bool {
	switch {
	case coverC == nil:
		r.early(words.WantPlace).Missing = "under the covering (" + cover.Position.ID + ")"
	case airC == nil:
		r.early(words.WantPlace).Missing = "in the batten void (" + air.Position.ID + ")"
	case a.moved(e, air.Position.ID, rec.fromMS, rec.untilMS):
		r.early(words.WantLoggerInPlace)
	case lifted(e, air.Position.ID):
		r.early(words.WantWordOnLogger)
	case rec.until < firstVoidNight:
		r.early(words.WantAfter)
	default:
		return true
	}
	return false
}

// moved reports that a logger left the void and came back, or moved within it, by
// its fittings in the case file: one logger fitted there more than once within
// the record used. Another logger taking its place is an exchange, and allowed.
func (a *assessor) moved(e roof.Event, positionID string, fromMS, untilMS int64) bool {
	if slices.Contains(e.KeptInPlace, positionID) {
		return false
	}
	from := max(fromMS, e.At.Add(-daysBefore*24*time.Hour).UnixMilli())
	until := min(untilMS, e.At.UnixMilli()+daysAfter*24*evidence.HourMS)
	for _, l := range a.set.Case.Loggers {
		fits := 0
		for _, f := range l.Fitted {
			to := int64(math.MaxInt64)
			if !f.To.IsZero() {
				to = f.To.UnixMilli()
			}
			if f.Position == positionID && f.From.UnixMilli() < until && to > from {
				fits++
			}
		}
		if fits > 1 {
			return true
		}
	}
	return false
}

// lifted reports that the work lifted the covering, since it changed the battens
// under it, and nobody says that the void's logger sits where it sat.
func lifted(e roof.Event, positionID string) bool {
	return (e.Battens != "" || e.CounterBattenMM != nil) && !slices.Contains(e.KeptInPlace, positionID)
}
