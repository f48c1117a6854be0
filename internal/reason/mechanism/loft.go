package mechanism

import "math"

// Parts of the loft's balance, in the order of its columns.
const (
	fromOutdoors = iota // a
	constantPart
	fromItself // b, an hour ago
	fromHouse  // h
	fromStore  // e, the last half day
	firstHarmonic
	loftCols = firstHarmonic + 4
)

const (
	loftFloor, loftSpread       = 0.02, 0.2
	ceilingFloor, ceilingSpread = 0.01, 0.1
	sunnyHours                  = 3.0 // time constant of the sun's after-effect
	sunnyK                      = 1.5
	storeHours                  = 12.0
	leastRoofPart               = 0.02
)

// loftBalance sets up the heat balance of the loft's air on hours that the sun
// does not rule. Its share is set by lookingAt.
func (r *record) loftBalance(out, loft, lay, house *column) *balance {
	b := &balance{r: r, solver: newSolver(loftCols), days: make([]moments, r.until-r.first)}
	sun, store := math.NaN(), math.NaN()
	var x [loftCols]float64
	for k := 1; k < r.hours(); k++ {
		tu, to, tl := lay.v[k], out.v[k], loft.v[k]
		sun = follow(sun, math.Max(tu-to, 0), sunnyHours)
		store = follow(store, tl, storeHours)
		if !(tu <= to+nightK && sun <= sunnyK) {
			continue
		}
		x[fromOutdoors], x[constantPart], x[fromItself], x[fromHouse], x[fromStore] = to-tu, 1, loft.v[k-1]-tu,
			house.v[k]-tu, store-tu
		day := 2 * math.Pi * float64(k%24) / 24
		x[firstHarmonic], x[firstHarmonic+1] = math.Sincos(day)
		x[firstHarmonic+2], x[firstHarmonic+3] = math.Sincos(2 * day)
		b.take(k, 1, loft.seen[k]-lay.seen[k], x[:])
	}
	return b
}

// follow moves an exponential mean on by an hour; it begins anew where one of the
// two is not known.
func follow(mean, x, hours float64) float64 {
	if math.IsNaN(mean) || math.IsNaN(x) {
		return x
	}
	return mean + (x-mean)*(1-math.Exp(-1/hours))
}

// lookingAt is the balance with its outdoor part (fromOutdoors) or its house part
// (fromHouse), against what the roof's surface gives, as its share.
func (b balance) lookingAt(part int) *balance {
	b.c, b.s0 = loftFloor, loftSpread
	if part == fromHouse {
		b.c, b.s0 = ceilingFloor, ceilingSpread
	}
	b.share = func(c *[maxCols]float64) float64 {
		surface := math.Max(1-c[fromOutdoors]-c[fromItself]-c[fromHouse]-c[fromStore], leastRoofPart)
		o := math.Max(c[part], 0) / surface
		return o / (1 + o)
	}
	return &b
}
