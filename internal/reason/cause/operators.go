package cause

import (
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// Inside this package an hour that was not observed is NaN; it never leaves.
var missing = math.NaN()

func known(x float64) bool { return !math.IsNaN(x) }

// normalCDF is the standard normal distribution function.
func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// mean averages what is known; missing where nothing is.
func mean(x []float64) float64 {
	sum, n := 0.0, 0
	for _, v := range x {
		if known(v) {
			sum += v
			n++
		}
	}
	if n == 0 {
		return missing
	}
	return sum / float64(n)
}

func countKnown(x []float64) int {
	n := 0
	for _, v := range x {
		if known(v) {
			n++
		}
	}
	return n
}

// highPass is x minus its centred running mean over w samples (HP_w of the
// method), missing where fewer than three quarters of the window are known.
func highPass(x []float64, w int) []float64 {
	n := len(x)
	sum := make([]float64, n+1)
	cnt := make([]int, n+1)
	for i, v := range x {
		sum[i+1], cnt[i+1] = sum[i], cnt[i]
		if known(v) {
			sum[i+1] += v
			cnt[i+1]++
		}
	}
	out := make([]float64, n)
	for i := range x {
		lo, hi := max(i-w/2, 0), min(i+w/2+1, n)
		c := cnt[hi] - cnt[lo]
		if !known(x[i]) || 4*c < 3*w {
			out[i] = missing
			continue
		}
		out[i] = x[i] - (sum[hi]-sum[lo])/float64(c)
	}
	return out
}

// blocks are means over consecutive blocks of h samples (B_h of the method),
// missing where less than 60 % of the block is known.
func blocks(x []float64, h int) []float64 {
	var out []float64
	for from := 0; from < len(x); from += h {
		part := x[from:min(from+h, len(x))]
		if 10*countKnown(part) < 6*h {
			out = append(out, missing)
			continue
		}
		out = append(out, mean(part))
	}
	return out
}

// each applies a function sample by sample; f sees only known arguments.
func each(f func(v ...float64) float64, x ...[]float64) []float64 {
	out := make([]float64, len(x[0]))
	args := make([]float64, len(x))
	for i := range out {
		ok := true
		for j := range x {
			args[j] = x[j][i]
			ok = ok && known(args[j])
		}
		if !ok {
			out[i] = missing
			continue
		}
		out[i] = f(args...)
	}
	return out
}

func minus(a, b []float64) []float64 {
	return each(func(v ...float64) float64 { return v[0] - v[1] }, a, b)
}

// lagged shifts a series so that element i holds what was k samples earlier.
func lagged(x []float64, k int) []float64 {
	out := make([]float64, len(x))
	for i := range out {
		if i < k {
			out[i] = missing
		} else {
			out[i] = x[i-k]
		}
	}
	return out
}

// fit is an ordinary least-squares solution.
type fit struct {
	coef     []float64
	cov      [][]float64 // of the coefficients
	rows     int
	residual []float64 // missing where a row was left out
}

// leastSquares regresses y on the columns over the rows in which everything is
// known, without an intercept unless a column of ones is given. ok is false for
// fewer rows than needed, or where a column is a combination of those before it
// to 1e-10 of its squares.
func leastSquares(y []float64, need int, columns ...[]float64) (f fit, ok bool) {
	p := len(columns)
	var rows []int
	for i := range y {
		if known(y[i]) && !slices.ContainsFunc(columns, func(c []float64) bool { return !known(c[i]) }) {
			rows = append(rows, i)
		}
	}
	if len(rows) < max(need, p+1) {
		return fit{}, false
	}
	a, b := mat.NewDense(len(rows), p, nil), mat.NewVecDense(len(rows), nil)
	scale := make([]float64, p)
	for j, c := range columns {
		for r, i := range rows {
			a.Set(r, j, c[i])
		}
		if scale[j] = mat.Norm(a.ColView(j), 2); !(scale[j] > 1e-12) {
			return fit{}, false
		}
		for r := range rows {
			a.Set(r, j, a.At(r, j)/scale[j])
		}
	}
	for r, i := range rows {
		b.SetVec(r, y[i])
	}
	var qr mat.QR
	qr.Factorize(a)
	var r mat.Dense
	qr.RTo(&r)
	upper := mat.NewTriDense(p, mat.Upper, nil)
	for j := range p {
		if !(r.At(j, j)*r.At(j, j) > 1e-10) {
			return fit{}, false
		}
		for k := j; k < p; k++ {
			upper.SetTri(j, k, r.At(j, k))
		}
	}
	var x mat.VecDense
	var inv mat.TriDense
	if qr.SolveVecTo(&x, false, b) != nil || inv.InverseTri(upper) != nil {
		return fit{}, false
	}
	f = fit{coef: make([]float64, p), cov: make([][]float64, p), rows: len(rows), residual: make([]float64, len(y))}
	for i := range f.residual {
		f.residual[i] = missing
	}
	var left mat.VecDense
	left.MulVec(a, &x)
	left.SubVec(b, &left)
	for r, i := range rows {
		f.residual[i] = left.AtVec(r)
	}
	s2 := mat.Dot(&left, &left) / float64(len(rows)-p)
	var cov mat.Dense
	cov.Mul(&inv, inv.T())
	for j := range p {
		f.coef[j] = x.AtVec(j) / scale[j]
		f.cov[j] = make([]float64, p)
		for k := range p {
			f.cov[j][k] = cov.At(j, k) * s2 / scale[j] / scale[k]
		}
	}
	return f, true
}

// rankTrend is Spearman's correlation of the known values with their position,
// ties sharing their mean rank; missing for fewer than four values or where
// nothing moves.
func rankTrend(x []float64) float64 {
	var at []float64
	var v []float64
	for i, y := range x {
		if known(y) {
			at = append(at, float64(i))
			v = append(v, y)
		}
	}
	if len(v) < 4 {
		return missing
	}
	return stat.Correlation(ranks(at), ranks(v), nil) // NaN where nothing moves
}

func ranks(v []float64) []float64 {
	order := make([]int, len(v))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return v[order[a]] < v[order[b]] })
	out := make([]float64, len(v))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && v[order[j]] == v[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			out[order[k]] = float64(i+j-1) / 2
		}
		i = j
	}
	return out
}

// quantile is the linearly interpolated q-quantile of the known values, and the
// index of the value nearest to it.
func quantile(x []float64, q float64) (value float64, at int) {
	var order []int
	for i, v := range x {
		if known(v) {
			order = append(order, i)
		}
	}
	if len(order) == 0 {
		return missing, -1
	}
	sort.SliceStable(order, func(a, b int) bool { return x[order[a]] < x[order[b]] })
	pos := q * float64(len(order)-1)
	i := int(pos)
	j := min(i+1, len(order)-1)
	f := pos - float64(i)
	at = order[i]
	if f >= 0.5 {
		at = order[j]
	}
	return x[order[i]] + f*(x[order[j]]-x[order[i]]), at
}
