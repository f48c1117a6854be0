package repair

import (
	"math"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// ModelHours is how long a surface was wet by the fitted roof, with a 95 %
// interval, over the half hours at which the surface and its air were observed.
type ModelHours struct {
	WetH, LowH, HighH float64
	ObservedH         float64
}

// Modelled are the wet hours of one surface by the fitted roof: over the record,
// and where a repair lies in it, before and since. Nil hours could not be had, and
// Why says why.
type Modelled struct {
	Hours  *ModelHours
	Before *ModelHours
	Since  *ModelHours
	Why    string
}

// The doubt of modelled hours beyond the draws, as a standard deviation of their
// logarithm: always, and for each unit by which the hours would be more if the
// limit lay hoursReachK higher (package comment, "Hours by the model").
const (
	hoursFloor  = 0.2
	hoursSlope  = 0.6
	hoursReachK = 0.5
	hoursDraws  = 24
)

// Hours fits the roof of one surface to the whole record and counts its wet hours:
// with the changes of the latest repair in it, or as it stands where there is
// none. results are the answers of Assess; where one was fitted to the whole
// record, its fit is taken and none is made anew.
func Hours(set *series.Set, surface roof.Position, results []Result) Modelled {
	if surface.Place != roof.CoveringUnderside && surface.Place != roof.UnderlayUnderside {
		return Modelled{Why: words.NoHours(words.TriedPlaces)}
	}
	for _, r := range results {
		if r.Surface == surface.ID && r.Modelled != nil {
			return *r.Modelled
		}
	}
	if set.UntilMS <= set.FromMS {
		return Modelled{Why: words.NoHours(words.Need{Kind: words.FittedLoggers}.String())}
	}
	inside := insideOf(set)
	const day = int64(24 * evidence.HourMS)
	if set.UntilMS-set.FromMS > maxNightsBefore*day {
		return Modelled{Why: words.NoHours(words.ShorterRecord(maxNightsBefore))}
	}
	if len(inside) == 0 {
		return standingHours(set, surface.ID)
	}
	a := &assessor{set: set, opts: Options{Draws: extraStarts}, cache: newLayCache(), repairs: set.Case.Repairs()}
	last := inside[len(inside)-1]
	j, err := a.judge(a.repairs[last], surface.ID, set.FromMS, set.UntilMS, Credit{VoidVentilation: true,
		LoftVentilation: true, Ceiling: true})
	if err != nil {
		return Modelled{Why: words.NoHours(err.Error())}
	}
	return a.hours(last, surface, j, nil)
}

// insideOf are the repairs that lie within the record, by their place in time
// order.
func insideOf(set *series.Set) (out []int) {
	for i, e := range set.Case.Repairs() {
		if ms := e.At.UnixMilli(); ms > set.FromMS && ms < set.UntilMS {
			out = append(out, i)
		}
	}
	return out
}

// standingHours are those of a roof with no repair in its record.
func standingHours(set *series.Set, surfaceID string) Modelled {
	s, err := Stand(set, surfaceID, set.FromMS, set.UntilMS)
	if err != nil {
		return Modelled{Why: words.NoHours(err.Error())}
	}
	if s.Nights < minNights {
		return Modelled{Why: words.NoHours(words.FewNightsForHours(s.Nights, minNights))}
	}
	s.Fit()
	return s.f.modelled(&judge{s: s.t.s, bins: s.t.bins, dice: throw(s.seed, hoursDraws)}, s.t.end)
}

// hours are those of a surface by the fit of its latest look, or by one made for
// it; the window must be the whole record.
func (a *assessor) hours(i int, surface roof.Position, j *judge, l *look) Modelled {
	fromMS, untilMS, _ := a.window(i, surface)
	if fromMS > a.set.FromMS || untilMS < a.set.UntilMS {
		return Modelled{Why: words.NoHours(words.TwoChanges)}
	}
	if l == nil || l.fit == nil {
		t := newTrial(j.s, j.bins, j.terms, j.start, j.s.repairBin, j.s.n, j.doubt)
		if n := len(t.validB) + len(t.validA); n < minNights {
			return Modelled{Why: words.NoHours(words.FewNightsForHours(n, minNights))}
		}
		l = &look{trial: t, fit: j.fitTo(t, nil)}
	}
	return l.fit.modelled(&judge{s: j.s, bins: j.bins, dice: throw(a.set.Case.ID+"/"+surface.ID+"/hours", hoursDraws)},
		l.trial.repair)
}

// modelled counts the wet hours of a fit over all that was observed, up to the
// record's end; repair is where the changes set in.
func (f *fit) modelled(j *judge, repair int) Modelled {
	s := j.s
	o := &f.t.out[1]
	if s.onLoft {
		o = &f.t.out[0]
	}
	if !(o.sigma <= maxSigmaK) {
		return Modelled{Why: words.NoHours(words.Astray(o.sigma, maxSigmaK))}
	}
	air, sfc := s.airClimate(), s.surfaceTemp()
	var parts [2][]int32
	for k := range s.n {
		if air.pa.seen[k] && sfc.seen[k] {
			side := 0
			if k >= repair {
				side = 1
			}
			parts[side] = append(parts[side], int32(k))
		}
	}
	us := make([]vector, 0, hoursDraws+1)
	us = append(us, f.u)
	for i := range j.dice.z {
		us = append(us, f.theta(&j.dice.z[i]))
	}
	l := newLane(s.n)
	l.course = newCourse(s.n)
	counts := make([][2]reached, len(us))
	for i := range us {
		l.course.fill(j.bins, &f.t.pr, &us[i], f.t.start, s.n)
		f.t.lane(&us[i], l)
		one := []*lane{l}
		run(j.bins, one, f.t.start, min(repair, s.n))
		l.change(f.t.changes(&us[i]))
		run(j.bins, one, min(repair, s.n), s.n)
		for side, use := range parts {
			counts[i][side] = f.t.reach(j.bins, l, use)
		}
	}
	var m Modelled
	if len(parts[0])+len(parts[1]) == 0 {
		return Modelled{Why: words.NoHours("a surface and its air observed at the same time")}
	}
	m.Hours = hoursOf(counts, [2]float64{1, 1}, stepH*float64(len(parts[0])+len(parts[1])))
	if len(parts[0]) > 0 && len(parts[1]) > 0 {
		m.Before = hoursOf(counts, [2]float64{1, 0}, stepH*float64(len(parts[0])))
		m.Since = hoursOf(counts, [2]float64{0, 1}, stepH*float64(len(parts[1])))
	}
	return m
}

// reached is how many hours a run was wet, and how many it would be if the limit lay
// hoursReachK higher.
type reached struct{ wet, within float64 }

var offReach = math.Exp(-perKelvin * hoursReachK)

func (t *trial) reach(bins []bin, l *lane, use []int32) (n reached) {
	p, sat := l.voidOut, l.coverSat
	if t.s.onLoft {
		p, sat = l.loftOut, l.laySat
	}
	for _, k := range use {
		limit := bins[k].coverPa * sat
		if t.s.onLoft {
			limit = bins[k].layPa * sat
		}
		if p[k] > limit {
			n.wet += stepH
		}
		if p[k] > limit*offReach {
			n.within += stepH
		}
	}
	return n
}

// hoursOf takes the optimum's hours, the first count, with the doubt of the draws
// and of what no residual shows.
func hoursOf(counts [][2]reached, take [2]float64, observedH float64) *ModelHours {
	sum := func(c [2]reached) (x reached) {
		for side, w := range take {
			x.wet, x.within = x.wet+w*c[side].wet, x.within+w*c[side].within
		}
		return x
	}
	best := sum(counts[0])
	logs := make([]float64, 0, len(counts)-1)
	for _, c := range counts[1:] {
		logs = append(logs, math.Log(sum(c).wet+fewHours))
	}
	_, sd := meanSD(logs)
	at := math.Log(best.wet + fewHours)
	slope := math.Log(best.within+fewHours) - at
	u := evidence.Z95 * math.Sqrt(sd*sd+square(hoursFloor)+square(hoursSlope*slope))
	return &ModelHours{WetH: best.wet, LowH: math.Max(math.Exp(at-u)-fewHours, 0),
		HighH: math.Min(math.Exp(at+u)-fewHours, observedH), ObservedH: observedH}
}
