package repair

import (
	"math"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// terms are how one fit is set up; the sensitivity list varies them.
type terms struct {
	credit      [3]bool // D, C, V
	lockNights  int
	laterHalf   bool // only the later half of the nights before
	sunWeight   float64
	driftScale  float64
	wind        bool
	spreadScale float64 // on s0
	structuralK float64
	shiftPct    [2]float64 // %RH added to loft and void readings, for the offset rows
	leaveOut    map[int32]bool
	loftSwapBin int // >0: a step of the loft logger from this bin
	voidSwapBin int
}

func defaultTerms(credit [3]bool) terms {
	return terms{credit: credit, lockNights: 4, sunWeight: 0.02, driftScale: 1, spreadScale: 1, structuralK: 0.05}
}

// ofLoft says that the work is credited with a change of the loft's exchange or
// of the ceiling's flow.
func (tm terms) ofLoft() bool { return tm.credit[0] || tm.credit[1] }

// output is what the model is compared with at one air position: hourly vapour
// pressures with their weights.
type output struct {
	hour   []int32 // index of the hour bin
	obs    []float64
	weight []float64 // q
	satPa  []float64 // psat(T_air)/100 of the hour
	days   []float64 // hundreds of days from the repair
	after  []bool
	swap   []bool
	sigma  float64
	tau    float64
	e      []float64 // residuals at the last evaluation, K of dew point
	y      []float64 // model values there
}

// trial is one fit: a site, a date at which the roof may have changed, and the
// nights that speak.
type trial struct {
	s              *site
	terms          terms
	bins           []bin
	start, end     int // bins used
	repair         int // bin of the change
	firstAfter     int // first bin past the lock
	lastBefore     int // bins from here to the lock count nothing
	pr             [paramCount]prior
	out            [2]output // loft, void
	validB, validA []int     // nights that count
	useB, useA     []int32   // bins of those nights where the pair was observed
}

// weight is how much an hour says about the exchange of a wet roof: most when
// the covering is near outdoor dew point, little when it is far above, and
// least in sun, when slopes without loggers rule the loft. It uses nothing that
// a repair can dry.
func (s *site) weight(coverC, outC, outPa, sun float64) float64 {
	q := 0.03 + math.Exp(-math.Max(coverC-dewPointC(outPa)-1, 0)/2)
	if coverC > outC+1.5 {
		q *= sun
	}
	return q
}

// minWeight is where an hour is left out to save time.
const minWeight = 0.003

// newTrial lays out a fit. The change is at repair (a bin); uncertain is its
// doubt in bins.
func newTrial(s *site, bins []bin, tm terms, start, repair, end, uncertain int) *trial {
	t := &trial{s: s, terms: tm, bins: bins, start: start, end: end, repair: repair, pr: defaultPriors()}
	for i, p := range [3]int{pD, pC, pV} {
		t.pr[p].sd = changePriors[i].other
		if tm.credit[i] {
			t.pr[p].sd = changePriors[i].credited
		}
	}
	for o, c := range [2]*series.Course{s.loftCourse, s.voidCourse} {
		t.pr[pLoftRH+o].sd = offsetSD(c)
	}
	t.pr[pLoftDrift].sd *= tm.driftScale
	t.pr[pVoidDrift].sd *= tm.driftScale
	if tm.loftSwapBin > 0 {
		t.pr[pLoftSwap].sd = 2
	}
	if tm.voidSwapBin > 0 {
		t.pr[pVoidSwap].sd = 2
	}
	if tm.wind {
		t.pr[pStepLift], t.pr[pStepVoid] = prior{0.6, 0.4}, prior{0.6, 0.4}
	}
	t.lastBefore = max(repair-uncertain, start)
	t.firstAfter = min(repair+uncertain+tm.lockNights*48, end)
	t.pickNights()
	if tm.laterHalf && len(t.validB) > 1 {
		t.start = s.nights[t.validB[len(t.validB)/2]].from
		t.pickNights()
	}
	t.observe()
	return t
}

// offsetSD is the belief about a humidity logger's standing error, %RH: 1.5, or
// the uncertainty of a check where every logger of the position has one.
func offsetSD(c *series.Course) float64 {
	const usual, least = 1.5, 0.3
	if c == nil || len(c.Stints) == 0 {
		return usual
	}
	worst := 0.0
	for _, st := range c.Stints {
		e, ok := evidence.CheckError(st, roof.RHPct)
		if !ok {
			return usual
		}
		worst = math.Max(worst, e.Standard())
	}
	return clamp(worst, least, usual)
}

// pickNights finds the nights that count, and their bins.
func (t *trial) pickNights() {
	t.validB, t.validA, t.useB, t.useA = nil, nil, nil, nil
	s := t.s
	air, sfc := s.airClimate(), s.surfaceTemp()
	slack := 12 * 2 // a lock that ends in the morning lets the coming night count
	for i, n := range s.nights {
		before := n.from >= t.start && n.until <= t.lastBefore
		after := n.from >= t.firstAfter-slack && n.until <= t.end && n.from >= t.repair
		if t.terms.lockNights == 0 {
			after = n.from >= t.firstAfter && n.until <= t.end
		}
		if n.why != "" || !(before || after) || t.terms.leaveOut[int32(i)] || n.FromMS < s.fromMS || n.UntilMS > s.untilMS() {
			continue
		}
		for k := n.from; k < n.until; k++ {
			if !air.pa.seen[k] || !sfc.seen[k] {
				continue
			}
			if before {
				t.useB = append(t.useB, int32(k))
			} else {
				t.useA = append(t.useA, int32(k))
			}
		}
		if before {
			t.validB = append(t.validB, i)
		} else {
			t.validA = append(t.validA, i)
		}
	}
}

// observe lays out the hours that the fit is held to.
func (t *trial) observe() {
	s := t.s
	for i, cl := range [2]climate{s.loft, s.void} {
		o := &t.out[i]
		*o = output{sigma: [2]float64{0.6, 0.5}[i], tau: 12}
		if i == 0 && !s.hasLoft || i == 1 && !s.hasVoid {
			continue
		}
		swap := [2]int{t.terms.loftSwapBin, t.terms.voidSwapBin}[i]
		for h := t.start / 2; 2*h+1 < t.end; h++ {
			k := 2 * h
			if k >= t.lastBefore-1 && k < t.firstAfter || k < t.start {
				continue
			}
			if !cl.pa.seen[k] || !cl.pa.seen[k+1] || !s.out.pa.seen[k] || !s.out.tempC.seen[k] || s.hasCover &&
				!s.cover.seen[k] || s.hasIn && !s.in.pa.seen[k] {
				continue
			}
			if len(t.terms.leaveOut) > 0 && t.terms.leaveOut[s.nightOf[k]] {
				continue
			}
			q := s.weight((s.cover.v[k]+s.cover.v[k+1])/2, (s.out.tempC.v[k]+s.out.tempC.v[k+1])/2,
				(s.out.pa.v[k]+s.out.pa.v[k+1])/2, t.terms.sunWeight)
			if q < minWeight {
				continue
			}
			b0, b1 := &t.bins[k], &t.bins[k+1]
			sat := (b0.loftPa + b1.loftPa) / 2
			if i == 1 {
				sat = (b0.airPa + b1.airPa) / 2
			}
			obs := (cl.pa.v[k]+cl.pa.v[k+1])/2 + t.terms.shiftPct[i]*sat
			if obs < 1 {
				continue
			}
			o.hour = append(o.hour, int32(h))
			o.obs, o.weight, o.satPa = append(o.obs, obs), append(o.weight, q), append(o.satPa, sat)
			o.days = append(o.days, float64(k-t.repair)*stepH/2400)
			o.after, o.swap = append(o.after, k >= t.repair), append(o.swap, swap > 0 && k >= swap)
		}
		o.e, o.y = make([]float64, len(o.hour)), make([]float64, len(o.hour))
	}
}
