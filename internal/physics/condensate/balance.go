package condensate

import (
	"fmt"
	"math"
	"time"

	"dewcase/internal/physics/psychro"
)

// Course is a surface and the air that meets it at common times, both linear
// between neighbours. Joined[i] says that the interval from AtMS[i] to AtMS[i+1]
// was observed; the last entry does not matter.
type Course struct {
	AtMS     []int64
	SurfaceC []float64
	VapourPa []float64
	Joined   []bool
}

const hourMS = int64(time.Hour / time.Millisecond)

// stepK is the rise of the surface's temperature over which the saturation
// pressure is taken as a parabola: within 0.03 Pa of the Magnus curve.
const stepK = 2.0

// Run keeps the balance over a course. nightOf gives the bounds in Unix ms of the
// night that a time belongs to. The film m >= 0 follows
//
//	dm/dt = beta_p (e - p_sat(Ts))   while m > 0 or the right side is above 0
//
// with e and Ts linear between the nodes, saturation over ice below 0 C, and
// the rate integrated in closed form over pieces of at most 2 K (a parabola
// through both ends and the middle), cut where it changes sign and where the
// film vanishes, so that the result does not depend on how finely the course is
// sampled. Water freezes and frost melts where the surface crosses 0 C. Liquid
// above the run-off limit drips at once; frost holds any mass until it melts.
//
// After a gap the film is unknown. It is never invented: the balance starts
// again from a dry surface, what lay there is booked as forgotten, and both are
// counted, so that peaks after a gap are lower bounds.
//
// Temperatures -90..100 C, pressures 0..200 kPa; anything else is ErrInput.
// Within 0.2 % of a balance stepped at 5 s; the coefficient itself is known to a factor of about two.
func Run(c Course, s Settings, nightOf func(ms int64) (fromMS, untilMS int64)) (*Result, error) {
	s = s.withDefaults()
	if err := check(c, s); err != nil {
		return nil, err
	}
	beta, err := BetaP(s.ConvectionWM2K, s.Lewis, s.PressurePa)
	if err != nil {
		return nil, err
	}
	b := balance{s: s, perPa: 3.6e6 * beta, nightOf: nightOf, res: &Result{Settings: s,
		MassGM2: make([]float64, len(c.AtMS))}}
	n := len(c.AtMS)
	for i := 0; i+1 < n; i++ {
		if !c.Joined[i] {
			b.gap(c.AtMS[i])
			continue
		}
		b.start(c.AtMS[i])
		b.interval(c.AtMS[i], c.AtMS[i+1], c.SurfaceC[i], c.SurfaceC[i+1], c.VapourPa[i], c.VapourPa[i+1])
		b.res.MassGM2[i+1] = b.mass
	}
	if n > 0 {
		b.finish(c.AtMS[n-1])
	}
	return b.res, nil
}

func check(c Course, s Settings) error {
	n := len(c.AtMS)
	if len(c.SurfaceC) != n || len(c.VapourPa) != n || len(c.Joined) != n {
		return fmt.Errorf("%w: %d times but %d surface temperatures, %d vapour pressures and %d intervals", ErrInput, n,
			len(c.SurfaceC), len(c.VapourPa), len(c.Joined))
	}
	if !(s.RunOffGM2 > 0) || !(s.WettedGM2 > 0) || !(s.MeltGM2 > 0) {
		return fmt.Errorf("%w: limits of %g, %g and %g g/m2, want more than 0", ErrInput, s.RunOffGM2, s.WettedGM2, s.MeltGM2)
	}
	for i := range n {
		if i > 0 && c.AtMS[i] <= c.AtMS[i-1] {
			return fmt.Errorf("%w: time %d (%s) does not follow the one before", ErrInput, i,
				time.UnixMilli(c.AtMS[i]).UTC().Format(time.RFC3339))
		}
		if !(c.SurfaceC[i] >= -90 && c.SurfaceC[i] <= 100) || !(c.VapourPa[i] >= 0 && c.VapourPa[i] <= 2e5) {
			return fmt.Errorf("%w: at %s the surface is at %g C in air of %g Pa, want -90..100 C and 0..200 kPa", ErrInput,
				time.UnixMilli(c.AtMS[i]).UTC().Format(time.RFC3339), c.SurfaceC[i], c.VapourPa[i])
		}
	}
	return nil
}

// balance is the state while a course is run.
type balance struct {
	s       Settings
	perPa   float64 // g/(m2 h Pa)
	nightOf func(ms int64) (fromMS, untilMS int64)
	res     *Result

	mass    float64
	frozen  bool
	running bool // inside an observed stretch
	night   *Night
	noonMS  int64 // end of the night in hand
	film    *Film // the film in hand
	meltMS  int64 // the last thaw
}

