package repair

import "math"

// fit finds the unknowns that explain the readings of one trial best, given the
// prior beliefs, and how sure they are.
type fit struct {
	t     *trial
	u     vector
	cost  float64
	chol  []float64 // of the Hessian, in standard units, over the free unknowns
	free  []int
	base  *lane
	atRep lane // the base's state at the repair
	lanes []*lane
	jac   [2][][]float64
	work  []float64
	wgt   [2][]float64
}

func newFit(t *trial) *fit {
	f := &fit{t: t}
	for k := range paramCount {
		if t.pr[k].sd > 0 {
			f.free = append(f.free, k)
		}
	}
	f.base = f.newLane()
	f.base.course = newCourse(t.end)
	b := t.s.workspace()
	f.lanes = b.lanes[:]
	for o := range 2 {
		m := len(t.out[o].hour)
		f.jac[o] = make([][]float64, paramCount)
		for _, k := range f.free {
			f.jac[o][k] = b.jac[o][k][:m]
		}
		f.wgt[o] = b.wgt[o][:m]
	}
	m := len(f.free)
	f.chol, f.work = make([]float64, m*m), make([]float64, m*m)
	return f
}

func newLane(n int) *lane {
	return &lane{loftOut: make([]float64, n), voidOut: make([]float64, n)}
}

func (f *fit) newLane() *lane {
	return newLane(f.t.end)
}

// begin puts a lane at the start of the record.
func (t *trial) begin(l *lane) {
	b := &t.bins[t.start]
	l.loft, l.air = b.outPa, b.outPa
	if t.s.hasLoft && t.s.loft.pa.seen[t.start] {
		l.loft = t.s.loft.pa.v[t.start]
	}
	if t.s.hasVoid && t.s.void.pa.seen[t.start] {
		l.air = t.s.void.pa.v[t.start]
	}
}

// change puts the repair's changes in force on a lane.
func (l *lane) change(d, c, v float64) {
	l.kLoft, l.kCeiling, l.kVoid = math.Exp(d), math.Exp(c), l.void*math.Exp(v)
}

func (t *trial) changes(u *vector) (d, c, v float64) {
	return t.pr[pD].value(u[pD]), t.pr[pC].value(u[pC]), t.pr[pV].value(u[pV])
}

// simulate runs the base lane over the whole trial.
func (f *fit) simulate(u *vector) {
	t, l := f.t, f.base
	l.course.fill(t.bins, &t.pr, u, t.start, t.end)
	t.lane(u, l)
	one := []*lane{l}
	run(t.bins, one, t.start, t.repair)
	f.atRep = *l
	l.change(t.changes(u))
	run(t.bins, one, t.repair, t.end)
}

// lane sets a lane's constants and puts it at the start.
func (t *trial) lane(u *vector, l *lane) {
	laneFor(&t.pr, u, l)
	if t.s.voidCourse == nil || !t.s.hasVoid {
		l.couple = 0
	}
	t.begin(l)
}

// offsetPct is the error of a humidity logger at one hour in %RH.
func (t *trial) offsetPct(u *vector, o, i int) float64 {
	v := func(k int) float64 { return t.pr[k].value(u[k]) }
	out := &t.out[o]
	x := v(pLoftRH+o) + v(pLoftDrift+o)*out.days[i]
	if out.after[i] {
		x += v(pLoftStep + o)
	}
	if out.swap[i] {
		x += v(pLoftSwap + o)
	}
	return x
}

const huberCorner = 2.0

// evaluate runs the model and returns the cost: twice the negative log
// posterior up to a constant.
func (f *fit) evaluate(u *vector) float64 {
	f.simulate(u)
	t := f.t
	cost := 0.0
	for _, k := range f.free {
		cost += u[k] * u[k]
	}
	for o := range 2 {
		out := &t.out[o]
		p := f.base.loftOut
		if o == 1 {
			p = f.base.voidOut
		}
		sum := 0.0
		for i, h := range out.hour {
			y := math.Max((p[2*h]+p[2*h+1])/2+t.offsetPct(u, o, i)*out.satPa[i], 1)
			out.y[i] = y
			e := math.Log(y/out.obs[i]) / perKelvinAir
			out.e[i] = e
			z := math.Abs(e) / out.sigma
			if z < huberCorner {
				sum += out.weight[i] * z * z
			} else {
				sum += out.weight[i] * huberCorner * (2*z - huberCorner)
			}
		}
		cost += sum / (2 * out.tau)
	}
	return cost
}

