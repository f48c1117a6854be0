// Package outlook estimates in the evening how likely water is to form on a
// surface overnight. The probability rests on the day's course and on this
// roof's recent nights, learnt night by night on top of a general model.
// Nothing is assumed about the weather to come unless a forecast is given.
package outlook

import (
	"math"
	"time"

	"gonum.org/v1/gonum/mat"

	"dewcase/internal/reason/evidence"
)

// Course is one surface by the hour; NaN where not observed.
type Course struct {
	FromMS      int64
	Zone        *time.Location // nights run noon to noon here
	WetH        []float64      // h of water in the hour, 0 where not observed
	ObservedH   []float64
	MarginK     []float64 // mean
	LimitC      []float64 // dew or frost point of the air that meets it
	OutdoorC    []float64
	OutdoorDewC []float64
}

// Forecast is what a weather service says of tonight.
type Forecast struct {
	MinC float64 // lowest outdoor temperature until noon
}

// Outlook is the chance of water from now until noon.
type Outlook struct {
	P           float64
	Climatology float64 // share of this roof's own nights with water; what one would say without looking
	LastNight   *bool   // nil not observed
	Nights      int     // of its own that were learnt from
}

const hourMS = evidence.HourMS

// minSeenShare is how much of a night must be observed to count as dry.
const minSeenShare = 0.7

// Tonight returns the outlook at a time of the course; ok is false where the
// surface was not observed in the last hours. It uses nothing from after now.
func Tonight(c Course, now time.Time, f *Forecast) (o Outlook, ok bool) {
	i := int((now.UnixMilli() - c.FromMS) / hourMS)
	x, ok := c.Features(i, f)
	if !ok {
		return o, false
	}
	m := general
	if f != nil {
		m = withForecast
	}
	var rows [][]float64
	var wet []float64
	o.Climatology = 0.5
	n, w := 0.0, 0.0
	for d := 1; ; d++ {
		j := c.daysBefore(now, d)
		if j < 0 {
			break
		}
		label, known := c.label(j, i)
		if d == 1 && known {
			o.LastNight = &label
		}
		if !known {
			continue
		}
		n++
		y := 0.0
		if label {
			y = 1
			w++
		}
		var then *Forecast
		if f != nil { // what a good forecast would have said then
			then = c.lowest(j, i)
		}
		if z, ok := c.Features(j, then); ok {
			rows, wet = append(rows, m.scaled(z)), append(wet, y)
		}
	}
	o.Climatology, o.Nights = (w+0.5)/(n+1), int(n)
	beta := m.learn(rows, wet)
	o.P = clamp(trust*logistic(dot(beta, m.scaled(x))) + (1-trust)*o.Climatology)
	return o, true
}

// trust is the weight of the day's course against the roof's own share of wet
// nights: simulated roofs are more regular than real ones, so that what was
// learnt on them claims too much. Chosen, with the stiffness, on the first of
// two winters of two measured roofs; the second judges it.
const trust = 0.6

// lowest is the night's lowest outdoor temperature from row i to noon, seen from
// row now.
func (c Course) lowest(i, now int) *Forecast {
	low := math.Inf(1)
	for j := i; j < min(c.noonAfter(i), now, len(c.OutdoorC)); j++ {
		if !math.IsNaN(c.OutdoorC[j]) {
			low = min(low, c.OutdoorC[j])
		}
	}
	if math.IsInf(low, 0) {
		return nil
	}
	return &Forecast{MinC: low}
}

// clamp keeps a chance from claiming certainty that some twenty nights cannot
// give.
func clamp(p float64) float64 { return min(max(p, 0.01), 0.99) }

// daysBefore is the row of the same clock hour some days ago, -1 before the
// course.
func (c Course) daysBefore(now time.Time, d int) int {
	t := now.In(c.Zone).AddDate(0, 0, -d)
	ms := t.UnixMilli() - c.FromMS
	if ms < 0 {
		return -1
	}
	return int(ms / hourMS)
}

// Became says whether the night after a time was wet, from the whole course;
// known is false where it was not observed well enough.
func (c Course) Became(at time.Time) (wet, known bool) {
	return c.label(int((at.UnixMilli()-c.FromMS)/hourMS), len(c.WetH))
}

// label says whether the night from row i until noon was wet, seen from row now.
func (c Course) label(i, now int) (wet, known bool) {
	end := c.noonAfter(i)
	if end > now || end > len(c.WetH) {
		return false, false
	}
	w, seen := 0.0, 0.0
	for j := i; j < end; j++ {
		w += c.WetH[j]
		seen += c.ObservedH[j]
	}
	if evidence.WetNight(w) {
		return true, true
	}
	return false, seen >= minSeenShare*float64(end-i)
}

// noonAfter is the row of the next noon.
func (c Course) noonAfter(i int) int {
	night := evidence.NightOf(time.UnixMilli(c.FromMS+int64(i)*hourMS), c.Zone)
	return int((night.UntilMS - c.FromMS) / hourMS)
}

