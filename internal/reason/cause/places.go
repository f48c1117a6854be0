package cause

import (
	"math"
	"slices"

	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

const (
	longestDays   = 150
	shortestDays  = 14
	coverageShare = 0.6
	coldNightC    = 5.0
)

// gathered is everything a case has, hour by hour, over one grid.
type gathered struct {
	grid      grid
	air       map[string]*air // by position id
	positions []roof.Position
}

func gather(set *series.Set, fromMS, untilMS int64) gathered {
	zone := set.Case.Property.Zone
	phase := phaseMS(set)
	start := fromMS - ((fromMS-phase)%hourMS+hourMS)%hourMS
	if start < fromMS {
		start += hourMS
	}
	g := grid{startMS: start, n: max(int((untilMS-start+hourMS/2)/hourMS), 0), zone: zone}
	out := gathered{grid: g, air: map[string]*air{}, positions: set.Case.Positions}
	for i := range set.Courses {
		c := &set.Courses[i]
		if c.Position.Place.IsAir() || c.Position.Place.IsSurface() {
			out.air[c.Position.ID] = sampledCourse(c, g)
		}
	}
	return out
}

// part is the stretch of n samples from sample k.
func (a *air) part(k, n int) *air {
	p := *a
	p.tempC, p.vapourPa = a.tempC[k:k+n], a.vapourPa[k:k+n]
	return &p
}

func (d gathered) part(k, n int) gathered {
	out := gathered{grid: grid{startMS: d.grid.at(k), n: n, zone: d.grid.zone}, air: map[string]*air{},
		positions: d.positions}
	for id, a := range d.air {
		out.air[id] = a.part(k, n)
	}
	return out
}

// covered says that what the method needs of a position was seen for 60 % of
// the stretch: vapour pressure of air, temperature of a surface. What never
// moved in all that time was not seen, whatever its neighbours did.
func (d gathered) covered(p roof.Position) bool {
	a := d.air[p.ID]
	if a == nil || d.grid.n == 0 {
		return false
	}
	x := a.vapourPa
	if p.Place.IsSurface() {
		x = a.tempC
	}
	first := slices.IndexFunc(x, known)
	return float64(countKnown(x)) >= coverageShare*float64(d.grid.n) &&
		slices.ContainsFunc(x, func(v float64) bool { return known(v) && v != x[first] })
}

func (d gathered) at(place roof.Place) []*air {
	var out []*air
	for _, p := range d.positions {
		if p.Place == place && d.covered(p) {
			out = append(out, d.air[p.ID])
		}
	}
	return out
}

// wanted are the places the method knows.
var wanted = []roof.Place{roof.OutdoorAir, roof.IndoorAir, roof.LoftAir, roof.BattenVoidAir, roof.CoveringUnderside,
	roof.UnderlayUnderside}

// Tells says that loggers at a place tell of the cause.
func Tells(p roof.Place) bool { return slices.Contains(wanted, p) }

func (d gathered) present() int {
	n := 0
	for _, place := range wanted {
		if len(d.at(place)) > 0 {
			n++
			if place == roof.OutdoorAir || place == roof.LoftAir {
				n++ // without these two nothing is found
			}
		}
	}
	return n
}

// choose takes the stretch of the record to use: the whole of it up to 150
// days, else the 150 days with most nights below 5 C that the outdoor and loft
// loggers saw, the latest of equals. Where a position came late or fell silent
// early, the part of the stretch in which it reported is taken instead if it
// makes more places count and still has 14 days.
func choose(d gathered) gathered {
	const day = 24
	if d.grid.n > longestDays*day {
		d = d.part(coldest(d), longestDays*day)
	}
	best := d
	have := d.present()
	for _, p := range d.positions {
		a := d.air[p.ID]
		if a == nil || d.covered(p) {
			continue
		}
		x := a.vapourPa
		if p.Place.IsSurface() {
			x = a.tempC
		}
		lo := slices.IndexFunc(x, known)
		if lo < 0 {
			continue
		}
		hi := len(x)
		for hi > lo && !known(x[hi-1]) {
			hi--
		}
		if hi-lo < shortestDays*day {
			continue
		}
		try := d.part(lo, hi-lo)
		if n := try.present(); n > have || n == have && n > d.present() && try.grid.n > best.grid.n {
			best, have = try, n
		}
	}
	return best
}

func coldest(d gathered) int {
	const day = 24
	days := d.grid.n / day
	good := make([]int, days+1) // cold nights before day i
	outdoor := firstNonEmpty(d, roof.OutdoorAir)
	loft := firstNonEmpty(d, roof.LoftAir)
	for i := range days {
		good[i+1] = good[i]
		if outdoor == nil {
			continue
		}
		low, seen := math.Inf(1), 0
		for k := i * day; k < (i+1)*day; k++ {
			if known(outdoor.tempC[k]) && known(outdoor.vapourPa[k]) && (loft == nil || known(loft.vapourPa[k])) {
				low, seen = math.Min(low, outdoor.tempC[k]), seen+1
			}
		}
		if 10*seen >= 6*day && low < coldNightC {
			good[i+1]++
		}
	}
	bestAt, bestN := 0, -1
	for i := 0; i+longestDays <= days; i++ {
		if n := good[i+longestDays] - good[i]; n >= bestN {
			bestAt, bestN = i, n
		}
	}
	return bestAt * day
}

func firstNonEmpty(d gathered, place roof.Place) *air {
	for _, p := range d.positions {
		if a := d.air[p.ID]; p.Place == place && !a.empty() {
			return a
		}
	}
	return nil
}

// assign picks the courses of each place: means of several indoor, loft and
// outdoor loggers, the slope whose covering condenses most, the wettest
// underlay.
func assign(d gathered, noUnderlay bool) places {
	p := places{outdoor: together(d.at(roof.OutdoorAir)), indoor: together(d.at(roof.IndoorAir)),
		loft: together(d.at(roof.LoftAir))}
	voids := d.at(roof.BattenVoidAir)
	most := math.Inf(-1)
	for _, pos := range d.positions {
		if pos.Place != roof.CoveringUnderside || !d.covered(pos) {
			continue
		}
		c := d.air[pos.ID]
		var void *air
		for _, v := range voids {
			if v.ids[0] == pos.Meets {
				void = v
			}
		}
		if void == nil && len(voids) == 1 {
			void = voids[0]
		}
		wet := -1.0
		if void != nil {
			if m := mean(chanceWet(dewC(void.vapourPa), c.tempC, 0)); known(m) {
				wet = m
			}
		}
		if wet > most {
			most, p.covering, p.void = wet, c, void
		}
	}
	if p.void == nil && len(voids) > 0 {
		p.void = voids[0]
	}
	under := d.at(roof.UnderlayUnderside)
	if len(under) == 0 && noUnderlay && p.covering != nil {
		under = []*air{p.covering} // the loft's air meets the covering itself
	}
	most = math.Inf(-1)
	for _, u := range under {
		wet := -1.0
		if p.loft != nil {
			if m := mean(chanceWet(dewC(p.loft.vapourPa), u.tempC, 0)); known(m) {
				wet = m
			}
		}
		if wet > most {
			most, p.underlay = wet, u
		}
	}
	return p
}

func (p places) of(place roof.Place) *air {
	switch place {
	case roof.OutdoorAir:
		return p.outdoor
	case roof.IndoorAir:
		return p.indoor
	case roof.LoftAir:
		return p.loft
	case roof.BattenVoidAir:
		return p.void
	case roof.CoveringUnderside:
		return p.covering
	case roof.UnderlayUnderside:
		return p.underlay
	}
	return nil
}