// nudge is the step of the forward differences in standard units. A film that
// comes and goes makes the cost rugged on the scale of a few hundredths; smaller
// steps see the ruggedness and not the slope (over 24 winters 0.02 ended 20 to
// 50 higher in the cost than 0.06).
const nudge = 0.06

// differentiate fills the Jacobian around the base run.
func (f *fit) differentiate(u *vector) {
	t := f.t
	var whole, late []*lane
	for _, k := range f.free {
		if k >= firstOutput {
			continue
		}
		l := f.lanes[k]
		v := *u
		v[k] += nudge
		loft, void, wood := l.course.loft, l.course.void, l.course.wood
		t.lane(&v, l)
		switch k {
		case pLoftCalm, pLoftLift, pStepLift:
			l.course.fillLoft(t.bins, &t.pr, &v, t.start, t.end)
			void, wood = f.base.course.void, f.base.course.wood
		case pVoidCalm, pVoidLift, pStepVoid:
			l.course.fillVoid(t.bins, &t.pr, &v, t.start, t.end)
			loft, wood = f.base.course.loft, f.base.course.wood
		case pWoodSun:
			l.course.fillWood(t.bins, &t.pr, &v, t.start, t.end)
			loft, void = f.base.course.loft, f.base.course.void
		default:
			loft, void, wood = f.base.course.loft, f.base.course.void, f.base.course.wood
		}
		l.course = course{loft, void, wood}
		if k == pD || k == pC || k == pV {
			l.takeState(&f.atRep)
			late = append(late, l)
		} else {
			whole = append(whole, l)
		}
	}
	inGroups(whole, func(g []*lane) { run(t.bins, g, t.start, t.repair) })
	for _, k := range f.free {
		if k < firstOutput {
			v := *u
			v[k] += nudge
			f.lanes[k].change(t.changes(&v))
		}
	}
	inGroups(append(whole, late...), func(g []*lane) { run(t.bins, g, t.repair, t.end) })
	for o := range 2 {
		f.jacobian(u, o)
	}
}

// laneGroup lanes are stepped together: enough to hide the latency of one, few
// enough for their states to stay near.
const laneGroup = 5

func inGroups(ls []*lane, each func([]*lane)) {
	for len(ls) > 0 {
		n := min(laneGroup, len(ls))
		each(ls[:n])
		ls = ls[n:]
	}
}

func (f *fit) jacobian(u *vector, o int) {
	t := f.t
	out := &t.out[o]
	base := f.base.loftOut
	if o == 1 {
		base = f.base.voidOut
	}
	for _, k := range f.free {
		col := f.jac[o][k]
		switch {
		case k < firstOutput:
			p := f.lanes[k].loftOut
			if o == 1 {
				p = f.lanes[k].voidOut
			}
			from := 0
			if k == pD || k == pC || k == pV {
				for from < len(col) && !out.after[from] {
					col[from] = 0
					from++
				}
			}
			for i := from; i < len(col); i++ {
				h := out.hour[i]
				col[i] = (p[2*h] + p[2*h+1] - base[2*h] - base[2*h+1]) / (2 * nudge * perKelvinAir * out.y[i])
			}
		default:
			f.outputColumn(k, o, col)
		}
	}
	scale := 1 / (2 * out.tau * out.sigma * out.sigma)
	for i, e := range out.e {
		w := out.weight[i] * scale
		if z := math.Abs(e) / out.sigma; z > huberCorner {
			w *= huberCorner / z
		}
		f.wgt[o][i] = w
	}
}

