package repair

import "math"

const (
	stepMS = 30 * 60 * 1000
	stepH  = 0.5
	// perKelvin is the slope of ln psat in 1/K near 0 C (Magnus over ice and
	// water: 0.082 and 0.072 there), the one figure used to turn a small
	// temperature error of a surface into a factor on its saturation pressure.
	perKelvin = 0.078
	// perKelvinAir is the slope by which a ratio of vapour pressures is read as
	// kelvin of dew point.
	perKelvinAir = 0.0705
	// filmPaH is how much water a surface holds before it runs off, in Pa h of
	// its own exchange.
	filmPaH = 200.0
)

// bin is what drives the roof in one half hour.
type bin struct {
	outPa, inPa   float64 // vapour pressure outdoors and indoors
	stack         float64 // sqrt(max(Ti-Tl, 0.3)/15)
	battenSat     float64 // psat at the battens
	coverPa       float64 // psat at the covering's underside, over ice below 0 C
	layPa         float64 // the same at the underlay
	calm          float64 // z: outdoor air less covering, 1 h mean, within -1..5 K
	loftLift      float64 // sqrt|Tl-To| - 1.2
	voidLift      float64 // sqrt|Tc-To| - 1
	woodSat       float64 // psat at the loft timber
	woodSun       float64 // 0.07 (Tc - Tl), lagged
	windL, windB  float64 // centred logarithm of the wind, 0 where it is not used
	loftPa, airPa float64 // psat(T_air)/100 of the loft's and the void's logger
}

// course is the part of the exchange that depends on the unknowns as well as
// the half hour, worked out before a run.
type course struct{ loft, void, wood []float64 }

func newCourse(n int) course {
	return course{make([]float64, n), make([]float64, n), make([]float64, n)}
}

// fillLoft, fillVoid and fillWood set a course's three parts over [from, to).
func (c *course) fillLoft(bins []bin, pr *[paramCount]prior, u *vector, from, to int) {
	k1, k2, w := pr[pLoftCalm].value(u[pLoftCalm]), pr[pLoftLift].value(u[pLoftLift]), pr[pStepLift].value(u[pStepLift])
	for t := from; t < to; t++ {
		b := &bins[t]
		c.loft[t] = boundedExp(k1*b.calm + k2*b.loftLift + w*b.windL)
	}
}

func (c *course) fillVoid(bins []bin, pr *[paramCount]prior, u *vector, from, to int) {
	k3, k4, w := pr[pVoidCalm].value(u[pVoidCalm]), pr[pVoidLift].value(u[pVoidLift]), pr[pStepVoid].value(u[pStepVoid])
	for t := from; t < to; t++ {
		b := &bins[t]
		c.void[t] = boundedExp(k3*b.calm + k4*b.voidLift + w*b.windB)
	}
}

func (c *course) fillWood(bins []bin, pr *[paramCount]prior, u *vector, from, to int) {
	x := clamp(pr[pWoodSun].value(u[pWoodSun]), -2, 0.5)
	for t := from; t < to; t++ {
		b := &bins[t]
		c.wood[t] = b.woodSat * boundedExp(x*b.woodSun)
	}
}

func (c *course) fill(bins []bin, pr *[paramCount]prior, u *vector, from, to int) {
	c.fillLoft(bins, pr, u, from, to)
	c.fillVoid(bins, pr, u, from, to)
	c.fillWood(bins, pr, u, from, to)
}

// expReach bounds the exponents of the exchange.
const (
	expReach = 2.5
	expCells = 2048
)

var expTable = func() (t [expCells + 2]float64) {
	for i := range t {
		t[i] = math.Exp(-expReach + 2*expReach*float64(i)/expCells)
	}
	return t
}()

// boundedExp is exp(x) with x held within +-2.5, by linear interpolation in a
// table; its error is below 1e-6 of the value.
func boundedExp(x float64) float64 {
	if !(x > -expReach) {
		return expTable[0]
	}
	if x >= expReach {
		return expTable[expCells]
	}
	f := (x + expReach) * (expCells / (2 * expReach))
	i := int(f)
	a := expTable[i]
	return a + (f-float64(i))*(expTable[i+1]-a)
}

