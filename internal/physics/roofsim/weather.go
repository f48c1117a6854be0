package roofsim

import (
	"math"
	"math/rand/v2"
	"time"

	"dewcase/internal/physics/psychro"
)

// weather is the outdoor course on the step grid.
type weather struct {
	tempC, vapourPa []float64
	cloud, windMS   []float64
	dirDeg, rainMM  []float64 // rain within the step
	skyC            []float64
	sunWM2          []float64    // global, horizontal
	slopeSun        [2][]float64 // on each slope
	solarHour       []float64
}

// ar is an autoregressive process of order one with unit variance.
type ar struct{ x, keep, add float64 }

func newAR(tauH float64, r *rand.Rand) *ar {
	k := math.Exp(-1 / tauH)
	return &ar{x: r.NormFloat64(), keep: k, add: math.Sqrt(1 - k*k)}
}

func (a *ar) next(r *rand.Rand) float64 {
	a.x = a.keep*a.x + a.add*r.NormFloat64()
	return a.x
}

// phi is the normal distribution function.
func phi(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

// makeWeather draws the weather hour by hour and lays it on the grid.
//
// Air masses come and go on two time scales (about three and ten days); cloud
// lasts hours to days and goes with mild air and wind; the layer near the ground
// cools under a clear sky and warms in the sun, more so when it is calm; the dew
// point follows the air mass, is limited by what the cooled air can hold (the
// rest is left as dew or fog) and recovers within hours.
func makeWeather(w *World, steps int, stepS float64) *weather {
	c := &w.Climate
	r := rand.New(rand.NewPCG(w.Seed, 0x77ea7e4))
	hours := int(float64(steps)*stepS/3600) + 3
	ht := make([]float64, hours)
	hp := make([]float64, hours)
	hc := make([]float64, hours)
	hw := make([]float64, hours)
	hd := make([]float64, hours)
	hr := make([]float64, hours)
	fast, slow := newAR(70, r), newAR(240, r)
	c1, c2 := newAR(7, r), newAR(36, r)
	w1, w2 := newAR(10, r), newAR(50, r)
	dd, dir, dirFast := newAR(22, r), newAR(40, r), newAR(3, r)
	rn := newAR(4, r)
	ground := 0.0 // K, what the ground layer differs from the air mass
	dew := math.NaN()
	calmFog := 0.0
	for h := range hours {
		at := w.Start.Add(time.Duration(h) * time.Hour)
		day := float64(at.AddDate(0, 0, -c.DaysAhead).YearDay())
		solar := math.Mod(float64(at.Hour())+float64(at.Minute())/60+c.LonDeg/15+24, 24)
		s := sunAt(c.LatDeg, day, solar)
		spell := 0.8*fast.next(r) + 0.6*slow.next(r)
		mass := c.MeanC - c.SwingC*math.Cos(2*math.Pi*(day-18)/365) + c.SynopticC*spell
		if float64(h)/24 >= c.ShiftDay {
			mass += c.SecondHalfC
		}
		cl := 0.55*c1.next(r) + 0.84*c2.next(r)
		cloud := phi(1.7 * (cl + 0.25*spell + c.CloudBias))
		wind := c.WindMS * math.Exp(0.5*(0.7*w1.next(r)+0.7*w2.next(r)+0.3*cl))
		if s.cosZenith < 0 {
			wind *= 1 - 0.45*(1-cloud)
		}
		global, _ := irradiance(s, cloud)
		// The ground layer: 60 Wh/(m2 K) of it, relaxing to the air mass in hours
		// that shorten with wind. Values chosen for a clear calm winter night to
		// cool by 6 to 8 K, as is common.
		net := 0.5*global - 75*(1-0.88*cloud)
		mixed := 5.5 / (1 + wind/5)
		ground += net/60/(1+wind/6) - ground/mixed
		temp := mass + 1.6 + ground
		want := mass + 0.3*ground - c.DepressionK*math.Exp(0.45*dd.next(r))*(1.25-0.6*cloud)
		if math.IsNaN(dew) {
			dew = want
		}
		dew += (want - dew) / 6
		if dew > temp-0.15 {
			dew = temp - 0.15
			if wind < 2.2 {
				calmFog++
			}
		} else {
			calmFog = math.Max(0, calmFog-1.5)
		}
		if calmFog > 3 { // radiation fog closes the sky
			cloud = math.Max(cloud, 0.75)
		}
		rain := 0.0
		if z := rn.next(r) + 1.1*(cloud-0.95); z > 0.85 && cloud > 0.6 {
			rain = c.RainMMDay / 2.4 * r.ExpFloat64()
		}
		ht[h], hp[h], hc[h], hw[h], hr[h] = temp, psychro.SatWaterPa(dew), cloud, wind, rain
		hd[h] = c.PrevailingDeg + 75*dir.next(r) + 15*dirFast.next(r)
	}
	out := &weather{}
	for _, f := range []*[]float64{&out.tempC, &out.vapourPa, &out.cloud, &out.windMS, &out.dirDeg, &out.rainMM, &out.skyC,
		&out.sunWM2, &out.slopeSun[0], &out.slopeSun[1], &out.solarHour} {
		*f = make([]float64, steps)
	}
	pitch := w.House.PitchDeg * math.Pi / 180
	az := w.House.AzimuthDeg * math.Pi / 180
	gust := newAR(2, r) // step-to-step unrest of wind and cloud
	for k := range steps {
		x := float64(k) * stepS / 3600
		i := int(x)
		f := x - float64(i)
		mix := func(v []float64) float64 { return v[i]*(1-f) + v[i+1]*f }
		at := w.Start.Add(time.Duration(float64(k) * stepS * 1e9))
		solar := math.Mod(float64(at.Hour())+float64(at.Minute())/60+c.LonDeg/15+24, 24)
		g := gust.next(r)
		out.tempC[k], out.cloud[k] = mix(ht), mix(hc)
		out.vapourPa[k] = math.Min(mix(hp), 0.995*psychro.SatWaterPa(out.tempC[k]))
		out.windMS[k] = mix(hw) * math.Exp(0.2*g)
		out.dirDeg[k] = mix(hd) + 8*g
		out.rainMM[k] = hr[i] * stepS / 3600
		out.solarHour[k] = solar
		dewC, _ := psychro.DewPointC(math.Max(out.vapourPa[k], 1))
		out.skyC[k] = skyC(out.tempC[k], dewC, solar, out.cloud[k], c.CloudBaseTransmits)
		s := sunAt(c.LatDeg, float64(at.AddDate(0, 0, -c.DaysAhead).YearDay()), solar)
		global, diffuse := irradiance(s, out.cloud[k])
		out.sunWM2[k] = global
		out.slopeSun[SlopeA][k] = onPlane(s, global, diffuse, pitch, az)
		out.slopeSun[SlopeB][k] = onPlane(s, global, diffuse, pitch, az+math.Pi)
	}
	return out
}
