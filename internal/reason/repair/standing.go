package repair

import (
	"math"
	"time"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// Standing is one surface's roof fitted as it stands, with no repair in it: the
// model of this room with the changes held at none, and draws from what the
// readings leave open. It runs what-ifs on the same nights and on later ones.
type Standing struct {
	Surface, Air   string
	OnLoft         bool // the surface meets the loft's air, not the void's
	HasIndoor      bool
	HasLoft        bool
	HasVoid        bool
	FromMS         int64
	Nights         int     // that count, of the record it was fitted to
	CountedWetH    float64 // counted at the calibrated readings, on these nights
	CountedAtRiskH float64
	OutdoorMeanC   float64
	IndoorExcessPa float64 // mean vapour pressure indoors over outdoors; 0 without an indoor logger
	SigmaK         float64 // of the surface's air, K of dew point

	seed string
	t    *trial
	f    *fit
	us   []vector // the optimum first, then the draws
}

// standingDraws are thrown beside the optimum.
const standingDraws = 24

// Unknown names an unknown of the fitted roof that others ask for.
type Unknown int

// The unknowns that say how open the roof is now, and those of the loggers that
// a check could settle.
const (
	LoftTimeConstant Unknown = iota // ln h
	CeilingShare                    // ln of the ceiling's leakage over the loft's exchange
	TimberShare                     // ln of the timber's exchange over the loft's
	LoftLogger                      // %RH
	VoidLogger                      // %RH
	CoveringLogger                  // K
)

var unknowns = [...]int{LoftTimeConstant: pLoftTime, CeilingShare: pCeiling, TimberShare: pWood, LoftLogger: pLoftRH,
	VoidLogger: pVoidRH, CoveringLogger: pSurfaceK}

// Stand fits the roof of one surface over [fromMS, untilMS). The error speaks to
// the reader: it names what is missing.
func Stand(set *series.Set, surfaceID string, fromMS, untilMS int64) (*Standing, error) {
	s, err := newSite(set, roof.Event{}, surfaceID, fromMS, untilMS, newLayCache())
	if err != nil {
		return nil, err
	}
	s.repairBin = s.n
	j := &judge{s: s, terms: defaultTerms([3]bool{})}
	j.prepare()
	t := newTrial(s, j.bins, j.terms, 0, s.n, s.n, 0)
	out := &Standing{Surface: surfaceID, Air: s.air.Position.ID, OnLoft: s.onLoft, HasIndoor: s.hasIn,
		HasLoft: s.hasLoft,
		HasVoid: s.hasVoid, FromMS: s.fromMS, Nights: len(t.validB), t: t,
		seed: set.Case.ID + "/" + surfaceID + "/standing"}
	for _, k := range t.useB {
		out.CountedWetH += stepH * step(j.m.marginK[k] <= 0)
		out.CountedAtRiskH += stepH * step(j.m.marginK[k] <= evidence.AtRiskK)
	}
	out.OutdoorMeanC, _ = meanSD(s.out.tempC.v)
	if s.hasIn {
		out.IndoorExcessPa, _ = s.excess(0, s.n)
	}
	return out, nil
}

// Fit fits the roof and throws the draws. It takes about a second.
func (s *Standing) Fit() {
	t := s.t
	for _, k := range []int{pD, pC, pV, pLoftStep, pVoidStep} {
		t.pr[k].sd = 0
	}
	f := newFit(t)
	f.minimise(6)
	tight := newFit(t)
	tight.u[pCoupling] = (-3 - t.pr[pCoupling].mean) / t.pr[pCoupling].sd
	tight.u[pVoid] = (1 - t.pr[pVoid].mean) / t.pr[pVoid].sd
	tight.minimise(6)
	if tight.cost < f.cost {
		f.u, f.cost = tight.u, tight.cost
	}
	f.rounds(2, 10)
	s.f = f
	s.SigmaK = t.out[1].sigma
	if s.OnLoft {
		s.SigmaK = t.out[0].sigma
	}
	d := throw(s.seed, standingDraws)
	s.us = []vector{f.u}
	for i := range d.z {
		s.us = append(s.us, f.theta(&d.z[i]))
	}
}

// Keep leaves what After needs and lets go of the record: nothing else may be
// asked afterwards.
func (s *Standing) Keep() {
	s.t, s.f = &trial{pr: s.t.pr}, nil
}

// Hourly is one body of air hour by hour.
type Hourly struct {
	TempC, VapourPa []float64
	Seen            []bool
}

// Airs are the hourly means of the air outdoors, indoors and in the loft from
// FromMS on; nil where it was not logged.
func (s *Standing) Airs() (outdoors, indoors, loft *Hourly) {
	hourly := func(c climate, has bool) *Hourly {
		if !has {
			return nil
		}
		n := s.t.s.n / 2
		h := &Hourly{make([]float64, n), make([]float64, n), make([]bool, n)}
		for i := range n {
			k := 2 * i
			h.TempC[i], h.VapourPa[i] = (c.tempC.v[k]+c.tempC.v[k+1])/2, (c.pa.v[k]+c.pa.v[k+1])/2
			h.Seen[i] = c.tempC.seen[k] && c.tempC.seen[k+1] && c.pa.seen[k] && c.pa.seen[k+1]
		}
		return h
	}
	x := s.t.s
	return hourly(x.out, true), hourly(x.in, x.hasIn), hourly(x.loft, x.hasLoft)
}

// Estimate is the fitted value of an unknown and its standard deviation.
func (s *Standing) Estimate(x Unknown) (mean, sd float64) {
	k := unknowns[x]
	p := s.t.pr[k]
	at, v := s.f.covariance(k)
	if at < 0 {
		return p.mean, p.sd
	}
	return p.value(s.f.u[k]), p.sd * math.Sqrt(v[at])
}

// covariance is the column of the posterior covariance of one unknown, in
// standard units over the free ones, and where it stands itself; -1 where it is
// held.
func (f *fit) covariance(k int) (at int, column []float64) {
	at = -1
	column = make([]float64, len(f.free))
	for a, x := range f.free {
		if x == k {
			at, column[a] = a, 1
		}
	}
	if at >= 0 {
		solveCholesky(f.chol, len(f.free), column)
	}
	return at, column
}

// Move is a change of the roof: logarithms of the exchange of the loft and of
// the void and of the flow through the ceiling, after over before, and the share
// that is left of the house's vapour over outdoors (0 stands for all of it).
type Move struct {
	Loft, Ceiling, Void float64
	House               float64
}

// Tally is what a run counts: hours, and condensed water in Pa h of the
// surface's own exchange.
type Tally struct{ WetH, AtRiskH, Water float64 }

// Change sets a run against the run without: logarithms of the ratio of wet
// hours, hours at risk and water, each with a small amount added on both sides
// so that two dry runs compare as equal.
func (with Tally) Change(without Tally) Tally {
	ln := func(a, b, few float64) float64 { return math.Log((a + few) / (b + few)) }
	return Tally{ln(with.WetH, without.WetH, fewHours), ln(with.AtRiskH, without.AtRiskH, fewHours),
		ln(with.Water, without.Water, fewWaterPa)}
}

// Runs are a what-if's counts: of every draw, the optimum first, the run as it
// is and with each of the moves.
type Runs struct {
	Without []Tally
	With    [][]Tally // [draw][move]
	Nights  int       // that were counted
}

// Run runs the draws over the fitted nights, each move made before the first of
// them, with the same timber at the start. Every half hour counts.
func (s *Standing) Run(moves []Move) Runs {
	all := make([]int32, s.t.end-s.t.start)
	for i := range all {
		all[i] = int32(s.t.start + i)
	}
	return s.runs(s.us, s.t, all, moves)
}

// Bend runs the optimum moved by one standard deviation up and down along what
// an unknown drags with it, with each of the moves: first order, what of a
// prediction's doubt would go if the unknown were known. nil where it is held.
func (s *Standing) Bend(x Unknown, moves []Move) *Runs {
	k := unknowns[x]
	at, column := s.f.covariance(k)
	if at < 0 {
		return nil
	}
	sd := math.Sqrt(column[at])
	us := make([]vector, 2)
	for i, sign := range []float64{1, -1} {
		us[i] = s.f.u
		for a, free := range s.f.free {
			us[i][free] = clamp(us[i][free]+sign*column[a]/sd, -reachSD, reachSD)
		}
	}
	all := make([]int32, s.t.end-s.t.start)
	for i := range all {
		all[i] = int32(s.t.start + i)
	}
	r := s.runs(us, s.t, all, moves)
	return &r
}

// runs steps the draws through a trial; up to t.repair the moves are not made,
// from t.start where it was fitted with no repair.
func (s *Standing) runs(us []vector, t *trial, use []int32, moves []Move) Runs {
	from := t.repair
	if from >= t.end {
		from = t.start
	}
	r := Runs{Without: make([]Tally, len(us)), With: make([][]Tally, len(us)), Nights: len(t.validA)}
	c := newCourse(t.end)
	lanes := make([]*lane, laneGroup)
	for i := range lanes {
		lanes[i] = newLane(t.end)
	}
	past := newLane(t.end)
	drier := map[float64][]bin{}
	for _, m := range moves {
		if m.House != 0 && drier[m.House] == nil {
			drier[m.House] = drierBins(t.bins, m.House)
		}
	}
	for i := range us {
		u := &us[i]
		c.fill(t.bins, &t.pr, u, t.start, t.end)
		past.course = c
		t.lane(u, past)
		run(t.bins, []*lane{past}, t.start, from)
		r.With[i] = make([]Tally, len(moves))
		// A group shares its drivers; the run without any move is the first.
		group := func(bins []bin, ids []int) {
			for len(ids) > 0 {
				n := min(len(ids), laneGroup)
				for g, id := range ids[:n] {
					l := lanes[g]
					lo, vo := l.loftOut, l.voidOut
					*l = *past
					l.loftOut, l.voidOut = lo, vo
					if id >= 0 {
						l.change(moves[id].Loft, moves[id].Ceiling, moves[id].Void)
					}
				}
				run(bins, lanes[:n], from, t.end)
				for g, id := range ids[:n] {
					x := t.count(bins, lanes[g], use)
					y := Tally{x.wetH, x.riskH, x.water}
					if id < 0 {
						r.Without[i] = y
					} else {
						r.With[i][id] = y
					}
				}
				ids = ids[n:]
			}
		}
		plain := []int{-1}
		for k, m := range moves {
			if m.House == 0 {
				plain = append(plain, k)
			}
		}
		group(t.bins, plain)
		for share, bins := range drier {
			var ids []int
			for k, m := range moves {
				if m.House == share && m.House != 0 {
					ids = append(ids, k)
				}
			}
			group(bins, ids)
		}
	}
	return r
}

// drierBins are the drivers with a share left of the house's vapour over
// outdoors.
func drierBins(bins []bin, share float64) []bin {
	out := append([]bin(nil), bins...)
	for k := range out {
		out[k].inPa = out[k].outPa + share*(out[k].inPa-out[k].outPa)
	}
	return out
}

// After runs the very draws on through the nights after a repair, in their
// measured air and temperatures, with each of the moves made at the repair and
// without; the nights are those that a verdict counts. ok is false where the
// record does not go on at the same places.
func (s *Standing) After(set *series.Set, e roof.Event, untilMS int64, moves []Move) (r Runs, ok bool) {
	site, err := newSite(set, roof.Event{At: e.At}, s.Surface, s.FromMS, untilMS, newLayCache())
	if err != nil || site.fromMS != s.FromMS || site.hasLoft != s.HasLoft || site.hasVoid != s.HasVoid {
		return r, false
	}
	bins := make([]bin, site.n)
	site.drive(bins, site.measuredTemps(), 0, site.n, false)
	tm := defaultTerms([3]bool{})
	doubt := int(e.Uncertain / (stepMS * time.Millisecond))
	t := &trial{s: site, terms: tm, bins: bins, end: site.n, repair: site.repairBin, pr: s.t.pr,
		lastBefore: max(site.repairBin-doubt, 0), firstAfter: min(site.repairBin+doubt+tm.lockNights*48, site.n)}
	t.pickNights()
	if t.repair >= t.end || len(t.useA) == 0 {
		return r, false
	}
	return s.runs(s.us, t, t.useA, moves), true
}

// CountedNights is the optimum's count over the very half hours of the counts.
func (s *Standing) CountedNights() Tally {
	return s.runs(s.us[:1], s.t, s.t.useB, nil).Without[0]
}