// What a chance rests on. All of it is known at the time.
const (
	fBias       = iota
	fShare      // log odds of the last seven nights
	fLast       // last night: -1 dry, 1 wet, 0 not known
	fMargin     // K, mean of the last three hours
	fMarginStep // K, against the same hours yesterday
	fDry        // K, outdoor temperature above its dew point
	fCooling    // K, outdoor temperature against the same hours yesterday
	fDamper     // K, limit of the air at the surface against yesterday
	fLowest     // K, lowest hourly margin of the last day
	fFall       // K, forecast minimum against now
	features
)

// Features returns what the chance at row i rests on, NaN where it is not known.
// The trials fit the general coefficients to it.
func (c Course) Features(i int, f *Forecast) ([]float64, bool) {
	if i < 3 || i > len(c.WetH) {
		return nil, false
	}
	margin, ok := mean(c.MarginK, i-3, i)
	if !ok {
		return nil, false
	}
	x := make([]float64, features)
	for k := range x {
		x[k] = math.NaN()
	}
	x[fBias] = 1
	x[fMargin] = min(max(margin, -4), 12)
	if before, ok := mean(c.MarginK, i-27, i-24); ok {
		x[fMarginStep] = min(max(margin-before, -8), 8)
	}
	out, okOut := mean(c.OutdoorC, i-3, i)
	if dew, ok := mean(c.OutdoorDewC, i-3, i); ok && okOut {
		x[fDry] = min(max(out-dew, 0), 12)
	}
	if before, ok := mean(c.OutdoorC, i-27, i-24); ok && okOut {
		x[fCooling] = min(max(out-before, -10), 10)
	}
	limit, okLimit := mean(c.LimitC, i-3, i)
	if before, ok := mean(c.LimitC, i-27, i-24); ok && okLimit {
		x[fDamper] = min(max(limit-before, -8), 8)
	}
	low := math.NaN()
	for j := max(0, i-24); j < i; j++ {
		if !math.IsNaN(c.MarginK[j]) && !(c.MarginK[j] > low) {
			low = c.MarginK[j]
		}
	}
	x[fLowest] = min(max(low, -4), 8)
	w, n := 0.0, 0.0
	now := time.UnixMilli(c.FromMS + int64(i)*hourMS)
	for d := 1; d <= 7; d++ {
		j := c.daysBefore(now, d)
		if j < 0 {
			break
		}
		wet, known := c.label(j, i)
		if !known {
			continue
		}
		n++
		if wet {
			w++
		}
		if d == 1 {
			x[fLast] = -1
			if wet {
				x[fLast] = 1
			}
		}
	}
	x[fShare] = math.Log((w + 0.5) / (n - w + 0.5))
	if f != nil && okOut {
		x[fFall] = min(max(f.MinC-out, -15), 8)
	}
	return x, true
}

// mean of at least two observed hours of [from, until).
func mean(x []float64, from, until int) (float64, bool) {
	s, n := 0.0, 0
	for j := max(0, from); j < until && j < len(x); j++ {
		if !math.IsNaN(x[j]) {
			s += x[j]
			n++
		}
	}
	return s / float64(max(n, 1)), n >= 2
}

// model is a logistic regression over standardised features:
//
//	P = 1 / (1 + exp(-beta . z)),  z = (x - centre) / scale
//
// An absent feature counts as the centre. Beta is the mean of many simulated
// roofs, and stiff the precision (1/variance) with which a roof's own nights
// may move it.
type model struct {
	centre, scale, beta [features]float64
	stiff               float64
}

func (m *model) scaled(x []float64) []float64 {
	z := make([]float64, features)
	for k := range z {
		if k == fBias {
			z[k] = 1
			continue
		}
		if !math.IsNaN(x[k]) && m.scale[k] > 0 {
			z[k] = (x[k] - m.centre[k]) / m.scale[k]
		}
	}
	return z
}

// learn moves the general coefficients by a roof's own nights: the maximum of
// the posterior with a normal prior, by Newton's steps.
func (m *model) learn(rows [][]float64, wet []float64) []float64 {
	beta := m.beta[:]
	out := append([]float64(nil), beta...)
	if len(rows) == 0 {
		return out
	}
	for range 12 {
		grad := make([]float64, features)
		hess := mat.NewSymDense(features, nil)
		for k := range out {
			grad[k] = m.stiff * (beta[k] - out[k])
			hess.SetSym(k, k, m.stiff)
		}
		for r, z := range rows {
			p := logistic(dot(out, z))
			for a := range z {
				grad[a] += (wet[r] - p) * z[a]
				for b := a; b < features; b++ {
					hess.SetSym(a, b, hess.At(a, b)+p*(1-p)*z[a]*z[b])
				}
			}
		}
		var chol mat.Cholesky
		if !chol.Factorize(hess) {
			return append([]float64(nil), beta...)
		}
		var step mat.VecDense
		if chol.SolveVecTo(&step, mat.NewVecDense(features, grad)) != nil {
			return append([]float64(nil), beta...)
		}
		far := 0.0
		for k := range out {
			out[k] += step.AtVec(k)
			far = max(far, math.Abs(step.AtVec(k)))
		}
		if far < 1e-6 {
			break
		}
	}
	return out
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }
