package mechanism

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// ridge keeps the normal equations solvable, on columns scaled to unit norm.
const ridge = 1e-4

// minBlock is the least weight, in hours, of a block of the jackknife: a block of
// less says nothing by being left out.
const minBlock = 4

// maxCols is the largest number of regressors of any balance.
const maxCols = 9

// moments are the weighted cross-products of some hours. Those of disjoint hours
// add up, so that leaving a block out is a subtraction.
type moments struct {
	weight float64
	xx     [maxCols][maxCols]float64 // lower triangle
	xy     [maxCols]float64
}

// take adds one hour.
func (m *moments) take(weight, y float64, x []float64) {
	m.weight += weight
	for i, a := range x {
		a *= weight
		m.xy[i] += a * y
		for j, b := range x[:i+1] {
			m.xx[i][j] += a * b
		}
	}
}

// plus adds other hours, sign times.
func (m *moments) plus(o *moments, sign float64, cols int) {
	m.weight += sign * o.weight
	for i := range cols {
		m.xy[i] += sign * o.xy[i]
		for j := range i + 1 {
			m.xx[i][j] += sign * o.xx[i][j]
		}
	}
}

// solver is the workspace of the regressions of one balance.
type solver struct {
	cols int
	a    *mat.SymDense
	b, x *mat.VecDense
	chol mat.Cholesky
}

func newSolver(cols int) *solver {
	return &solver{cols: cols, a: mat.NewSymDense(cols, nil), b: mat.NewVecDense(cols, nil), x: mat.NewVecDense(cols, nil)}
}

// solve gives the coefficients of weighted least squares with a ridge on columns
// of unit norm; ok is false where they cannot be had.
func (s *solver) solve(m *moments) (out [maxCols]float64, ok bool) {
	var norm [maxCols]float64
	for i := range s.cols {
		norm[i] = 1
		if d := m.xx[i][i]; d > 0 {
			norm[i] = math.Sqrt(d)
		}
		s.b.SetVec(i, m.xy[i]/norm[i])
		for j := range i {
			s.a.SetSym(i, j, m.xx[i][j]/norm[i]/norm[j])
		}
		s.a.SetSym(i, i, m.xx[i][i]/norm[i]/norm[i]+ridge)
	}
	if !s.chol.Factorize(s.a) || s.chol.SolveVecTo(s.x, s.b) != nil {
		return out, false
	}
	for i := range s.cols {
		out[i] = s.x.AtVec(i) / norm[i]
	}
	return out, true
}

// share is the figure asked of a fit's coefficients, 0..1.
type share func(coef *[maxCols]float64) float64

// estimate is a share with what it rests on.
type estimate struct {
	x, se float64
	hours float64 // weighted
	ok    bool
}

// minJackknife blocks must be left to tell an error.
const minJackknife = 3

// estimate fits the hours of all blocks and takes the error of the share from
// leaving out one block at a time.
func (s *solver) estimate(blocks []moments, of share) (e estimate) {
	var all moments
	for i := range blocks {
		all.plus(&blocks[i], 1, s.cols)
	}
	e.hours = all.weight
	coef, ok := s.solve(&all)
	if !ok {
		return e
	}
	e.x = of(&coef)
	n, sum, sum2 := 0.0, 0.0, 0.0
	for i := range blocks {
		if blocks[i].weight < minBlock {
			continue
		}
		rest := all
		rest.plus(&blocks[i], -1, s.cols)
		c, ok := s.solve(&rest)
		if !ok {
			return e
		}
		d := of(&c) - e.x
		n, sum, sum2 = n+1, sum+d, sum2+d*d
	}
	if n < minJackknife {
		return e
	}
	e.se = math.Sqrt(math.Max((n-1)/n*(sum2-sum*sum/n), 0))
	e.ok = true
	return e
}