// lane is one run of the model: its constants, its state and where the air's
// vapour pressure is written. Several lanes are stepped together, since one
// alone waits on its own arithmetic.
type lane struct {
	ceiling, couple, void      float64
	loftLag, voidLag           float64
	wood, batten               float64
	layFilm, coverFilm         float64
	rt1, rt12, rt2, rtb, rtb2  float64
	coverSat, laySat           float64
	kLoft, kCeiling, kVoid     float64 // factors now in force; kVoid includes void
	loft, air, f1, f2, fb, fb2 float64 // state: vapour pressures, timber saturations
	layWet, coverWet           float64 // films in Pa h of their own exchange
	course                     course
	loftOut, voidOut           []float64
}

// takeState copies the state of another lane.
func (l *lane) takeState(o *lane) {
	l.loft, l.air, l.f1, l.f2, l.fb, l.fb2, l.layWet, l.coverWet = o.loft, o.air, o.f1, o.f2, o.fb, o.fb2, o.layWet,
		o.coverWet
}

// capacity is wood's moisture capacity over its value at mid saturation:
//
//	x(f) = 0.43 / (0.16 + 0.6 min(f,1)^5)
func capacity(f float64) float64 {
	g := min(f, 1)
	g2 := g * g
	return 0.43 / (0.16 + 0.6*g2*g2*g)
}

// run steps every lane through bins [from, to). Vapour balances of loft and
// void are solved together each half hour (backward Euler), with each surface's
// film as a further conductance to its saturation pressure while it is wet;
// timber follows by a semi-implicit step.
func run(bins []bin, lanes []*lane, from, to int) {
	for t := from; t < to; t++ {
		b := &bins[t]
		for _, l := range lanes {
			l.step(b, t)
		}
	}
}

func (l *lane) step(b *bin, t int) {
	vl, vb, w := l.kLoft*l.course.loft[t], l.kVoid*l.course.void[t], l.course.wood[t]
	a := l.ceiling * l.kCeiling * b.stack
	g := l.couple
	aL := l.loftLag + vl + a + l.wood + g
	aB := l.voidLag + vb + l.batten + g
	qL := l.loftLag*l.loft + vl*b.outPa + a*b.inPa + l.wood*l.f1*w
	qB := l.voidLag*l.air + vb*b.outPa + l.batten*l.fb*b.battenSat
	coverPa, layPa := b.coverPa*l.coverSat, b.layPa*l.laySat
	onLay, onCover := l.layWet > 0, l.coverWet > 0
	if onLay {
		aL += l.layFilm
		qL += l.layFilm * layPa
	}
	if onCover {
		aB += l.coverFilm
		qB += l.coverFilm * coverPa
	}
	inv := 1 / (aL*aB - g*g)
	pl, pb := (qL*aB+g*qB)*inv, (qB*aL+g*qL)*inv
	for pass := 0; pass < 3; pass++ {
		again := false
		if !onLay && pl > layPa {
			onLay, again = true, true
			aL += l.layFilm
			qL += l.layFilm * layPa
		}
		if !onCover && pb > coverPa {
			onCover, again = true, true
			aB += l.coverFilm
			qB += l.coverFilm * coverPa
		}
		if !again {
			break
		}
		inv = 1 / (aL*aB - g*g)
		pl, pb = (qL*aB+g*qB)*inv, (qB*aL+g*qL)*inv
	}
	if onLay {
		l.layWet = min(max(l.layWet+(pl-layPa)*stepH, 0), filmPaH)
	}
	if onCover {
		l.coverWet = min(max(l.coverWet+(pb-coverPa)*stepH, 0), filmPaH)
	}
	x1, x2, xb, xb2 := capacity(l.f1), capacity(l.f2), capacity(l.fb), capacity(l.fb2)
	f1, fb := l.f1, l.fb
	l.f1 = (f1 + x1*(pl*l.rt1+l.f2*w*l.rt12)) / (1 + x1*w*(l.rt1+l.rt12))
	e2 := x2 * w * l.rt2
	l.f2 = (l.f2 + e2*f1) / (1 + e2)
	s := b.battenSat
	l.fb = (fb + xb*(pb*l.rtb+l.fb2*s*l.rtb2)) / (1 + xb*s*(l.rtb+l.rtb2))
	e3 := 0.2 * xb2 * s * l.rtb2
	l.fb2 = (l.fb2 + e3*fb) / (1 + e3)
	l.f1, l.fb = min(max(l.f1, 0.05), 1.3), min(max(l.fb, 0.05), 1.3)
	l.loft, l.air = pl, pb
	l.loftOut[t], l.voidOut[t] = pl, pb
}
