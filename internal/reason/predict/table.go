package predict

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"dewcase/internal/reason/evidence"
)

// Work is a candidate for repair, by its name in the contract.
type Work string

// The candidates. Leave is the roof as it is.
const (
	VoidVented      Work = "void_vented"
	LoftVented      Work = "loft_vented"
	CeilingSealed   Work = "ceiling_sealed"
	DrierHouse      Work = "drier_house"
	VentsAndCeiling Work = "vents_and_ceiling"
	Leave           Work = "leave"
)

// Works lists the candidates in the order in which they are told.
func Works() []Work {
	return []Work{VoidVented, LoftVented, CeilingSealed, VentsAndCeiling, DrierHouse, Leave}
}

// quantity is what a prediction is of.
type quantity int

const (
	atRisk quantity = iota
	wet
	water
	quantities
)

// bearing turns the mean m and the standard deviation s of a run's logarithms
// into a stated one:
//
//	mean = b m + o        sigma = k sqrt(s^2 + a^2 + (c m)^2)
type bearing struct{ b, o, a, c, k float64 }

// bearings were had on two simulators with no code in common, each weighing the
// same, k from the worse of the two: on the covering the model needs width and
// hardly a correction, under the underlay it reacts too little in both.
var bearings = [2]map[Work][quantities]bearing{
	{ // covering
		VoidVented:    {{1.19, -0.01, 0.03, 0.2, 1.77}, {1.06, -0.02, 0.03, 0.2, 1.40}, {0.97, -0.11, 0.16, 0, 1.27}},
		LoftVented:    {{0.92, -0.04, 0.03, 0, 1.11}, {0.89, -0.06, 0.05, 0, 1.13}, {1.19, -0.10, 0.08, 0.35, 1.43}},
		CeilingSealed: {{0.85, 0.01, 0.03, 0, 1.07}, {0.88, 0, 0.03, 0, 1.55}, {1.03, 0.02, 0.05, 0.35, 2.01}},
		DrierHouse:    {{0.87, 0, 0.03, 0.2, 1.17}, {0.80, 0, 0.03, 0.35, 1.07}, {0.92, -0.01, 0.03, 0.5, 1.42}},
		VentsAndCeiling: {{0.94, -0.02, 0.03, 0.35, 1.23}, {0.98, -0.02, 0.05, 0.2, 1.15}, {1.22, -0.03, 0.08, 0.5,
			1.19}},
	},
	{ // underlay
		VoidVented:    {{1.32, -0.08, 0.08, 0.7, 1.92}, {0.45, -0.20, 0.2, 1, 1.52}, {0.60, -0.26, 0.25, 0.7, 1.73}},
		LoftVented:    {{1.16, -0.10, 0.08, 0, 1.22}, {1.05, -0.21, 0.2, 0, 1.07}, {1.01, -0.32, 0.3, 0, 1.16}},
		CeilingSealed: {{0.54, -0.05, 0.03, 0, 1.33}, {0.59, -0.17, 0.16, 0, 1.22}, {0.57, -0.26, 0.25, 0, 1.35}},
		DrierHouse: {{1.00, -0.03, 0.03, 0.5, 1.46}, {0.80, -0.14, 0.12, 0.35, 1.50}, {0.77, -0.23, 0.2, 0.2,
			1.51}},
		VentsAndCeiling: {{0.79, -0.14, 0.16, 0, 1.00}, {0.94, -0.19, 0.25, 0, 1.39}, {0.88, -0.40, 0.4, 0, 1.33}},
	},
}

// kitWidening is for kits without a logger in the void, which held their
// intervals least often.
const kitWidening = 1.3

// Half widths of the intervals in sigmas.
const (
	reach80 = 1.35
	reach95 = 2.1
)

// Range is a change in per cent, below zero fewer, with its 80 and 95 %
// intervals; Mean and Sigma are of its logarithm.
type Range struct {
	Mean, Sigma                  float64
	Pct                          float64
	Low80, High80, Low95, High95 float64
}

func rangeOf(mean, sigma float64) Range {
	pct := func(l float64) float64 { return math.Round(1000*math.Expm1(l))/10 + 0 }
	return Range{mean, sigma, pct(mean), pct(mean - reach80*sigma), pct(mean + reach80*sigma),
		pct(mean - reach95*sigma),
		pct(mean + reach95*sigma)}
}

// ChanceOver is the chance of a change of the logarithm of more than x.
func (r Range) chanceOver(x float64) float64 {
	if r.Sigma == 0 {
		if r.Mean > x {
			return 1
		}
		return 0
	}
	return 1 - distuv.UnitNormal.CDF((x-r.Mean)*evidence.Z95/(reach95*r.Sigma))
}

// stated is the range that the spread of the runs bears out.
func (b bearing) stated(m, s, widen float64) Range {
	return rangeOf(b.b*m+b.o, widen*b.k*math.Sqrt(s*s+b.a*b.a+b.c*m*b.c*m))
}
