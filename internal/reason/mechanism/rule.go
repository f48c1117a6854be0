package mechanism

import (
	"math"

	"dewcase/internal/reason/evidence"
)

// rule is when a verdict is given and when it falls again: the condition must
// hold on so many looks running, and fall away on as many.
const looksRunning = 3

// steady replays the looks: whether the change stands at the last one, and the
// index of the look at which it became sure. It asks for the looks latest first,
// and only for as many as decide.
func steady(looks int, holds, falls func(i int) bool) (stands bool, since int) {
	held, fell := 0, 0
	for i := looks - 1; i >= 0; i-- {
		if holds(i) {
			if held++; held >= looksRunning {
				// Sure at i+2, the last of the three. It may have been sure earlier.
				stands, since = true, i+looksRunning-1
			}
		} else {
			held = 0
		}
		if falls(i) {
			if fell++; fell == looksRunning {
				return stands, since
			}
		} else {
			fell = 0
		}
	}
	return stands, since
}

// Limits of the void's condition.
const (
	firstVoidNight = 3
	voidZ          = 3.0
	voidNightZ     = 1.5
	voidLn         = 0.3
	voidFallZ      = 2.0
	likeWeatherK   = 6.0
	voidUnshown    = 5.0 // factor that is excluded where no change is shown
	unshownNights  = 30
)

// The void's factor: the share says less than the exchange, and a shut void's is
// only known to be small. How much less differs between the two simulators (by
// e^0.5 too little on one and e^0.9 too much on the other, for voids that grew over
// tenfold), so that the gain lies between and its spread is wide.
const (
	voidGain, voidGainSpread          = 1.6, 0.3
	voidFactorFloor, voidFactorSpread = 0.01, 0.25
)

// factor is a change with its 95 % interval.
type factor struct{ mid, low, high float64 }

func factorOf(m, u float64) factor {
	return factor{math.Exp(m), math.Exp(m - evidence.Z95*u), math.Exp(m + evidence.Z95*u)}
}

// within reports that the interval lies within 1/f to f.
func (f factor) within(x float64) bool { return f.low >= 1/x && f.high <= x }

// voidLooks are the evenings of one void after one repair.
type voidLooks struct {
	r            *record
	w, n         *balance
	base, nights baseline
	out          *column
	outBefore    float64
	evenings     []voidLook // from firstVoidNight on, as far as asked for
}

type voidLook struct {
	asked, likeWeather bool
	w, n               contrast
}

func newVoidLooks(r *record, out, air, cover, loft *column) *voidLooks {
	v := &voidLooks{r: r, w: r.void(out, air, cover, loft, false), n: r.void(out, air, cover, loft, true), out: out}
	v.base, v.nights = v.w.baseline(voidUnknown), v.n.baseline(voidUnknown)
	v.outBefore = r.mean(out, r.first, 0)
	v.evenings = make([]voidLook, max(r.until-firstVoidNight+1, 0))
	return v
}

// voidUnknown is the further error of a void whose wandering could not be had.
const voidUnknown = 0.25

// at is the i-th evening from firstVoidNight on.
func (v *voidLooks) at(i int) *voidLook {
	l := &v.evenings[i]
	if !l.asked {
		l.asked = true
		l.w = v.w.after(&v.base, i+firstVoidNight)
		l.likeWeather = math.Abs(v.colder(i)) <= likeWeatherK
		if l.w.ok && math.Abs(l.w.z) > voidZ {
			l.n = v.n.after(&v.nights, i+firstVoidNight)
		}
	}
	return l
}

// colder is by how much outdoor air was colder after than before, K.
func (v *voidLooks) colder(i int) float64 {
	return v.outBefore - v.r.mean(v.out, 1, i+firstVoidNight)
}

// holds is the condition of one evening.
func (v *voidLooks) holds(i int) bool {
	l := v.at(i)
	return l.w.ok && l.n.ok && l.likeWeather && math.Abs(l.w.z) > voidZ && math.Abs(l.w.ln) > voidLn &&
		l.n.z*l.w.z > 0 && math.Abs(l.n.z) > voidNightZ
}

func (v *voidLooks) falls(i int) bool {
	l := v.at(i)
	return l.w.ok && math.Abs(l.w.z) < voidFallZ
}

// factor is the void's exchange after over before.
func (v *voidLooks) factor(c *contrast) factor {
	b := *v.w
	b.c, b.s0 = voidFactorFloor, voidFactorSpread
	base := b.baseline(voidUnknown)
	ln, sd := b.compare(&base, c.after)
	return factorOf(voidGain*ln, math.Hypot(voidGain*sd, voidGainSpread*ln))
}