// start opens an observed stretch.
func (b *balance) start(ms int64) {
	if b.running {
		return
	}
	b.running = true
	b.mass, b.frozen = 0, false
}

// gap ends an observed stretch: what happens to the film is not known.
func (b *balance) gap(ms int64) {
	if !b.running {
		return
	}
	b.running = false
	b.res.Gaps++
	if b.mass > 0 {
		b.res.ForgottenGM2 += b.mass
		b.res.GapsWet++
		b.endFilm(ms, EndGap)
	}
	b.mass = 0
}

func (b *balance) finish(ms int64) {
	b.res.LeftGM2 = b.mass
	b.endFilm(ms, EndRecord)
	b.closeNight(false)
	b.res.summarise()
}

// interval integrates one observed interval, cut at hours and noons.
func (b *balance) interval(t0, t1 int64, ts0, ts1, e0, e1 float64) {
	whole := float64(t1 - t0)
	for at := t0; at < t1; {
		b.openNight(at)
		end := min(t1, at-mod(at, hourMS)+hourMS, b.noonMS)
		f0, f1 := float64(at-t0)/whole, float64(end-t0)/whole
		b.stretch(at, end, ts0+f0*(ts1-ts0), ts0+f1*(ts1-ts0), e0+f0*(e1-e0), e0+f1*(e1-e0))
		at = end
		if at == b.noonMS {
			b.closeNight(true)
		}
	}
}

// stretch integrates within one hour and night, cut where the surface crosses
// freezing and into pieces of at most stepK.
func (b *balance) stretch(t0, t1 int64, ts0, ts1, e0, e1 float64) {
	hours := float64(t1-t0) / float64(hourMS)
	b.night.ObservedH += hours
	b.res.ObservedH += hours
	if ts0 < 0 != (ts1 < 0) && ts0 != 0 && ts1 != 0 {
		f := ts0 / (ts0 - ts1)
		em := e0 + f*(e1-e0)
		b.ramp(t0, f*hours, ts0, 0, e0, em)
		b.ramp(t0+int64(f*float64(t1-t0)), (1-f)*hours, 0, ts1, em, e1)
		return
	}
	b.ramp(t0, hours, ts0, ts1, e0, e1)
}

func (b *balance) ramp(t0 int64, hours, ts0, ts1, e0, e1 float64) {
	cold := ts0+ts1 < 0
	if cold != b.frozen {
		b.changePhase(t0, cold)
	}
	sat := psychro.SatWaterPa
	if cold {
		sat = psychro.SatIcePa
	}
	n := int(math.Abs(ts1-ts0)/stepK) + 1
	g0 := b.perPa * (e0 - sat(ts0))
	for k := range n {
		f1, fm := float64(k+1)/float64(n), (float64(k)+0.5)/float64(n)
		gm := b.perPa * (e0 + fm*(e1-e0) - sat(ts0+fm*(ts1-ts0)))
		g1 := b.perPa * (e0 + f1*(e1-e0) - sat(ts0+f1*(ts1-ts0)))
		at := t0 + int64(float64(k)/float64(n)*hours*float64(hourMS))
		b.parabola(at, hours/float64(n), g0, gm, g1)
		g0 = g1
	}
}

func (b *balance) changePhase(ms int64, cold bool) {
	b.frozen = cold
	if cold || b.mass == 0 {
		return
	}
	melted, dripped := b.mass, 0.0
	if b.mass > b.s.RunOffGM2 {
		dripped = b.mass - b.s.RunOffGM2
		b.drip(dripped)
		b.mass = b.s.RunOffGM2
	}
	if melted < b.s.MeltGM2 {
		return
	}
	// A surface that hovers at 0 C melts the same frost again and again.
	again := len(b.res.Melts) > 0 && ms-b.meltMS < hourMS
	b.meltMS = ms
	if k := len(b.res.Melts) - 1; again {
		b.res.Melts[k].MassGM2 = math.Max(b.res.Melts[k].MassGM2, melted)
		b.res.Melts[k].DrippedGM2 += dripped
		return
	}
	b.res.Melts = append(b.res.Melts, Melt{AtMS: ms, MassGM2: melted, DrippedGM2: dripped})
}

func (b *balance) drip(mass float64) {
	b.res.DrippedGM2 += mass
	b.night.DrippedGM2 += mass
}

// parabola integrates the rate g0, gm, g1 (start, middle, end; g/(m2 h)) over a
// piece of the length in hours from t0.
func (b *balance) parabola(t0 int64, hours, g0, gm, g1 float64) {
	c := 2 * (g0 - 2*gm + g1)
	p := piece{hours, g0, g1 - g0 - c, c}
	if b.mass == 0 && g0 <= 0 && g1 <= 0 && !p.risesAboveZero() {
		return
	}
	s0 := 0.0
	r1, r2 := p.roots()
	for _, s1 := range [3]float64{r1, r2, 1} {
		if s1 <= s0 {
			continue
		}
		if p.rate((s0+s1)/2) > 0 {
			b.condense(t0, p, s0, s1)
		} else {
			b.evaporate(t0, p, s0, s1)
		}
		s0 = s1
	}
}

