package mechanism

import "math"

// balance is one heat balance over the hours of a record: its moments day by
// day, and the share asked of it.
type balance struct {
	r      *record
	days   []moments // from r.first
	solver *solver
	share  share
	// odds maps a share to what is compared, after over before, on a logarithmic
	// scale with the floor c beside a structural error of s0.
	c, s0 float64
}

// lnOdds is the logarithm of a share's odds with the floor c.
func (b *balance) lnOdds(x float64) float64 {
	x = math.Min(math.Max(x, 0), maxShare)
	return math.Log(x/(1-x) + b.c)
}

// errorOf is the standard error of lnOdds.
func (b *balance) errorOf(e estimate) float64 {
	x := math.Min(math.Max(e.x, 0), maxShare)
	return e.se / ((1 - x) * (1 - x) * (x/(1-x) + b.c))
}

const (
	maxShare     = 0.95 // of outdoor air, in odds
	alike        = 1.5  // on jackknife errors: the hours of one week are alike
	beforeBlock  = 2    // days
	afterBlock   = 1
	stretchDays  = 12
	minBeforeH   = 100 // weighted hours
	minAfterH    = 40
	minStretchH  = 40
	fewStretches = 2
)

// contrast is what a balance says of the change at the repair after some nights.
type contrast struct {
	before, after estimate
	wander        float64 // rms of the logarithm on stretches of the days before
	stretches     []float64
	ln, sd, z     float64
	ok            bool
}

// baseline is what a balance says of the days before.
type baseline struct {
	estimate
	stretches []float64 // shares
	wander    float64
	unknown   float64 // further error where the wandering could not be had
}

// baseline fits the days before a repair and stretches of them.
func (b *balance) baseline(unknown float64) (out baseline) {
	r, cols := b.r, b.solver.cols
	until := -r.doubtDays - r.first
	if until <= 0 {
		return out
	}
	out.estimate = b.solver.estimate(blocks(b.days, 0, until, beforeBlock, cols), b.share)
	out.ok = out.ok && out.hours >= minBeforeH
	sum := 0.0
	for d := 0; d+stretchDays <= until; d += stretchDays {
		m := blocks(b.days, d, d+stretchDays, stretchDays, cols)[0]
		if m.weight < minStretchH {
			continue
		}
		if coef, ok := b.solver.solve(&m); ok {
			x := b.share(&coef)
			out.stretches = append(out.stretches, x)
			sum += square(b.lnOdds(x) - b.lnOdds(out.x))
		}
	}
	if n := len(out.stretches); n >= fewStretches {
		out.wander = math.Sqrt(sum / float64(n))
	} else {
		out.unknown = unknown
	}
	return out
}

// after compares the days 1..nights-1 with the days before.
func (b *balance) after(base *baseline, nights int) contrast {
	c := contrast{before: base.estimate, wander: base.wander, stretches: base.stretches}
	from, until := 1+b.r.doubtDays-b.r.first, nights-b.r.first
	if until <= from || until > len(b.days) {
		return c
	}
	c.after = b.solver.estimate(blocks(b.days, from, until, afterBlock, b.solver.cols), b.share)
	if c.ok = base.ok && c.after.ok && c.after.hours >= minAfterH; !c.ok {
		return c
	}
	c.ln, c.sd = b.compare(base, c.after)
	c.z = c.ln / c.sd
	return c
}

// compare is the logarithm of the change and its standard error.
func (b *balance) compare(base *baseline, after estimate) (ln, sd float64) {
	ln = b.lnOdds(after.x) - b.lnOdds(base.x)
	sd = math.Sqrt(square(alike)*(square(b.errorOf(base.estimate))+square(b.errorOf(after))) + square(b.s0) +
		square(base.wander) + square(base.unknown))
	return ln, sd
}

func square(x float64) float64 { return x * x }

// void sets up the void's balance: T_b - T_c on T_o - T_c, a constant, the
// covering an hour ago and the loft. The night version takes only hours whose
// covering is not warmed by the sun.
func (r *record) void(out, air, cover, loft *column, night bool) *balance {
	cols := 4
	if loft == nil {
		cols = 3
	}
	b := &balance{r: r, solver: newSolver(cols), share: func(c *[maxCols]float64) float64 { return c[0] },
		c: voidFloor, s0: voidSpread, days: make([]moments, r.until-r.first)}
	x := make([]float64, cols)
	for k := 1; k < r.hours(); k++ {
		tc, to := cover.v[k], out.v[k]
		weight := 1 / (1 + square((tc-to)/sunK))
		if night {
			if !(tc <= to+nightK) {
				continue
			}
			weight = 1
		}
		x[0], x[1], x[2] = to-tc, 1, cover.v[k-1]-tc
		if loft != nil {
			x[3] = loft.v[k] - tc
		}
		b.take(k, weight, air.seen[k]-cover.seen[k], x)
	}
	return b
}

const (
	voidFloor  = 0.02
	voidSpread = 0.15
	sunK       = 3.0
	nightK     = 0.5
)

// take adds one hour unless something of it is missing.
func (b *balance) take(k int, weight, y float64, x []float64) {
	sum := weight * y
	for _, v := range x {
		sum += v
	}
	if math.IsNaN(sum) {
		return
	}
	b.days[k/24].take(weight, y, x)
}
