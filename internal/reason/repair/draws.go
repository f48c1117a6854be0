package repair

import (
	"math"
	"slices"

	"dewcase/internal/reason/evidence"
)

// toll is what a run of the model counts over the nights after the repair.
type toll struct {
	wetH, riskH float64
	water       float64 // condensed, in Pa h of the surface's own exchange
}

// offRisk lowers the saturation pressure by what makes an hour one at risk.
var offRisk = math.Exp(-perKelvin * evidence.AtRiskK)

// count sums a lane up over bins; extra is a further factor on the surface's
// saturation pressure.
func (t *trial) count(bins []bin, l *lane, use []int32) (c toll) {
	p, sat := l.voidOut, l.coverSat
	if t.s.onLoft {
		p, sat = l.loftOut, l.laySat
	}
	wet, risk := 0, 0
	for _, k := range use {
		limit := bins[k].coverPa
		if t.s.onLoft {
			limit = bins[k].layPa
		}
		limit *= sat
		if p[k] > limit {
			wet++
			c.water += (p[k] - limit) * stepH
		}
		if p[k] > limit*offRisk {
			risk++
		}
	}
	c.wetH, c.riskH = float64(wet)*stepH, float64(risk)*stepH
	return c
}

// spread is the structural error of each change and of the surface: what no
// residual shows.
type spread struct {
	change   [3]float64
	surfaceK float64
}

// sample is what the draws say.
type sample struct {
	repaired, bare []toll    // of each draw: with the repair and without it
	wet, water     []float64 // ln((with + c)/(without + c)) of each draw
	risk           []float64 // the same of the hours at risk, sorted
	riskBeyond     []float64 // and with what roofs react beyond the model, sorted
	without, with  toll      // means
	wetMean, wetSD float64
	waterMean      float64
	waterSD        float64
	riskSD         float64
}

// Small amounts added on both sides so that two dry runs compare as equal.
const (
	fewHours   = 2.0
	fewWaterPa = 26.0 // Pa h, about 2 g/m2 at h_c = 3 W/(m2 K)
)

// drawer runs the two courses of many draws.
type drawer struct {
	f       *fit
	bare    []bin // as the roof would have been driven without the repair
	with    []*lane
	without []*lane
}

func newDrawer(f *fit, bare []bin) *drawer {
	b := f.t.s.workspace()
	return &drawer{f: f, bare: bare, with: b.with[:], without: b.bare[:]}
}

// theta is one draw from the posterior.
func (f *fit) theta(z *[paramCount]float64) vector {
	m := len(f.free)
	v := f.u
	var y [paramCount]float64
	for a, k := range f.free {
		y[a] = z[k]
	}
	solveUpper(f.chol, m, y[:m])
	for a, k := range f.free {
		v[k] = clamp(v[k]+y[a], -reachSD, reachSD)
	}
	return v
}

// both runs a group of draws: the past once for each pair, then with the repair
// and without it.
func (d *drawer) both(us []vector, st []*[4]float64, sp spread) {
	t := d.f.t
	n := len(us)
	for i := range us {
		a, b := d.with[i], d.without[i]
		a.course.fill(t.bins, &t.pr, &us[i], t.start, t.end)
		b.course.fill(d.bare, &t.pr, &us[i], t.repair, t.end)
		t.lane(&us[i], a)
	}
	run(t.bins, d.with[:n], t.start, t.repair)
	for i := range us {
		a, b := d.with[i], d.without[i]
		out, lo, vo := b.course, b.loftOut, b.voidOut
		*b = *a
		b.course, b.loftOut, b.voidOut = out, lo, vo
		c := [3]float64{}
		c[0], c[1], c[2] = t.changes(&us[i])
		bare := c
		for k := range c {
			if t.terms.credit[k] {
				c[k] += sp.change[k] * st[i][k]
				bare[k] = 0
			}
		}
		a.change(c[0], c[1], c[2])
		b.change(bare[0], bare[1], bare[2])
		f := math.Exp(perKelvin * sp.surfaceK * st[i][3])
		b.coverSat *= f
		b.laySat *= f
	}
	run(t.bins, d.with[:n], t.repair, t.end)
	run(d.bare, d.without[:n], t.repair, t.end)
}

