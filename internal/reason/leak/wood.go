package leak

import (
	"cmp"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/timber"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// The drying and its doubts (package documentation).
const (
	beforeDays     = 21.0
	tauDays        = 16.0
	tauSpread      = 0.9 // of the logarithm
	formulaPct     = 1.0 // what the first-order drying misses
	mostShare      = 1.25
	rainMeasured   = 0.3
	rainGuessed    = 0.6
	leastShare     = 0.02 // is nothing
	airSpreadPct   = 1.5
	probeBiasPct   = 1.0
	probeNoisePct  = 0.5 // of a day, fixed probe
	handNoisePct   = 1.5 // of a day, spot readings
	handGapH       = 36.0
	saturationPct  = 28.0
	beyondPerPct   = 0.1
	leastSourcePct = 4.0
	leastAirShare  = 0.6
	draws          = 600
	perDraw        = 5
	dayMS          = 24 * evidence.HourMS
	airStepMS      = 6 * evidence.HourMS
)

// share is how much of the water still comes in.
type share struct {
	best, low, high      float64 // the shortest interval that holds 95 %
	under, over          float64 // what it is certain to 97.5 % to exceed, and not to
	sourcePct            float64 // Q
	airPct, airLo, airHi float64 // of the wood at the last reading, by the air alone
}

// daily is the mean of one day's readings.
type daily struct {
	ms  int64
	pct float64
}

// judgeSpot sets the readings of one position against the drying that its air
// alone would give.
func judgeSpot(set *series.Set, c *series.Course, e roof.Event) Spot {
	at := e.At.UnixMilli()
	s := Spot{Position: c.Position.ID}
	var before, after []daily
	for k, ms := range c.WoodPct.AtMS {
		x := c.WoodPct.Value[k]
		switch {
		case ms < at && ms >= at-int64(beforeDays)*dayMS:
			before, s.ReadingsBefore = addDay(before, ms, x), s.ReadingsBefore+1
		case ms >= at+dayMS:
			after, s.ReadingsAfter = addDay(after, ms, x), s.ReadingsAfter+1
		}
	}
	if len(before) > 0 {
		s.BeforePct = tenth(meanOf(before))
	}
	if n := len(after); n > 0 {
		s.NowPct, s.DaysSince = tenth(after[n-1].pct), tenth(float64(after[n-1].ms-at)/float64(dayMS))
	}
	switch {
	case len(before) == 0:
		s.Why = words.NoWoodBefore
	case len(after) < 2:
		s.Why = words.NoWoodAfter
	}
	if s.Why != "" {
		return s
	}
	emc, ok := airMoisture(set, c, at-int64(2*beforeDays)*dayMS, after[len(after)-1].ms)
	if !ok {
		s.Why = words.NoAirAtWood
		return s
	}
	w := wood{at: at, emc: emc, before: before, after: after, noise: probeNoisePct, rainSpread: rainMeasured}
	if e.Leak == roof.PlumbingLeak {
		w.rainSpread = 0
	} else if !w.measureRain(set) {
		w.rainSpread = rainGuessed
	}
	if byHand(c.WoodPct) {
		w.noise = handNoisePct
	}
	h := w.share(set.Case.ID + "/" + c.Position.ID)
	s.AirAlonePct, s.AirAloneLow, s.AirAloneHigh = point(h.airPct), point(h.airLo), point(h.airHi)
	if doubt := math.Hypot(airSpreadPct, math.Hypot(probeBiasPct, w.noise)); h.sourcePct < leastSourcePct ||
		h.sourcePct < 2*doubt {
		s.Why = words.NotWetBefore
		return s
	}
	s.share = &h
	return s
}

// byHand reports that readings come days apart, as from a meter in a hand.
func byHand(t series.Track) bool {
	if t.Len() < 2 {
		return true
	}
	var gaps []float64
	for i := 1; i < t.Len(); i++ {
		gaps = append(gaps, float64(t.AtMS[i]-t.AtMS[i-1])/float64(evidence.HourMS))
	}
	return evidence.Median(gaps) > handGapH
}

func addDay(days []daily, ms int64, x float64) []daily {
	if n := len(days); n > 0 && days[n-1].ms/dayMS == ms/dayMS {
		d := &days[n-1]
		d.pct += (x - d.pct) / 2 // later readings of a day weigh more
		d.ms = ms
		return days
	}
	return append(days, daily{ms, x})
}

func meanOf(days []daily) float64 {
	sum := 0.0
	for _, d := range days {
		sum += d.pct
	}
	return sum / float64(len(days))
}

// moisture is the equilibrium moisture of the air, a mean every six hours.
type moisture struct {
	fromMS int64
	pct    []float64
}

// airMoisture is the equilibrium moisture of the wood in the air that meets it, at
// the wood's own temperature where it was measured. ok is false where the air was
// observed for too little of the time since the repair.
func airMoisture(set *series.Set, c *series.Course, fromMS, untilMS int64) (m moisture, ok bool) {
	air := set.Course(c.Position.Meets)
	if air == nil || air.VapourPa.Len() < 2 {
		if c.VapourPa.Len() < 2 {
			return m, false
		}
		air = c // the probe's own air
	}
	temp := air.TempC
	if c.TempC.Len() > 1 {
		temp = c.TempC
	}
	n := int((untilMS - fromMS + airStepMS - 1) / airStepMS)
	pa, t := air.VapourPa.Bins(fromMS, airStepMS, n), temp.Bins(fromMS, airStepMS, n)
	m = moisture{fromMS, make([]float64, n)}
	seen, last := 0, math.NaN()
	for k := range n {
		if pa[k].ObservedMS > 0 && t[k].ObservedMS > 0 {
			rh := min(100*pa[k].Mean/psychro.SatWaterPa(t[k].Mean), 100)
			if emc, err := timber.EMCPct(t[k].Mean, rh); err == nil {
				seen, last = seen+1, emc
			}
		}
		m.pct[k] = last
	}
	first := slices.IndexFunc(m.pct, func(x float64) bool { return !math.IsNaN(x) })
	if first < 0 || float64(seen) < leastAirShare*float64(n-first) {
		return m, false
	}
	for k := range first {
		m.pct[k] = m.pct[first]
	}
	return m, true
}

// wood is what one draw is run on.
type wood struct {
	at            int64
	emc           moisture
	before, after []daily
	noise         float64
	rain          []float64 // of each reading since: rain a day since the repair over that before
	rainSpread    float64   // of the logarithm of what it feeds the leak with; 0 no rain feeds it
}

// measureRain fills in how much of the rain before the repair fell since; false
// without a gauge that knows both.
func (w *wood) measureRain(set *series.Set) bool {
	var gauge series.Track
	for i := range set.Courses {
		if t := set.Courses[i].RainMM; t.Len() > gauge.Len() {
			gauge = t
		}
	}
	aDay := func(fromMS, untilMS int64) float64 {
		sum := 0.0
		for k, ms := range gauge.AtMS {
			if ms > fromMS && ms <= untilMS {
				sum += gauge.Value[k]
			}
		}
		return sum * float64(dayMS) / float64(untilMS-fromMS)
	}
	before := aDay(w.at-int64(beforeDays)*dayMS, w.at)
	if gauge.Len() == 0 || gauge.AtMS[0] > w.at-int64(beforeDays)*dayMS/2 || before <= 0 {
		return false
	}
	for _, d := range w.after {
		w.rain = append(w.rain, math.Min(aDay(w.at, d.ms)/before, 1))
	}
	return true
}

// sd is the doubt of one day's reading.
func (w *wood) sd(pct float64) float64 { return w.noise + beyondPerPct*math.Max(pct-saturationPct, 0) }

// run is the drying from m0 at the repair by the air alone, at the times of the
// readings after it, and the air's own level at the repair.
func (w *wood) run(m0, tauH, biasPct float64) (level float64, dry []float64) {
	keep := math.Exp(-float64(airStepMS) / float64(evidence.HourMS) / tauH)
	k := 0
	level = w.emc.pct[0] + biasPct
	for ; k < len(w.emc.pct) && w.emc.fromMS+int64(k)*airStepMS < w.at; k++ {
		e := w.emc.pct[k] + biasPct
		level = e + (level-e)*keep
	}
	m := m0
	for _, d := range w.after {
		for ; k < len(w.emc.pct) && w.emc.fromMS+int64(k)*airStepMS < d.ms; k++ {
			e := w.emc.pct[k] + biasPct
			m = e + (m-e)*keep
		}
		dry = append(dry, m)
	}
	return level, dry
}

// share weighs draws of what is not known by how well each explains the readings
// since the repair; given the rest, the share is normal, cut off at nothing and at
// mostShare.
func (w *wood) share(seed string) share {
	h := fnv.New64a()
	h.Write([]byte(seed)) // never fails (hash.Hash)
	rng := rand.New(rand.NewPCG(h.Sum64(), 0x1eaf))
	m0 := meanOf(w.before)
	// Days of one week err alike.
	last := w.after[len(w.after)-1].ms
	alone := math.Min(1, float64(last-w.at)/float64(7*dayMS)/float64(len(w.after)))
	shares, airs := make([]weighed, 0, draws*perDraw), make([]weighed, 0, draws)
	for range draws {
		bias, air := probeBiasPct*rng.NormFloat64(), airSpreadPct*rng.NormFloat64()
		tau := 24 * tauDays * math.Exp(tauSpread*rng.NormFloat64())
		start := m0 - bias + w.sd(m0)/math.Sqrt(float64(len(w.before)))*rng.NormFloat64()
		level, dry := w.run(start, tau, air)
		q := math.Max(start-level, 0.5) * math.Exp(w.rainSpread*rng.NormFloat64())
		xx, xy, yy := 0.0, 0.0, 0.0
		for i, d := range w.after {
			x := q * (1 - math.Exp(-float64(d.ms-w.at)/float64(evidence.HourMS)/tau))
			if w.rain != nil {
				x *= w.rain[i]
			}
			y := d.pct - bias - dry[i]
			u := alone / (square(w.sd(d.pct)) + square(formulaPct))
			xx, xy, yy = xx+u*x*x, xy+u*x*y, yy+u*y*y
		}
		xx = math.Max(xx, 1e-6)
		mean, sd := xy/xx, 1/math.Sqrt(xx)
		inside := distuv.UnitNormal.CDF((mostShare-mean)/sd) - distuv.UnitNormal.CDF(-mean/sd)
		fits := math.Exp(-(yy-xy*mean)/2) * sd * inside
		airs = append(airs, weighed{dry[len(dry)-1], 1})
		if !(fits > 0) {
			continue
		}
		from := distuv.UnitNormal.CDF(-mean / sd)
		for k := range perDraw {
			x := mean + sd*distuv.UnitNormal.Quantile(from+inside*(float64(k)+0.5)/perDraw)
			shares = append(shares, weighed{math.Min(math.Max(x, 0), mostShare), fits})
		}
	}
	level, _ := w.run(m0, 24*tauDays, 0)
	out := share{high: mostShare, over: mostShare, best: mostShare / 2, sourcePct: m0 - level}
	if len(shares) > 0 {
		out.under, out.best, out.over = quantiles(shares)
		out.low, out.high = shortest(shares)
	}
	out.airLo, out.airPct, out.airHi = quantiles(airs)
	return out
}

// shortest is the shortest interval that holds 95 % of a sorted weighed sample: it
// reaches nothing where nothing is the likeliest.
func shortest(all []weighed) (low, high float64) {
	sum := 0.0
	for _, a := range all {
		sum += a.weight
	}
	low, high = all[0].x, all[len(all)-1].x
	held, k := 0.0, 0
	for _, a := range all {
		for held < 0.95*sum && k < len(all) {
			held, k = held+all[k].weight, k+1
		}
		if held < 0.95*sum {
			break
		}
		if x := all[k-1].x; x-a.x < high-low {
			low, high = a.x, x
		}
		held -= a.weight
	}
	if low < leastShare {
		low = 0
	}
	return low, high
}

// weighed is a value with its weight.
type weighed struct{ x, weight float64 }

// quantiles are the 2.5, 50 and 97.5 % of a weighed sample.
func quantiles(all []weighed) (low, mid, high float64) {
	slices.SortFunc(all, func(a, b weighed) int { return cmp.Compare(a.x, b.x) })
	x, w := make([]float64, len(all)), make([]float64, len(all))
	for i, a := range all {
		x[i], w[i] = a.x, a.weight
	}
	q := func(p float64) float64 { return stat.Quantile(p, stat.Empirical, x, w) }
	return q(0.025), q(0.5), q(0.975)
}

func square(x float64) float64 { return x * x }

func tenth(x float64) float64 { return math.Round(x*10) / 10 }

func point(x float64) *float64 {
	x = tenth(x)
	return &x
}