func (b *balance) condense(t0 int64, p piece, s0, s1 float64) {
	gained := p.mass(s0, s1)
	if gained <= 0 {
		return
	}
	at := t0 + int64(s1*p.hours*float64(hourMS))
	if b.film == nil {
		b.film = &Film{}
	}
	b.mass += gained
	b.res.CondensedGM2 += gained
	b.night.CondensedGM2 += gained
	if !b.frozen && b.mass > b.s.RunOffGM2 {
		b.drip(b.mass - b.s.RunOffGM2)
		b.mass = b.s.RunOffGM2
	}
	b.wet((s1 - s0) * p.hours)
	b.peak(at)
}

func (b *balance) evaporate(t0 int64, p piece, s0, s1 float64) {
	if b.mass == 0 {
		return
	}
	b.peak(t0 + int64(s0*p.hours*float64(hourMS)))
	lost := -p.mass(s0, s1)
	if lost < b.mass {
		b.mass -= lost
		b.lose(lost)
		b.wet((s1 - s0) * p.hours)
		return
	}
	end := p.emptied(s0, s1, b.mass)
	b.lose(b.mass)
	b.mass = 0
	b.wet((end - s0) * p.hours)
	b.endFilm(t0+int64(end*p.hours*float64(hourMS)), EndDried)
}

func (b *balance) lose(mass float64) {
	b.res.EvaporatedGM2 += mass
}

func (b *balance) wet(hours float64) {
	b.res.WetH += hours
	b.night.WetH += hours
	if b.frozen {
		b.res.FrostH += hours
	}
}

func (b *balance) peak(ms int64) {
	m := b.mass
	if m > b.night.PeakGM2 {
		b.night.PeakGM2, b.night.PeakMS = m, ms
	}
	if m > b.res.PeakGM2 {
		b.res.PeakGM2, b.res.PeakMS = m, ms
	}
	if b.frozen && m > b.res.PeakFrostGM2 {
		b.res.PeakFrostGM2 = m
	}
	if b.film != nil && m > b.film.PeakGM2 {
		b.film.PeakGM2, b.film.PeakMS = m, ms
	}
}

func (b *balance) endFilm(ms int64, end FilmEnd) {
	if b.film == nil {
		return
	}
	b.film.UntilMS, b.film.End = ms, end
	if b.film.PeakGM2 >= b.s.WettedGM2 {
		b.res.Films = append(b.res.Films, *b.film)
	}
	b.film = nil
}

// piece is a rate g0 + b s + c s^2 in g/(m2 h), s from 0 to 1 over its hours.
type piece struct{ hours, g0, b, c float64 }

func (p piece) rate(s float64) float64 { return p.g0 + s*(p.b+s*p.c) }

// mass is the integral of the rate from s0 to s1, in g/m2.
func (p piece) mass(s0, s1 float64) float64 {
	whole := func(s float64) float64 { return s * (p.g0 + s*(p.b/2+s*p.c/3)) }
	return p.hours * (whole(s1) - whole(s0))
}

// risesAboveZero says whether the rate is above zero somewhere inside, given
// that it is not at the ends.
func (p piece) risesAboveZero() bool {
	if p.c >= 0 {
		return false
	}
	top := -p.b / (2 * p.c)
	return top > 0 && top < 1 && p.rate(top) > 0
}

// roots are the zeros of the rate inside (0, 1) in order; one that is not there
// is 0.
func (p piece) roots() (r1, r2 float64) {
	inside := func(s float64) float64 {
		if s > 0 && s < 1 {
			return s
		}
		return 0
	}
	d := p.b*p.b - 4*p.c*p.g0
	if d < 0 {
		return 0, 0
	}
	// The stable form: no cancellation where c is nearly 0.
	q := -0.5 * (p.b + math.Copysign(math.Sqrt(d), p.b))
	var a, b float64
	if q != 0 {
		b = inside(p.g0 / q)
	}
	if p.c != 0 {
		a = inside(q / p.c)
	}
	return min(a, b), max(a, b)
}

// emptied is where between s0 and s1 a film of the mass is gone, on a stretch
// where the rate is below zero throughout: bisection, to 1e-9 of the stretch.
func (p piece) emptied(s0, s1, mass float64) float64 {
	low, high := s0, s1
	for range 30 {
		mid := (low + high) / 2
		if -p.mass(s0, mid) < mass {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
