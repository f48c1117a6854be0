package cause

import (
	"math"
	"sort"
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
// fewer rows than needed or columns that repeat each other.
func leastSquares(y []float64, need int, columns ...[]float64) (f fit, ok bool) {
	p := len(columns)
	var rows []int
	for i := range y {
		good := known(y[i])
		for _, c := range columns {
			good = good && known(c[i])
		}
		if good {
			rows = append(rows, i)
		}
	}
	if len(rows) < max(need, p+1) {
		return fit{}, false
	}
	scale := make([]float64, p)
	for j, c := range columns {
		for _, i := range rows {
			scale[j] += c[i] * c[i]
		}
		scale[j] = math.Sqrt(scale[j])
		if !(scale[j] > 1e-12) {
			return fit{}, false
		}
	}
	a := make([][]float64, p)
	b := make([]float64, p)
	for j := range a {
		a[j] = make([]float64, p)
		for k := 0; k <= j; k++ {
			s := 0.0
			for _, i := range rows {
				s += columns[j][i] * columns[k][i]
			}
			a[j][k] = s / scale[j] / scale[k]
			a[k][j] = a[j][k]
		}
		for _, i := range rows {
			b[j] += columns[j][i] * y[i]
		}
		b[j] /= scale[j]
	}
	inv, ok := invert(a)
	if !ok {
		return fit{}, false
	}
	f = fit{coef: make([]float64, p), cov: inv, rows: len(rows), residual: make([]float64, len(y))}
	for j := range f.coef {
		for k := range b {
			f.coef[j] += inv[j][k] * b[k]
		}
		f.coef[j] /= scale[j]
	}
	for i := range f.residual {
		f.residual[i] = missing
	}
	rss := 0.0
	for _, i := range rows {
		r := y[i]
		for j, c := range columns {
			r -= f.coef[j] * c[i]
		}
		f.residual[i] = r
		rss += r * r
	}
	s2 := rss / float64(len(rows)-p)
	for j := range inv {
		for k := range inv[j] {
			inv[j][k] *= s2 / scale[j] / scale[k]
		}
	}
	return f, true
}

// invert is the inverse of a symmetric positive definite matrix by Gauss-Jordan
// elimination with the largest diagonal as pivot; ok is false where a column is
// a combination of others to 1e-10 of its size.
func invert(m [][]float64) ([][]float64, bool) {
	n := len(m)
	a := make([][]float64, n)
	inv := make([][]float64, n)
	for i := range a {
		a[i] = append([]float64(nil), m[i]...)
		inv[i] = make([]float64, n)
		inv[i][i] = 1
	}
	done := make([]bool, n)
	for range n {
		p := -1
		for i := range n {
			if !done[i] && (p < 0 || a[i][i] > a[p][p]) {
				p = i
			}
		}
		if !(a[p][p] > 1e-10) {
			return nil, false
		}
		done[p] = true
		d := a[p][p]
		for j := range n {
			a[p][j] /= d
			inv[p][j] /= d
		}
		for i := range n {
			if i == p {
				continue
			}
			f := a[i][p]
			for j := range n {
				a[i][j] -= f * a[p][j]
				inv[i][j] -= f * inv[p][j]
			}
		}
	}
	return inv, true
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
	return correlation(ranks(at), ranks(v))
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

func correlation(a, b []float64) float64 {
	ma, mb := mean(a), mean(b)
	var sab, saa, sbb float64
	for i := range a {
		sab += (a[i] - ma) * (b[i] - mb)
		saa += (a[i] - ma) * (a[i] - ma)
		sbb += (b[i] - mb) * (b[i] - mb)
	}
	if saa == 0 || sbb == 0 {
		return missing
	}
	return sab / math.Sqrt(saa*sbb)
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
