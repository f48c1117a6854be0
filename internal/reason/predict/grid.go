package predict

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"dewcase/internal/reason/repair"
)

// The strengths at which every draw is run; between them it is read off on a
// straight line, beyond them it stays.
var (
	loftSteps    = []float64{0, 0.5, 1, 1.5, 2, 3}
	voidSteps    = []float64{0, 0.5, 1, 1.5, 2, 3, 4}
	ceilingSteps = []float64{0, 0.5, 1, 2, 4} // of -C
	houseSteps   = []float64{0, 0.2, 0.4, 0.6}
	bothLoft     = []float64{0, 1, 2}
	bothCeiling  = []float64{0, 0.5, 1, 2}
)

// moves are the runs of a grid, in the order in which its parts read them.
func moves() []repair.Move {
	var out []repair.Move
	for _, d := range loftSteps[1:] {
		out = append(out, repair.Move{Loft: d})
	}
	for _, v := range voidSteps[1:] {
		out = append(out, repair.Move{Void: v})
	}
	for _, c := range ceilingSteps[1:] {
		out = append(out, repair.Move{Ceiling: -c})
	}
	for _, f := range houseSteps[1:] {
		out = append(out, repair.Move{House: 1 - f})
	}
	for _, d := range bothLoft[1:] {
		for _, c := range bothCeiling[1:] {
			out = append(out, repair.Move{Loft: d, Ceiling: -c})
		}
	}
	return out
}

// changes are one draw's logarithms by quantity at every move of the grid.
type changes struct {
	loft, void, ceiling, house [quantities][]float64
	both                       [quantities][3][4]float64 // loft x ceiling
}

// lay sorts a draw's runs into its grid.
func lay(without repair.Tally, with []repair.Tally) *changes {
	g := &changes{}
	at := 0
	take := func(n int) (col [quantities][]float64) {
		for q := range col {
			col[q] = make([]float64, n)
		}
		for i := 1; i < n; i++ {
			x := with[at].Change(without)
			col[atRisk][i], col[wet][i], col[water][i] = x.AtRiskH, x.WetH, x.Water
			at++
		}
		return col
	}
	g.loft, g.void, g.ceiling, g.house = take(len(loftSteps)), take(len(voidSteps)), take(len(ceilingSteps)),
		take(len(houseSteps))
	for i := range bothLoft {
		for k := range bothCeiling {
			for q := range quantities {
				switch {
				case i == 0:
					g.both[q][i][k] = line(ceilingSteps, g.ceiling[q], bothCeiling[k])
				case k == 0:
					g.both[q][i][k] = line(loftSteps, g.loft[q], bothLoft[i])
				}
			}
			if i > 0 && k > 0 {
				x := with[at].Change(without)
				g.both[atRisk][i][k], g.both[wet][i][k], g.both[water][i][k] = x.AtRiskH, x.WetH, x.Water
				at++
			}
		}
	}
	return g
}

// place finds x among rising steps: the step before it and the part of the way
// to the next.
func place(steps []float64, x float64) (i int, part float64) {
	switch n := len(steps); {
	case x <= steps[0]:
		return 0, 0
	case x >= steps[n-1]:
		return n - 2, 1
	default:
		i = sort.SearchFloat64s(steps, x) - 1
		i = max(i, 0)
		return i, (x - steps[i]) / (steps[i+1] - steps[i])
	}
}

func line(steps, y []float64, x float64) float64 {
	i, f := place(steps, x)
	return y[i] + f*(y[i+1]-y[i])
}

// strength is how strong a work turns out: what a run is moved by.
type strength struct{ loft, void, ceiling, house float64 }

// at reads a draw at a strength.
func (g *changes) at(q quantity, w Work, s strength) float64 {
	switch w {
	case VoidVented:
		return line(voidSteps, g.void[q], s.void)
	case LoftVented:
		return line(loftSteps, g.loft[q], s.loft)
	case CeilingSealed:
		return line(ceilingSteps, g.ceiling[q], -s.ceiling)
	case DrierHouse:
		return line(houseSteps, g.house[q], 1-s.house)
	case VentsAndCeiling:
		i, f := place(bothLoft, s.loft)
		k, h := place(bothCeiling, -s.ceiling)
		b := &g.both[q]
		lo, hi := b[i][k]+h*(b[i][k+1]-b[i][k]), b[i+1][k]+h*(b[i+1][k+1]-b[i+1][k])
		return lo + f*(hi-lo)
	}
	return 0
}

// strengthsOfADraw are thrown for each draw of the roof.
const strengthsOfADraw = 4

// throws are standard normal numbers for the strengths of n draws, spread evenly
// over the distribution and shuffled by the seed: two of them, since vents and
// ceiling are thrown apart.
func throws(seed string, n int) (a, b []float64) {
	h := fnv.New64a()
	h.Write([]byte(seed)) // never fails (hash.Hash)
	r := rand.New(rand.NewPCG(h.Sum64(), 0x5707e))
	even := func() []float64 {
		z := make([]float64, n)
		for i := range z {
			z[i] = distuv.UnitNormal.Quantile((float64(i) + 0.5) / float64(n))
		}
		r.Shuffle(n, func(i, k int) { z[i], z[k] = z[k], z[i] })
		return z
	}
	return even(), even()
}

// believed are the strengths of a plan on one roof.
type believed struct {
	loft, void Estimate
	house      float64
}

// strength is one throw of them.
func (b believed) strength(z1, z2 float64) strength {
	return strength{loft: math.Max(0, b.loft.Mean+b.loft.SD*z1), void: math.Max(0, b.void.Mean+b.void.SD*z1),
		ceiling: ceilingChange(z2), house: b.house}
}

func meanSD(x []float64) (mean, sd float64) {
	if len(x) < 2 {
		return 0, 0
	}
	return stat.MeanStdDev(x, nil)
}
