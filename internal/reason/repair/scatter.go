package repair

import "math"

// scatter updates sigma and tau from the residuals of the last evaluation.
func (t *trial) scatter() {
	for o := range t.out {
		out := &t.out[o]
		num, den := 0.0, 0.0
		for i, e := range out.e {
			e = clamp(e, -2, 2)
			num += out.weight[i] * e * e
			den += out.weight[i]
		}
		if den == 0 {
			continue
		}
		out.sigma = math.Max(math.Sqrt(num/den), 0.12)
		out.tau = clamp(out.correlationH(), 6, 72)
	}
}

// correlationH is the integral correlation time of the residuals in h, summed
// up to where they first stop being alike.
func (o *output) correlationH() float64 {
	const reach = 200
	n := len(o.hour)
	rw, root := make([]float64, n), make([]float64, n)
	for i := range root {
		rw[i] = math.Sqrt(o.weight[i])
		root[i] = rw[i] * clamp(o.e[i], -2, 2)
	}
	var num, wgt [reach + 1]float64
	for i := range n {
		for j := i; j < n; j++ {
			lag := int(o.hour[j] - o.hour[i])
			if lag > reach {
				break
			}
			num[lag] += root[i] * root[j]
			wgt[lag] += rw[i] * rw[j]
		}
	}
	if num[0] == 0 {
		return 12
	}
	tau := 0.5
	v0 := num[0] / wgt[0]
	for k := 1; k <= reach; k++ {
		if wgt[k] == 0 {
			continue
		}
		r := num[k] / wgt[k] / v0
		if r < 0.05 {
			break
		}
		tau += r
	}
	return tau
}
