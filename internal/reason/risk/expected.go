package risk

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// Span is a stretch of time in Unix ms, [FromMS, UntilMS).
type Span struct{ FromMS, UntilMS int64 }

// Expectation is the time at or below a margin, in hours, over the accuracy of
// the loggers: a logger's offset is one unknown shared by all its readings, so
// it does not average out. Low and High bound the central 95 %, reaching as far
// as the mean where a few rare offsets alone carry it beyond, so that the
// expectation always lies within its interval.
type Expectation struct {
	MeanH, LowH, HighH float64
}

// Share is one logger term's part of the variance, and the interval that would
// remain with that term known better: a humidity checked to +/-1 %RH against a
// salt point, a temperature to +/-0.1 K in an ice bath.
type Share struct {
	Logger                  string
	Quantity                roof.Quantity // TempC or RHPct
	Part                    float64       // 0..1
	CheckedLow, CheckedHigh float64       // h
}

// draws is how many points of the quasi-random sequence an expectation uses;
// the mean is good to about 0.1 % of the span between its bounds.
const draws = 2048

// A check's remaining limits, common practice for a salt point (Greenspan 1977
// gives the salts themselves to 0.1-0.5 %RH) and an ice bath.
const (
	saltCheckRHPct = 1.0
	iceCheckTempC  = 0.1
)

// Expected returns the expectation of the time with margin <= limitK within the
// spans. ok is false where a logger's accuracy is unknown.
//
// Method: a margin moves with the offsets by
//
//	d margin = dTs - (dL/dT) dTa - (dL/dRH) dRH
//
// with L the limit of psychro.LimitC. Observed time is laid into histograms of
// the margin, one for each class of air-side sensitivity (so that every class
// has one shift a draw), and the offsets are drawn by a Halton sequence. Air
// reading near 100 %RH cannot be wetter than 100, so the humidity offset of a
// class stops at its head-room. Against drawing and recounting from the raw
// readings the mean and bounds agree within 0.5 % of the observed time (test).
func (c *Course) Expected(spans []Span, limitK float64) (e Expectation, ok bool) {
	e, _, ok = c.expect(spans, limitK, false)
	return e, ok
}

// ExpectedAndShares returns the expectation with what its width comes from, largest
// part first; nothing does where every accuracy is exact.
func (c *Course) ExpectedAndShares(spans []Span, limitK float64) (e Expectation, shares []Share, ok bool) {
	return c.expect(spans, limitK, true)
}

func (c *Course) expect(spans []Span, limitK float64, share bool) (e Expectation, shares []Share, ok bool) {
	if _, ok := c.Accurate(); !ok {
		return Expectation{}, nil, false
	}
	terms := c.terms()
	if len(terms) == 0 { // every limit is 0: the count is the expectation
		raw := 0.0
		for _, s := range spans {
			c.Pieces(s.FromMS, s.UntilMS, func(p Piece) {
				a, b := below(p.MarginA, p.MarginB, limitK)
				raw += (b - a) * float64(p.UntilMS-p.FromMS) / 3.6e6
			})
		}
		return Expectation{MeanH: raw, LowH: raw, HighH: raw}, nil, true
	}
	groups := c.classes(spans, limitK, terms)
	e.MeanH, e.LowH, e.HighH = summary(simulate(groups, terms, -1))
	if share {
		shares = sharesOf(groups, terms)
	}
	return e, shares, true
}

func sharesOf(groups []*class, terms []term) (out []Share) {
	total := 0.0
	for k, t := range terms {
		v := stat.PopVariance(simulate(groups, terms, k), nil)
		total += v
		checked := slices.Clone(terms)
		checked[k] = checked[k].checked()
		_, low, high := summary(simulate(groups, checked, -1))
		out = append(out, Share{Logger: t.logger, Quantity: t.quantity, Part: v, CheckedLow: low, CheckedHigh: high})
	}
	for k := range out {
		if total > 0 {
			out[k].Part /= total
		}
	}
	slices.SortStableFunc(out, func(a, b Share) int { return cmp.Compare(b.Part, a.Part) })
	return out
}

// term is one unknown offset.
type term struct {
	evidence.Error
	logger   string
	quantity roof.Quantity
}

func (t term) checked() term {
	limit := iceCheckTempC
	if t.quantity == roof.RHPct {
		limit = saltCheckRHPct
	}
	if t.Normal {
		limit /= math.Sqrt(3) // the check's limits are rectangular
	}
	t.Limit = math.Min(t.Limit, limit)
	return t
}

func (t term) at(u float64) float64 {
	if t.Normal {
		return t.Limit * distuv.UnitNormal.Quantile(u)
	}
	return t.Limit * (2*u - 1)
}

// terms lists the unknown offsets behind the course; one logger that served
// twice is one unknown.
func (c *Course) terms() []term {
	var out []term
	add := func(s series.Stint, q roof.Quantity) {
		e, _ := evidence.ErrorOf(s, q)
		if e.Limit != 0 && !slices.ContainsFunc(out, func(o term) bool { return o.logger == s.Logger && o.quantity == q }) {
			out = append(out, term{e, s.Logger, q})
		}
	}
	for _, s := range c.surface {
		add(s, roof.TempC)
	}
	for _, s := range c.air {
		add(s, roof.TempC)
		add(s, roof.RHPct)
	}
	return out
}

// class is the observed time of one pair of loggers and one air-side
// sensitivity, as a cumulative histogram of the margin less the limit.
type class struct {
	surfaceTemp, airTemp, airRH int // indices into the terms; -1 where exact
	perK, perPct                float64
	headroomPct                 float64
	weight, sumK, sumPct        float64
	cumulative                  []float64 // h at or below -reachK + i*cellK
}