// outputColumn is the exact derivative by an unknown of a logger.
func (f *fit) outputColumn(k, o int, col []float64) {
	out := &f.t.out[o]
	sd := f.t.pr[k].sd
	for i := range col {
		x := 0.0
		switch k - o {
		case pLoftRH:
			x = 1
		case pLoftDrift:
			x = out.days[i]
		case pLoftStep:
			if out.after[i] {
				x = 1
			}
		case pLoftSwap:
			if out.swap[i] {
				x = 1
			}
		}
		col[i] = x * sd * out.satPa[i] / (perKelvinAir * out.y[i])
	}
}

// normal sets up the Gauss-Newton system around the base run: work gets
// J'WJ + I, the return is the right-hand side.
func (f *fit) normal(u *vector) []float64 {
	m := len(f.free)
	rhs := make([]float64, m)
	h := f.chol
	for i := range h {
		h[i] = 0
	}
	for o := range 2 {
		out := &f.t.out[o]
		n := len(out.hour)
		if n == 0 {
			continue
		}
		tmp := f.t.s.workspace().tmp[:n]
		for a, ka := range f.free {
			if ka >= firstOutput && (ka-firstOutput)%2 != o {
				continue
			}
			ca := f.jac[o][ka]
			r := 0.0
			for i, w := range f.wgt[o] {
				tmp[i] = w * ca[i]
				r -= tmp[i] * out.e[i]
			}
			rhs[a] += r
			for b, kb := range f.free[:a+1] {
				if kb >= firstOutput && (kb-firstOutput)%2 != o {
					continue
				}
				h[a*m+b] += dot(tmp, f.jac[o][kb])
			}
		}
	}
	for a, k := range f.free {
		h[a*m+a]++
		rhs[a] -= u[k]
	}
	return rhs
}

func dot(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+4 <= len(a); i += 4 {
		s0 += a[i] * b[i]
		s1 += a[i+1] * b[i+1]
		s2 += a[i+2] * b[i+2]
		s3 += a[i+3] * b[i+3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return (s0 + s1) + (s2 + s3)
}

// minimise takes damped Gauss-Newton steps until they gain nothing.
func (f *fit) minimise(maxSteps int) {
	m := len(f.free)
	f.cost = f.evaluate(&f.u)
	damp, small := 1e-2, 0
	step := make([]float64, m)
	for range maxSteps {
		f.differentiate(&f.u)
		rhs := f.normal(&f.u)
		gained := 0.0
		moved := false
		for range 6 {
			copy(f.work, f.chol)
			for a := range m {
				f.work[a*m+a] *= 1 + damp
			}
			copy(step, rhs)
			if !cholesky(f.work, m) {
				damp *= 7
				continue
			}
			solveCholesky(f.work, m, step)
			v := f.u
			for a, k := range f.free {
				v[k] = clamp(v[k]+clamp(step[a], -1.2, 1.2), -reachSD, reachSD)
			}
			c := f.evaluate(&v)
			if c < f.cost {
				gained, f.cost, f.u, moved = f.cost-c, c, v, true
				damp = math.Max(damp/6, 1e-6)
				break
			}
			damp *= 7
		}
		if !moved {
			break
		}
		if gained < 0.02 {
			if small++; small == 2 {
				break
			}
		} else {
			small = 0
		}
	}
}

// rounds fits from where it stands: each round refits, then takes sigma and tau
// from what is left.
func (f *fit) rounds(n, steps int) {
	for range n {
		f.minimise(steps)
		f.evaluate(&f.u)
		f.t.scatter()
	}
	f.settle()
}

// settle leaves the Hessian's Cholesky factor at the optimum.
func (f *fit) settle() {
	f.cost = f.evaluate(&f.u)
	f.differentiate(&f.u)
	f.normal(&f.u)
	if !cholesky(f.chol, len(f.free)) { // the prior keeps it definite; rounding alone could not
		for i := range f.chol {
			f.chol[i] = 0
		}
		for a := range f.free {
			f.chol[a*len(f.free)+a] = 1
		}
	}
}

// take starts from another fit's optimum.
func (f *fit) take(o *fit) {
	f.u = o.u
	for i := range f.t.out {
		f.t.out[i].sigma, f.t.out[i].tau = o.t.out[i].sigma, o.t.out[i].tau
	}
}