// sample runs n draws.
func (d *drawer) sample(dc dice, n int, sp spread) sample {
	t := d.f.t
	var s sample
	n = min(n, len(dc.z))
	us, st := make([]vector, 0, laneGroup), make([]*[4]float64, 0, laneGroup)
	for i := 0; i < n; i += laneGroup {
		us, st = us[:0], st[:0]
		for k := i; k < min(i+laneGroup, n); k++ {
			us, st = append(us, d.f.theta(&dc.z[k])), append(st, &dc.t[k])
		}
		d.both(us, st, sp)
		for k := range us {
			s.repaired = append(s.repaired, t.count(t.bins, d.with[k], t.useA))
			s.bare = append(s.bare, t.count(d.bare, d.without[k], t.useA))
		}
	}
	s.digest(dc, t.terms)
	return s
}

// digest works out what the tolls of the draws say.
func (s *sample) digest(dc dice, tm terms) {
	gain, gainSpread := tm.riskGains()
	for i, w := range s.repaired {
		o := s.bare[i]
		s.wet = append(s.wet, math.Log((w.wetH+fewHours)/(o.wetH+fewHours)))
		risk := math.Log((w.riskH + fewHours) / (o.riskH + fewHours))
		s.risk = append(s.risk, risk)
		s.riskBeyond = append(s.riskBeyond, risk*math.Max(gain+gainSpread*dc.g[i], 0))
		s.water = append(s.water, math.Log((w.water+fewWaterPa)/(o.water+fewWaterPa)))
		s.with.add(w)
		s.without.add(o)
	}
	n := float64(len(s.repaired))
	s.with.scale(1 / n)
	s.without.scale(1 / n)
	s.wetMean, s.wetSD = meanSD(s.wet)
	_, s.riskSD = meanSD(s.riskBeyond)
	s.waterMean, s.waterSD = meanSD(s.water)
	slices.Sort(s.risk)
	slices.Sort(s.riskBeyond)
	s.with.wetH, s.with.riskH = tenth(s.with.wetH), tenth(s.with.riskH)
	s.without.wetH, s.without.riskH = tenth(s.without.wetH), tenth(s.without.riskH)
}

// riskFall is the fall of the at-risk hours between the two runs, with the
// interval that a draw stays above, and below, with chance q: of the draws as they
// are, and as wide as with what roofs react beyond the model.
func (s *sample) riskFall(q float64) effect {
	if len(s.risk) == 0 {
		return effect{low: -100, high: 100}
	}
	return plain(s.with.riskH, s.without.riskH,
		fall(math.Max(evidence.Quantile(s.risk, q), evidence.Quantile(s.riskBeyond, q))),
		fall(math.Min(evidence.Quantile(s.risk, 1-q), evidence.Quantile(s.riskBeyond, 1-q))))
}

// plain is the ratio of two runs as a fall, in an interval that holds it.
func plain(with, without, low, high float64) effect {
	pct := 0.0
	if without > 0 {
		pct = 100 * (1 - with/without)
	}
	return effect{pct, math.Min(low, pct), math.Max(high, pct)}
}

// wetGains and riskGains are the factor on the logarithm of the fall and its
// spread.
func (tm terms) wetGains() (gain, spread float64) {
	if tm.ofLoft() {
		return loftGain, loftWetSpread
	}
	return wetGain, wetGainSpread
}

func (tm terms) riskGains() (gain, spread float64) {
	if tm.ofLoft() {
		return loftGain, loftRiskSpread
	}
	return riskGain, riskGainSpread
}

func (c *toll) add(o toll) {
	c.wetH, c.riskH, c.water = c.wetH+o.wetH, c.riskH+o.riskH, c.water+o.water
}

func (c *toll) scale(f float64) { c.wetH, c.riskH, c.water = c.wetH*f, c.riskH*f, c.water*f }

// central is the pair of runs at the optimum, to keep.
func (d *drawer) central() (with, without *lane) {
	var zero [4]float64
	d.both([]vector{d.f.u}, []*[4]float64{&zero}, spread{})
	kept := func(l *lane) *lane {
		k := *l
		k.course = course{}
		k.loftOut, k.voidOut = slices.Clone(l.loftOut[:d.f.t.end]), slices.Clone(l.voidOut[:d.f.t.end])
		return &k
	}
	return kept(d.with[0]), kept(d.without[0])
}
