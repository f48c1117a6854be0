package timber

import (
	"fmt"
	"math"

	"dewcase/internal/physics/spell"
)

// Diffusion coefficients of moisture across the grain of softwood at about 5 C
// and 12..25 % mc, in m2/s: a usual figure and the range of published ones
// (common practice, from memory; they fall by about half from 20 to 5 C and vary
// with density). The range is carried through to the result.
const (
	DiffusionUsual   = 1.0e-10
	DiffusionSlowest = 0.4e-10
	DiffusionFastest = 2.5e-10
)

// DefaultThicknessMM is a batten of the usual 25 x 50 mm.
const DefaultThicknessMM = 25.0

// TimeConstantH is the slowest time constant in hours of the mean moisture of a
// board of the thickness in mm (1..300), open to the air on both faces, for a
// diffusion coefficient in m2/s (Crank, The Mathematics of Diffusion, 2nd ed.,
// eq. 4.18):
//
//	tau = L^2 / (pi^2 D)
//
// 25 mm at the usual coefficient: 176 h, a week; 47 mm: 26 days.
func TimeConstantH(thicknessMM, diffusion float64) (float64, error) {
	if !(thicknessMM >= 1 && thicknessMM <= 300) {
		return 0, fmt.Errorf("time constant of wood %g mm thick: %w (1..300 mm)", thicknessMM, ErrRange)
	}
	if !(diffusion >= 1e-12 && diffusion <= 1e-8) {
		return 0, fmt.Errorf("time constant at a diffusion coefficient of %g m2/s: %w (1e-12..1e-8)", diffusion, ErrRange)
	}
	l := thicknessMM / 1000
	return l * l / (math.Pi * math.Pi * diffusion) / 3600, nil
}

// board is the mean moisture of a slab with constant D whose faces follow the
// air at once: the exact series of Crank eq. 4.18, each term a first-order lag
//
//	M = sum w_n x_n,  w_n = 8/((2n+1)^2 pi^2),  tau_n = tau/(2n+1)^2
//
// cut at modes terms; the last takes up the weight of those left out.
type board struct {
	tauH float64
	x    [modes]float64
	on   bool
}

const modes = 6

func weight(n int) float64 {
	if n < modes-1 {
		k := float64(2*n + 1)
		return 8 / (k * k * math.Pi * math.Pi)
	}
	rest := 1.0
	for i := range modes - 1 {
		rest -= weight(i)
	}
	return rest
}

func (b *board) set(mc float64) {
	for n := range b.x {
		b.x[n] = mc
	}
	b.on = true
}

// step moves the board through hours at a constant equilibrium, exactly.
func (b *board) step(emc, hours float64) {
	for n := range b.x {
		k := float64(2*n + 1)
		b.x[n] = emc + (b.x[n]-emc)*math.Exp(-hours*k*k/b.tauH)
	}
}

func (b *board) mean() float64 {
	var m float64
	for n, x := range b.x {
		m += weight(n) * x
	}
	return m
}

// Point is the estimated moisture content at a time, in %, with the range that
// the diffusion coefficient leaves.
type Point struct {
	AtMS                   int64
	MCPct, LowPct, HighPct float64
	Joined                 bool // observed from the point before to this one
}

// Week is the mean of seven days from the record's start.
type Week struct {
	FromMS    int64
	MeanPct   float64
	ObservedH float64
}

// Result is the moisture of one piece of wood over a record. WeeksAbove counts
// observed time above CeilingPct in weeks.
type Result struct {
	ThicknessMM                   float64
	Course                        []Point
	Weeks                         []Week
	ObservedH                     float64
	PeakPct                       float64
	MeanPct                       float64
	WeeksAbove                    float64
	WeeksAboveLow, WeeksAboveHigh float64 // with the slowest and fastest wood
	Notes                         []string
}

// Lag follows the mean moisture of a board of the thickness in mm (0: the
// default batten) through a surface's spells, with three diffusion coefficients.
// It starts at the mean equilibrium of its first two weeks, because what the
// wood held before is not known; after a gap longer than half its time constant
// it starts anew in the same way, and over a shorter one it stands still. Liquid
// water taken up from dew is not counted: the estimate is a lower bound where a
// surface drips.
func Lag(spells []spell.Spell, thicknessMM float64) (*Result, error) {
	if thicknessMM == 0 {
		thicknessMM = DefaultThicknessMM
	}
	if err := spell.Check(spells); err != nil {
		return nil, fmt.Errorf("following the wood: %w", err)
	}
	var boards [3]board
	for i, d := range [3]float64{DiffusionUsual, DiffusionSlowest, DiffusionFastest} {
		tau, err := TimeConstantH(thicknessMM, d)
		if err != nil {
			return nil, err
		}
		boards[i].tauH = tau
	}
	r := &Result{ThicknessMM: thicknessMM, Course: make([]Point, 0, len(spells))}
	restarts := 0
	var sum summary
	for i, s := range spells {
		emc, err := EMCPct(s.TempC, s.RHPct)
		if err != nil {
			return nil, err
		}
		joined := i > 0 && s.FromMS == spells[i-1].UntilMS
		if i > 0 && float64(s.FromMS-spells[i-1].UntilMS)/millisecondsHour > boards[0].tauH/2 {
			boards[0].on = false
			restarts++
		}
		if !boards[0].on {
			start, err := meanEMC(spells[i:], 14*24)
			if err != nil {
				return nil, err
			}
			for k := range boards {
				boards[k].set(start)
			}
		}
		var m [3]float64
		for k := range boards {
			boards[k].step(emc, s.Hours())
			m[k] = boards[k].mean()
		}
		p := Point{s.UntilMS, m[0], min(m[0], m[1], m[2]), max(m[0], m[1], m[2]), joined}
		r.Course = append(r.Course, p)
		sum.add(r, s, p)
	}
	sum.close(r)
	if restarts > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("started anew after %d long gaps", restarts))
	}
	if r.ObservedH > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("estimate for %g mm of softwood that follows the air with a time constant "+
			"of %.0f days (%.0f to %.0f); wood already wet at the start, and liquid water, are not in it",
			thicknessMM, boards[0].tauH/24, boards[2].tauH/24, boards[1].tauH/24))
	}
	return r, nil
}

