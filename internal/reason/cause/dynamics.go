package cause

import "math"

// response is the loft's own small moisture balance: how far its air follows a
// quick change outdoors, of house air and of the wood's own moisture.
type response struct {
	wo, wi, wt, wiZ float64
	seWo            float64 // of wo, by the delta method
	rows            int
}

// harmonics are sine and cosine of one day and half a day.
func harmonics(g grid) [][]float64 {
	out := make([][]float64, 4)
	for j, period := range []float64{24, 12} {
		s, c := make([]float64, g.n), make([]float64, g.n)
		for k := range s {
			a := 2 * math.Pi * float64(g.at(k)/1000%86400) / 3600 / period
			s[k], c[k] = math.Sin(a), math.Cos(a)
		}
		out[2*j], out[2*j+1] = s, c
	}
	return out
}

// fastResponse fits the loft's hourly moisture balance (method, section 3).
//
//	y(t) = a y(t-1) + sum b_k o(t-k) + sum c_k e(t-k) + sum d_k s(t-k) + daily terms
//
// y, o: loft and outdoor vapour pressure less their 25 h mean; e: indoor vapour
// pressure less what outdoors explains of it; s: saturation at loft temperature
// times mean loft humidity. Shares are the sums of the coefficients over 1-a.
// A constant offset of a logger drops out. Missing where there are fewer than
// 200 usable hours or the loft does not move.
func fastResponse(g grid, p places) (r response) {
	r = response{wo: missing, wi: missing, wt: missing, wiZ: missing, seWo: missing}
	if p.outdoor.empty() || p.indoor.empty() || p.loft.empty() {
		return r
	}
	day := harmonics(g)
	po, pi, y := highPass(p.outdoor.vapourPa, 25), highPass(p.indoor.vapourPa, 25), highPass(p.loft.vapourPa, 25)
	first, ok := leastSquares(pi, 100, append([][]float64{po, lagged(po, 1), lagged(po, 3), lagged(po, 6)}, day...)...)
	if !ok {
		return r
	}
	e := first.residual
	sat := satWater(p.loft.tempC)
	m := mean(each(func(v ...float64) float64 { return v[0] / v[1] }, p.loft.vapourPa, sat))
	if !known(m) {
		return r
	}
	for k := range sat {
		sat[k] *= m
	}
	s := highPass(sat, 25)
	cols := [][]float64{lagged(y, 1), po, lagged(po, 1), e, lagged(e, 1), lagged(e, 2), s, lagged(s, 1)}
	f, ok := leastSquares(y, 200, append(cols, day...)...)
	if !ok {
		return r
	}
	d := 1 - f.coef[0]
	if d < 0.01 {
		return r
	}
	outdoors := f.coef[1] + f.coef[2]
	house := f.coef[3] + f.coef[4] + f.coef[5]
	r.rows = f.rows
	r.wo, r.wi, r.wt = outdoors/d, house/d, (f.coef[6]+f.coef[7])/d
	if v := f.cov[3][3] + f.cov[4][4] + f.cov[5][5]; v > 0 {
		r.wiZ = house / math.Sqrt(v)
	}
	grad := []float64{outdoors / (d * d), 1 / d, 1 / d}
	v := 0.0
	for i := range grad {
		for j := range grad {
			v += grad[i] * grad[j] * f.cov[i][j]
		}
	}
	r.seWo = math.Sqrt(math.Max(v, 0))
	return r
}

// slowBalance is sb: how far wet wood or a source, not outdoors, sets the loft,
// from daily means (method, section 3), with its standard error.
func slowBalance(p places) (sb, se float64) {
	if p.outdoor.empty() || p.indoor.empty() || p.loft.empty() {
		return missing, missing
	}
	sat := satWater(p.loft.tempC)
	excess := blocks(minus(p.loft.vapourPa, p.outdoor.vapourPa), 24)
	drive := blocks(each(func(v ...float64) float64 {
		return (v[0] - v[1]) * math.Sqrt(math.Max(v[2]-v[3], 0)/15)
	}, p.indoor.vapourPa, p.outdoor.vapourPa, p.indoor.tempC, p.loft.tempC), 24)
	deficit := blocks(minus(sat, p.outdoor.vapourPa), 24)
	x := highPass(blocks(sat, 24), 9)
	f, ok := leastSquares(excess, 8, drive, deficit, x, lagged(x, 1))
	if !ok {
		return missing, missing
	}
	return f.coef[1], math.Sqrt(f.cov[1][1])
}

// voidFollows is vo: the share of a quick outdoor change that the void follows
// (method, section 3), with its standard error.
func voidFollows(outdoor, loft, void *air) (vo, se float64) {
	if outdoor.empty() || loft.empty() || void.empty() {
		return missing, missing
	}
	sat := satWater(void.tempC)
	for k := range sat {
		sat[k] *= 0.85
	}
	f, ok := leastSquares(highPass(void.vapourPa, 25), 200, highPass(outdoor.vapourPa, 25), highPass(loft.vapourPa, 25),
		highPass(sat, 25))
	if !ok {
		return missing, missing
	}
	return f.coef[0], math.Sqrt(f.cov[0][0])
}