const (
	reachK = 16.0 // beyond this a margin never crosses for offsets of any logger sold
	cellK  = 0.02
	cells  = int(2*reachK/cellK) + 1
)

type classKey struct {
	surface, air    int // stint
	headroom, slope int
}

func (c *Course) classes(spans []Span, limitK float64, terms []term) []*class {
	byKey := map[classKey]*class{}
	var order []*class
	index := func(logger string, q roof.Quantity) int {
		return slices.IndexFunc(terms, func(t term) bool { return t.logger == logger && t.quantity == q })
	}
	var last classKey
	var g *class
	for _, span := range spans {
		c.Pieces(span.FromMS, span.UntilMS, func(p Piece) {
			sat := psychro.SatWaterPa(p.AirC)
			rh := math.Min(100*p.AirPa/sat, 100)
			perK, perPct := evidence.LimitSlopes(p.AirC, p.AirPa, rh)
			k := classKey{evidence.StintAt(c.surface, p.FromMS), evidence.StintAt(c.air, p.FromMS), int(math.Min(100-rh, 6) * 8),
				int(math.Log(math.Max(perPct, 1e-3)) * 30)}
			if g == nil || k != last {
				var ok bool
				if g, ok = byKey[k]; !ok {
					s, a := c.surface[k.surface], c.air[k.air]
					g = &class{surfaceTemp: index(s.Logger, roof.TempC), airTemp: index(a.Logger, roof.TempC),
						airRH: index(a.Logger, roof.RHPct), cumulative: make([]float64, cells)}
					byKey[k] = g
					order = append(order, g)
				}
				last = k
			}
			h := float64(p.UntilMS-p.FromMS) / 3.6e6
			g.weight += h
			g.sumK += h * perK
			g.sumPct += h * perPct
			g.headroomPct += h * (100 - rh)
			g.lay(p.MarginA-limitK, p.MarginB-limitK, h)
		})
	}
	for _, g := range order {
		g.perK, g.perPct, g.headroomPct = g.sumK/g.weight, g.sumPct/g.weight, g.headroomPct/g.weight
		for i := 1; i < cells; i++ {
			g.cumulative[i] += g.cumulative[i-1]
		}
	}
	return order
}

// lay spreads h hours evenly over the cells between two margins: entry i holds
// the time in (cell i-1, cell i].
func (g *class) lay(a, b, h float64) {
	if a > b {
		a, b = b, a
	}
	x, y := (a+reachK)/cellK, (b+reachK)/cellK
	if y <= 0 {
		g.cumulative[0] += h
		return
	}
	if x >= float64(cells-1) {
		return
	}
	if y-x < 1e-9 {
		g.cumulative[min(int(math.Ceil(x)), cells-1)] += h
		return
	}
	per := h / (y - x)
	if x < 0 {
		g.cumulative[0] += -x * per
		x = 0
	}
	y = math.Min(y, float64(cells-1))
	for x < y {
		i := math.Floor(x) + 1
		end := math.Min(i, y)
		g.cumulative[int(i)] += (end - x) * per
		x = end
	}
}

// atOrBelow is the time with margin - limit <= x.
func (g *class) atOrBelow(x float64) float64 {
	f := (x + reachK) / cellK
	if f <= 0 {
		return g.cumulative[0]
	}
	if f >= float64(cells-1) {
		return g.cumulative[cells-1]
	}
	i := int(f)
	return g.cumulative[i] + (f-float64(i))*(g.cumulative[i+1]-g.cumulative[i])
}

// simulate draws the hours; only >= 0 lets that term alone vary.
func simulate(groups []*class, terms []term, only int) []float64 {
	out := make([]float64, draws)
	offset := make([]float64, len(terms)+1) // the last stays 0, for exact terms
	for d := range out {
		for k, t := range terms {
			offset[k] = 0
			if only < 0 || only == k {
				offset[k] = t.at(halton(d+1, k))
			}
		}
		pick := func(k int) float64 {
			if k < 0 {
				return 0
			}
			return offset[k]
		}
		sum := 0.0
		for _, g := range groups {
			// The true value is the reading less its error; errors are symmetric,
			// so the sign of the draw is free, and this one reads as a correction.
			rh := math.Min(pick(g.airRH), g.headroomPct)
			shift := pick(g.surfaceTemp) - g.perK*pick(g.airTemp) - g.perPct*rh
			sum += g.atOrBelow(-shift)
		}
		out[d] = sum
	}
	return out
}

var primes = [...]int{2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37}

// halton is the radical inverse of n in the dimension's prime base: an evenly
// filling sequence in (0, 1) (Halton 1960). Beyond twelve unknowns bases repeat
// with the digits of a shifted index.
func halton(n, dim int) float64 {
	base := primes[dim%len(primes)]
	n += 409 * (dim / len(primes))
	f, r := 1.0, 0.0
	for n > 0 {
		f /= float64(base)
		r += f * float64(n%base)
		n /= base
	}
	return r
}

// summary is the mean with the central 95 %, widened to hold the mean: of hours
// that one offset in fifty brings about, both quantiles are 0 and the mean is not.
func summary(x []float64) (mean, low, high float64) {
	s := slices.Sorted(slices.Values(x))
	mean = stat.Mean(s, nil)
	return mean, math.Min(evidence.Quantile(s, 0.025), mean), math.Max(evidence.Quantile(s, 0.975), mean)
}
