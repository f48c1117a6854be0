package repair

// regressors are the columns that explain one temperature of the roof from
// others that the repair leaves alone.
type regressors struct {
	target []float64
	cols   [][]float64
}

// temperatureColumns are the three regressions of the method: loft air over
// outdoor air, and void air over the covering.
func (s *site) temperatureColumns() (loft, air regressors) {
	n := s.n
	sub := func(a, b []float64) []float64 {
		out := make([]float64, n)
		for k := range out {
			out[k] = a[k] - b[k]
		}
		return out
	}
	one := make([]float64, n)
	for k := range one {
		one[k] = 1
	}
	to, ti, tl, tb, tc := s.out.tempC.v, s.in.tempC.v, s.loft.tempC.v, s.void.tempC.v, s.cover.v
	loft = regressors{sub(tl, to), [][]float64{one, sub(ti, to), sub(tc, to), sub(lag(tc, 3), to), sub(lag(tc, 24), to),
		sub(lag(to, 6), to), sub(lag(ti, 6), to)}}
	air = regressors{sub(tb, tc), [][]float64{one, sub(tl, tc), sub(to, tc), sub(lag(tc, 0.7), tc)}}
	return loft, air
}

// change fits the columns to the bins before the repair and again to what is
// left of the bins after it; the second is how far the repair moved the
// temperature. Ridges of 20 and 200 on the cross-products keep a short record
// from inventing one.
func (r regressors) change(before, after func(k int) bool, n int) []float64 {
	m := len(r.cols)
	b0 := r.solve(before, nil, 20, n)
	b1 := r.solve(after, b0, 200, n)
	out := make([]float64, n)
	if b0 == nil || b1 == nil {
		return out
	}
	for k := range out {
		for j := range m {
			out[k] += b1[j] * r.cols[j][k]
		}
	}
	return out
}

func (r regressors) solve(use func(k int) bool, less []float64, ridge float64, n int) []float64 {
	m := len(r.cols)
	a, y := make([]float64, m*m), make([]float64, m)
	count := 0
	for k := range n {
		if !use(k) {
			continue
		}
		count++
		t := r.target[k]
		for j, b := range less {
			t -= b * r.cols[j][k]
		}
		for i := range m {
			ci := r.cols[i][k]
			y[i] += ci * t
			for j := range i + 1 {
				a[i*m+j] += ci * r.cols[j][k]
			}
		}
	}
	if count < 48 {
		return nil
	}
	for i := range m {
		a[i*m+i] += ridge
	}
	if !cholesky(a, m) {
		return nil
	}
	solveCholesky(a, m, y)
	return y
}

// unrepairedTemps are the temperatures that the roof would have had after the
// repair bin without it: loft and void air less the change that shows in them,
// and the covering less 0.15 of the void's, at most 0.5 K. The underlay is
// used as measured in both runs.
func (s *site) unrepairedTemps(loft, air regressors, before, after func(k int) bool, repair, end int) temps {
	m := s.measuredTemps()
	out := temps{append([]float64(nil), m.loft...), append([]float64(nil), m.air...), append([]float64(nil), m.cover...)}
	if s.hasLoft {
		d := loft.change(func(k int) bool { return before(k) && s.loft.tempC.seen[k] },
			func(k int) bool { return after(k) && s.loft.tempC.seen[k] }, end)
		for k := repair; k < end; k++ {
			out.loft[k] -= d[k]
		}
	}
	if s.hasVoid {
		d := air.change(func(k int) bool { return before(k) && s.void.tempC.seen[k] },
			func(k int) bool { return after(k) && s.void.tempC.seen[k] }, end)
		for k := repair; k < end; k++ {
			out.air[k] -= d[k]
			out.cover[k] -= clamp(0.15*d[k], -0.5, 0.5)
		}
	}
	return out
}
