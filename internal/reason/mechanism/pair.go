package mechanism

import (
	"math"
	"slices"

	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// The looks at loft and ceiling: every third night, since each needs a fit.
const (
	firstPairNight = 6
	pairNights     = 3  // between two looks
	lastPairNight  = 60 // the season's own wandering grows from there
)

// Limits of the two witnesses.
const (
	pairZ        = 2.5
	pairFallZ    = 1.5
	witnessZ     = 1.5 // each must say so much by itself
	witnessCut   = 3.0 // and counts no more than this
	fittedSpread = 0.3
	pairUnknown  = 0.3
	mostShare    = 0.8  // of outdoor air in the loft's temperature: nothing is left to rise or fall
	warmC        = 10.0 // mean outdoors
	pairWeatherK = 8.0
	ceilingClear = 4.0 // factor that is excluded where no change is shown
	patienceLoft = 45  // nights, before no change of a loft is said
	lessHeatZ    = -2.5
	loftPart     = 0 // index into repair.Changes
	ceilingPart  = 1
)

// gains are how a fitted change is stretched and widened into a factor.
var gains = [2]struct{ gain, floor, lean float64 }{{1.2, 0.8, 0.4}, {1.4, 0.35, 0.5}}

// pairLooks are the looks at a loft and its ceiling after one repair.
type pairLooks struct {
	r        *record
	follow   func() *repair.Follower
	out      *column
	balances [2]*balance
	bases    [2]baseline
	before   float64 // mean outdoors, C
	looks    []pairLook
}

// pairLook is one look. The fit is made only where it is asked for.
type pairLook struct {
	heat   [2]*contrast
	after  float64 // mean outdoors, C
	fitted bool
	ln, sd repair.Changes
}

func newPairLooks(r *record, out, loft, lay, house *column, follow func() *repair.Follower) *pairLooks {
	p := &pairLooks{r: r, out: out, before: r.mean(out, r.first, 0), follow: follow}
	b := r.loftBalance(out, loft, lay, house)
	p.balances = [2]*balance{b.lookingAt(fromOutdoors), b.lookingAt(fromHouse)}
	for i, b := range p.balances {
		p.bases[i] = b.baseline(pairUnknown)
	}
	if n := min(r.until, lastPairNight); n >= firstPairNight {
		p.looks = make([]pairLook, (n-firstPairNight)/pairNights+1)
	}
	return p
}

// night is how many nights after the repair the i-th look is.
func (p *pairLooks) night(i int) int { return firstPairNight + i*pairNights }

// heat is the temperature's witness on a part at a look: its contrast, and whether
// it can witness at all.
func (p *pairLooks) heat(i, part int) (c *contrast, witness bool) {
	l := &p.looks[i]
	if l.heat[part] == nil {
		x := p.balances[part].after(&p.bases[part], p.night(i))
		l.heat[part], l.after = &x, p.r.mean(p.out, 1, p.night(i))
	}
	c = l.heat[part]
	return c, p.witnesses(c, l.after)
}

// witnesses says that a contrast of the loft's balance can witness a change, in
// the weather before and in that after, by its mean temperature outdoors.
func (p *pairLooks) witnesses(c *contrast, afterC float64) bool {
	return c.ok && c.before.x < mostShare && c.after.x < mostShare && !(p.before > warmC) && !(afterC > warmC) &&
		math.Abs(p.before-afterC) <= pairWeatherK
}

// fit is the humidity's witness at a look; ok is false where the model cannot be
// fitted.
func (p *pairLooks) fit(i int) (l *pairLook, ok bool) {
	l = &p.looks[i]
	f := p.follow()
	if f == nil {
		return l, false
	}
	if !l.fitted {
		l.fitted = true
		l.ln, l.sd = f.At(p.r.atMS + int64(p.night(i))*dayMS)
	}
	return l, true
}

// fittedZ is how sure the humidity is of a part's change at a look.
func (p *pairLooks) fittedZ(i, part int) float64 {
	l, ok := p.fit(i)
	if !ok {
		return 0
	}
	return l.ln[part] / math.Sqrt(square(l.sd[part])+square(fittedSpread)+square(p.follow().Pretended()[part]))
}

// z joins the two witnesses; it is 0 unless both say the same.
func (p *pairLooks) z(i, part int) float64 {
	c, ok := p.heat(i, part)
	if !ok || math.Abs(c.z) < witnessZ {
		return 0
	}
	return joined(p.fittedZ(i, part), c.z)
}

// joined is what two witnesses say together: nothing, unless each says so much by
// itself and both the same.
func joined(a, b float64) float64 {
	if math.Abs(a) < witnessZ || math.Abs(b) < witnessZ || a*b < 0 {
		return 0
	}
	cut := func(z float64) float64 { return math.Min(math.Max(z, -witnessCut), witnessCut) }
	return (cut(a) + cut(b)) / math.Sqrt2
}

// stands reports whether a part's change is sure at the last look, and since
// which.
func (p *pairLooks) stands(part int) (stands bool, since int) {
	return steady(len(p.looks), func(i int) bool { return math.Abs(p.z(i, part)) > pairZ },
		func(i int) bool { return math.Abs(p.z(i, part)) < pairFallZ })
}

// factor is a part's exchange after over before, by the humidity alone.
func (p *pairLooks) factor(i, part int) (factor, bool) {
	l, ok := p.fit(i)
	if !ok {
		return factor{}, false
	}
	x, g := l.ln[part], gains[part]
	return factorOf(g.gain*x, math.Sqrt(square(alike*l.sd[part])+square(g.floor)+
		0.5*square(p.follow().Pretended()[part])+square(g.lean*x))), true
}

// pair is what is known of a repair's loft and ceiling.
type pair struct {
	looks *pairLooks
	early Result // why there are no looks
}

// pairOf lays out the looks at the loft and its ceiling.
func (a *assessor) pairOf(e roof.Event) pair {
	key := e.At.UnixMilli()
	if p, ok := a.pairs[key]; ok {
		return p
	}
	var p pair
	surface, ok := a.fitted(e)
	if !ok {
		p.early.early(words.WantPlace).Missing = "under the underlay or under the covering"
	} else {
		p.looks = a.lookAtPair(e, surface, &p.early)
	}
	a.pairs[key] = p
	return p
}

// fitted is the surface whose model is asked: a covering over a void, since that
// model has both airs, before one that meets the loft; treated before others.
func (a *assessor) fitted(e roof.Event) (best roof.Position, ok bool) {
	most := -1
	for _, s := range a.set.Case.Surfaces() {
		air := a.set.Course(s.Meets)
		if c := a.set.Course(s.ID); air == nil || c == nil || c.TempC.Len() == 0 || air.VapourPa.Len() == 0 {
			continue
		}
		score := 0
		if s.Place == roof.CoveringUnderside && air.Position.Place == roof.BattenVoidAir {
			score += 2
		}
		if slices.Contains(e.Treats, s.ID) || slices.Contains(e.Treats, s.Meets) {
			score++
		}
		if score > most {
			best, most, ok = s, score, true
		}
	}
	return best, ok
}

func (a *assessor) lookAtPair(e roof.Event, surface roof.Position, early *Result) *pairLooks {
	fromMS, untilMS := repair.Window(a.set, e, surface)
	rec := newRecord(e.At.UnixMilli(), fromMS, untilMS, e.Uncertain.Milliseconds())
	early.Nights = min(max(rec.until, 0), lastPairNight)
	lays := a.set.At(roof.UnderlayUnderside)
	if len(lays) == 0 {
		lays = a.set.At(roof.CoveringUnderside)
	}
	houses := slices.DeleteFunc(a.set.At(roof.IndoorAir), func(c *series.Course) bool {
		return slices.Contains(e.Treats, c.Position.ID)
	})
	var cols [4]*column
	for i, x := range []struct {
		courses []*series.Course
		missing string
	}{{a.best(roof.OutdoorAir, fromMS, untilMS), words.Outdoors},
		{a.best(roof.LoftAir, fromMS, untilMS), "in the loft's air"},
		{lays[:min(len(lays), 2)], "under the underlay or under the covering"}, {houses, "indoors"}} {
		if cols[i] = rec.temperature(x.courses); cols[i] == nil {
			early.early(words.WantPlace).Missing = x.missing
			return nil
		}
	}
	var f *repair.Follower
	asked := false
	p := newPairLooks(&rec, cols[0], cols[1], cols[2], cols[3], func() *repair.Follower {
		if !asked {
			asked, f = true, repair.Follow(a.set, e, surface.ID)
		}
		return f
	})
	if len(p.looks) == 0 {
		early.early(words.WantAfter)
		return nil
	}
	return p
}

// judgePair is the answer on the loft's exchange or the flow through the ceiling.
func (a *assessor) judgePair(e roof.Event, what roof.Change) Result {
	p := a.pairOf(e)
	if p.looks == nil {
		return p.early
	}
	part := loftPart
	if what == roof.CeilingChange {
		part = ceilingPart
	}
	v := p.looks
	last := len(v.looks) - 1
	r := Result{Nights: v.night(last)}
	stands, since := v.stands(part)
	f, known := v.factor(last, part)
	if !known {
		r.early(words.WantModel)
		return r
	}
	r.figures(f)
	heat, witness := v.heat(last, part)
	fitted := v.fittedZ(last, part)
	after := v.looks[last].after
	r.Said.LessHeat = part == ceilingPart && !stands && witness && heat.z <= lessHeatZ
	switch {
	case stands:
		nights := v.night(since)
		r.Verdict, r.SinceNights = Changed, &nights
	case v.before > warmC || after > warmC:
		r.early(words.WantCold)
	case math.Abs(v.before-after) > pairWeatherK:
		r.early(words.WantLikeWeather).ColderK = v.before - after
	case !heat.ok:
		s := r.early(words.WantHoursAfter)
		s.Have, s.Least = int(heat.after.hours), minAfterH
		if !v.bases[part].ok {
			s.Want, s.Have, s.Least = words.WantHoursBefore, int(v.bases[part].hours), minBeforeH
		}
	case !witness || math.Abs(fitted) > pairZ || math.Abs(heat.z) > pairZ:
		r.early(words.WantSecondWitness)
	case part == ceilingPart && r.Nights >= unshownNights && f.within(ceilingClear),
		part == loftPart && r.Nights >= patienceLoft:
		r.Verdict = NoChangeShown
	default:
		r.early(words.WantMore)
	}
	return r
}
