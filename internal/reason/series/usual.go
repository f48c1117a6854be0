package series

import (
	"maps"
	"slices"
	"sort"
	"time"

	"dewcase/internal/roof"
)

// A logger that reports on change sends at uneven times while the air moves and
// one sign of life after its longest silence while it does not. Its intervals
// say so: they keep no beat, and they pile up at one length that hardly any
// exceeds. What loses readings looks different: a periodic logger's intervals
// keep the beat, or with very many lost thin out over its multiples without a
// pile; outages are long and each of its own length.
const (
	beatPart     = 0.2   // intervals within this part of the median keep the beat
	pilePart     = 0.03  // width of the pile below the longest silence
	belowPart    = 0.2   // how far below it must stand out
	minPile      = 5     // signs of life
	pileShare    = 0.002 // of all intervals
	pileTime     = 0.02  // of the time up to that length
	minIntervals = 50    // intervals, before anything is concluded
)

// Intervals counts a logger's readings and the intervals between them: of those
// with temperature or humidity where it has any. What comes between, such as a
// look with a moisture meter, is no part of their beat. They can be kept, and go
// on with later readings.
type Intervals struct{ OfAir, Others Gaps }

// Add takes the next reading, in the order of time; ms is Unix time.
func (g *Intervals) Add(ms int64, v roof.Values) {
	if v.OfAir() {
		g.OfAir.add(ms)
	} else {
		g.Others.add(ms)
	}
}

// N counts the readings.
func (g *Intervals) N() int { return g.OfAir.N + g.Others.N }

// UsualMS returns the usual interval in ms; 5 min where there are fewer than two
// readings.
func (g *Intervals) UsualMS() int64 {
	if g.OfAir.N > 0 {
		return g.OfAir.usual()
	}
	return g.Others.usual()
}

// Gaps finds the median interval in bounded memory: whole seconds are counted in
// a map that real loggers keep small.
type Gaps struct {
	N      int   // readings
	LastMS int64 // time of the last
	Counts map[int64]int
	Total  int // of Counts
}

func (g *Gaps) add(ms int64) {
	if g.N > 0 && ms > g.LastMS {
		if g.Counts == nil {
			g.Counts = map[int64]int{}
		}
		g.Counts[(ms-g.LastMS+500)/1000]++
		g.Total++
	}
	g.LastMS = ms
	g.N++
}

func (g *Gaps) median() int64 {
	keys := make([]int64, 0, len(g.Counts))
	for k := range g.Counts {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	seen := 0
	for _, k := range keys {
		if seen += g.Counts[k]; 2*seen >= g.Total {
			return max(k, 1) * 1000
		}
	}
	return int64(5 * time.Minute / time.Millisecond)
}

// lengths are intervals in whole seconds by length, with running sums.
type lengths struct {
	s     []int64
	count []int     // of all up to and with each
	time  []float64 // of them, s
}

func (g *Gaps) lengths() lengths {
	l := lengths{s: slices.Sorted(maps.Keys(g.Counts))}
	n, sum := 0, 0.0
	for _, k := range l.s {
		n, sum = n+g.Counts[k], sum+float64(k)*float64(g.Counts[k])
		l.count, l.time = append(l.count, n), append(l.time, sum)
	}
	return l
}

// upTo counts the intervals of at most a length in s.
func (l lengths) upTo(s float64) int {
	i := sort.Search(len(l.s), func(i int) bool { return float64(l.s[i]) > s })
	if i == 0 {
		return 0
	}
	return l.count[i-1]
}

// usual is the usual interval in ms: the longest silence of a logger that
// reports on change, else the median.
func (g *Gaps) usual() int64 {
	median := g.median()
	if s := g.silence(float64(median / 1000)); s > 0 {
		return s * 1000
	}
	return median
}

// silence is the longest silence in s of a logger that reports on change; 0 of
// one that keeps a beat.
func (g *Gaps) silence(median float64) int64 {
	l := g.lengths()
	if g.Total < minIntervals || 2*(l.upTo(median*(1+beatPart))-l.upTo(median*(1-beatPart)-1)) >= g.Total {
		return 0
	}
	for i := len(l.s) - 1; i >= 0 && float64(l.s[i]) > 2.5*median; i-- {
		s := float64(l.s[i])
		pile := l.count[i] - l.upTo(s*(1-pilePart))
		above := g.Total - l.count[i]
		below := l.upTo(s*(1-pilePart)) - l.upTo(s*(1-belowPart))
		if pile >= minPile && float64(pile) >= pileShare*float64(g.Total) && 2*above < pile && below <= pile &&
			float64(pile)*s >= pileTime*l.time[i] {
			return l.s[i]
		}
	}
	return 0
}