// Within sums up a part of the course that Lag has followed through the same
// spells: those that begin in it. The wood brings along what it held before.
func (r *Result) Within(spells []spell.Spell, fromMS, untilMS int64) *Result {
	part := &Result{ThicknessMM: r.ThicknessMM}
	var sum summary
	for i, s := range spells {
		if s.FromMS >= fromMS && s.FromMS < untilMS && i < len(r.Course) {
			part.Course = append(part.Course, r.Course[i])
			sum.add(part, s, r.Course[i])
		}
	}
	sum.close(part)
	return part
}

func meanEMC(spells []spell.Spell, hours float64) (float64, error) {
	var sum, h float64
	for _, s := range spells {
		emc, err := EMCPct(s.TempC, s.RHPct)
		if err != nil {
			return 0, err
		}
		sum, h = sum+emc*s.Hours(), h+s.Hours()
		if h >= hours {
			break
		}
	}
	return sum / h, nil
}

// summary adds up a course into weeks and hours above.
type summary struct {
	mean, above, aboveLow, aboveHigh, weekSum float64
	week                                      Week
	began                                     bool
}

func (a *summary) add(r *Result, s spell.Spell, p Point) {
	h := s.Hours()
	r.ObservedH += h
	a.mean += h * p.MCPct
	r.PeakPct = math.Max(r.PeakPct, p.MCPct)
	if p.MCPct > CeilingPct {
		a.above += h
	}
	if p.LowPct > CeilingPct {
		a.aboveLow += h
	}
	if p.HighPct > CeilingPct {
		a.aboveHigh += h
	}
	const weekMS = int64(7 * 24 * 3600e3)
	if !a.began {
		a.began, a.week = true, Week{FromMS: s.FromMS}
	}
	if s.FromMS >= a.week.FromMS+weekMS {
		a.closeWeek(r)
		a.week = Week{FromMS: a.week.FromMS + (s.FromMS-a.week.FromMS)/weekMS*weekMS}
	}
	a.week.ObservedH += h
	a.weekSum += h * p.MCPct
}

func (a *summary) closeWeek(r *Result) {
	if a.week.ObservedH > 0 {
		a.week.MeanPct = a.weekSum / a.week.ObservedH
		r.Weeks = append(r.Weeks, a.week)
	}
	a.weekSum = 0
}

func (a *summary) close(r *Result) {
	if r.ObservedH == 0 {
		return
	}
	a.closeWeek(r)
	r.MeanPct = a.mean / r.ObservedH
	r.WeeksAbove, r.WeeksAboveLow, r.WeeksAboveHigh = a.above/hoursInWeek, a.aboveLow/hoursInWeek, a.aboveHigh/hoursInWeek
}

// Measured sums up a track of wood moisture in % as a probe reports it, linear
// where joined: the same figures, without a lag and without a range. A pin or
// conductance probe is good to +-2 % mc at best, and worse above 28 % (common
// practice). Values outside 0..200 % are ErrRange.
func Measured(atMS []int64, mcPct []float64, joined []bool) (*Result, error) {
	n := len(atMS)
	if len(mcPct) != n || len(joined) != n {
		return nil, fmt.Errorf("summing up measured wood moisture: %d times, %d values and %d intervals: %w", n, len(mcPct),
			len(joined), ErrRange)
	}
	r := &Result{}
	var sum summary
	for i := 0; i+1 < n; i++ {
		for _, k := range [2]int{i, i + 1} {
			if !(mcPct[k] >= 0 && mcPct[k] <= 200) {
				return nil, fmt.Errorf("summing up measured wood moisture: %g %%: %w (0..200 %%)", mcPct[k], ErrRange)
			}
		}
		if atMS[i+1] <= atMS[i] {
			return nil, fmt.Errorf("summing up measured wood moisture: times do not rise: %w", ErrRange)
		}
		if !joined[i] {
			continue
		}
		r.piece(&sum, atMS[i], atMS[i+1], mcPct[i], mcPct[i+1], i > 0 && joined[i-1])
	}
	sum.close(r)
	return r, nil
}

// piece adds a linear piece, cut where it crosses the ceiling.
func (r *Result) piece(sum *summary, t0, t1 int64, a, b float64, joined bool) {
	if (a-CeilingPct)*(b-CeilingPct) < 0 {
		cut := t0 + int64((CeilingPct-a)/(b-a)*float64(t1-t0))
		if cut > t0 && cut < t1 {
			r.piece(sum, t0, cut, a, CeilingPct, joined)
			r.piece(sum, cut, t1, CeilingPct, b, true)
			return
		}
	}
	mid := (a + b) / 2
	p := Point{t1, mid, mid, mid, joined}
	sum.add(r, spell.Spell{FromMS: t0, UntilMS: t1}, p)
	p.MCPct, p.LowPct, p.HighPct = b, b, b
	r.Course = append(r.Course, p)
	r.PeakPct = math.Max(r.PeakPct, b)
}
