package abroad

import (
	"math"
	"math/rand/v2"
	"time"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/roofsim"
)

const kelvin = 273.15

// spell is a kind of weather that lasts for some days.
type spell struct {
	cloud  float64 // share of the sky
	wind   float64 // over the climate's
	warmth float64 // of the air mass, in its standard deviations
	dry    float64 // dew-point depression over the climate's
	rain   float64 // over the climate's
	days   float64 // mean length
	clear  float64 // how far a cloudy climate is without it
}

// spells are judgement: what a forecaster of north-west Europe would list.
var spells = []spell{
	{0.08, 0.6, -0.9, 1.1, 0, 2.5, 1},      // anticyclone, clear
	{0.97, 0.5, -0.2, 0.6, 0.05, 2, -0.5},  // anticyclone, gloom
	{0.95, 1.4, 0.8, 0.7, 3, 1, -1},        // front
	{0.55, 1.4, -0.3, 1.2, 1.3, 1.5, 0},    // showers behind it
	{0.85, 1.0, 1.0, 0.6, 0.8, 2, -1},      // mild and moist
	{0.35, 0.8, -1.6, 1.6, 0.1, 2.5, 0.5},  // cold and dry
	{0.45, 0.5, -0.4, 0.5, 0.1, 1.5, 0.25}, // broken cloud, fog by night
}

// weather is the outdoor course on the step grid.
type weather struct {
	tempC, vapourPa, cloud, windMS, rainMM, skyC, sunWM2 []float64
	slopeSun                                             [2][]float64
	lean                                                 []float64 // of the wind towards or from the roof, -1..1
}

// drawWeather draws the course of a winter.
func drawWeather(w *roofsim.World, n int, dt float64, by *constants) *weather {
	c := &w.Climate
	r := rand.New(rand.NewPCG(w.Seed, 0xab20ad))
	x := &weather{}
	for _, f := range []*[]float64{&x.tempC, &x.vapourPa, &x.cloud, &x.windMS, &x.rainMM, &x.skyC, &x.sunWM2, &x.lean,
		&x.slopeSun[0], &x.slopeSun[1]} {
		*f = make([]float64, n)
	}
	choose := func() spell {
		weight, sum := make([]float64, len(spells)), 0.0
		for i, s := range spells {
			weight[i] = math.Exp(-2.5 * s.clear * (c.CloudBias - 0.25))
			sum += weight[i]
		}
		u := r.Float64() * sum
		for i, w := range weight {
			if u -= w; u <= 0 {
				return spells[i]
			}
		}
		return spells[0]
	}
	now, left := choose(), 0.0
	cloud, wind, warmth, dry := now.cloud, now.wind, now.warmth, now.dry
	dew := math.NaN()
	wet, lean := 0.0, 0.0
	day := -1
	var least, most float64
	for k := range n {
		at := w.Start.Add(time.Duration(float64(k) * dt * float64(time.Second)))
		hours := dt / 3600
		if left -= hours; left <= 0 {
			now, left = choose(), 24*math.Max(0.3, now.days*r.ExpFloat64())
		}
		follow := func(x *float64, to, tauH float64) { *x += (to - *x) * math.Min(1, hours/tauH) }
		follow(&cloud, now.cloud+0.18*r.NormFloat64()*math.Sqrt(2/hours), 2)
		cloud = math.Min(math.Max(cloud, 0), 1)
		follow(&wind, now.wind*math.Exp(0.5*r.NormFloat64()*math.Sqrt(1.5/hours)*0.5), 1.5)
		wind = math.Min(math.Max(wind, 0.03), 4)
		follow(&warmth, now.warmth, 14)
		follow(&dry, now.dry, 8)
		follow(&lean, 0.9*r.NormFloat64()*math.Sqrt(10/hours), 10)
		season := float64(at.AddDate(0, 0, -c.DaysAhead).YearDay())
		solar := math.Mod(float64(at.Hour())+float64(at.Minute())/60+c.LonDeg/15+24, 24)
		decl := -23.45 * math.Pi / 180 * math.Cos(2*math.Pi*(season+10)/365)
		lat := c.LatDeg * math.Pi / 180
		half := math.Acos(math.Min(math.Max(-math.Tan(lat)*math.Tan(decl), -1), 1)) * 12 / math.Pi
		mass := c.MeanC - c.SwingC*math.Cos(2*math.Pi*(season-20)/365) + c.SynopticC*warmth
		if float64(k)*dt/86400 >= c.ShiftDay {
			mass += c.SecondHalfC
		}
		noon := math.Sin(lat)*math.Sin(decl) + math.Cos(lat)*math.Cos(decl)
		if d := at.YearDay(); d != day {
			day = d
			reach := (1.5 + 8.5*(1-cloud)*(0.5+0.5*noon)) / (1 + 0.12*wind*c.WindMS)
			least, most = mass-0.55*reach, mass+0.45*reach
		}
		temp := dayCurve(solar, half, least, most)
		if k > 0 { // days join without a step
			temp = x.tempC[k-1] + (temp-x.tempC[k-1])*math.Min(1, hours/0.7)
		}
		want := math.Min(mass, temp+4) - by.dewFall*(most-least) - 1.2*c.DepressionK*dry
		if math.IsNaN(dew) {
			dew = want
		}
		follow(&dew, want, 9)
		dew = math.Min(dew, temp-0.1)
		if now.rain > 0 && wet <= 0 && r.Float64() < 0.045*now.rain*hours*3 {
			wet = (0.5 + 2.5*r.ExpFloat64())
		}
		if wet -= hours; wet > 0 {
			x.rainMM[k] = c.RainMMDay / 3.2 * hours * (0.4 + 1.2*r.Float64())
			dew += (temp - 0.6 - dew) * 0.03
		}
		x.tempC[k], x.vapourPa[k], x.cloud[k], x.lean[k] = temp, psychro.SatWaterPa(dew), cloud, math.Tanh(lean)
		x.windMS[k] = wind * c.WindMS
		if noonSun(solar, half) <= 0 { // nights are calmer, clear ones most
			x.windMS[k] *= 1 - by.nightsCalm*(1-cloud)
		}
		x.skyC[k] = skyC(temp, x.vapourPa[k], cloud, by.cloudSky)
		hour := (solar - 12) * math.Pi / 12
		up := math.Sin(lat)*math.Sin(decl) + math.Cos(lat)*math.Cos(decl)*math.Cos(hour)
		if up > 0.02 {
			global := 1098 * up * math.Exp(-0.057/up) * (1 - 0.75*math.Pow(cloud, 3.4)) // Haurwitz; Kasten and Czeplak
			diffuse := global * math.Min(1, 0.25+0.8*cloud)
			x.sunWM2[k] = global
			beam := math.Min((global-diffuse)/up, 900)
			azimuth := math.Atan2(math.Sin(hour), math.Cos(hour)*math.Sin(lat)-math.Tan(decl)*math.Cos(lat)) + math.Pi
			pitch := w.House.PitchDeg * math.Pi / 180
			for s := range 2 {
				face := w.House.AzimuthDeg*math.Pi/180 + float64(s)*math.Pi
				on := up*math.Cos(pitch) + math.Sqrt(1-up*up)*math.Sin(pitch)*math.Cos(azimuth-face)
				x.slopeSun[s][k] = beam*math.Max(on, 0) + diffuse*(1+math.Cos(pitch))/2
			}
		}
	}
	return x
}

// noonSun is how far into the day it is: above 0 between sunrise and sunset.
func noonSun(solar, half float64) float64 { return half - math.Abs(solar-12) }

// dayCurve is the temperature at an hour of the sun by Parton and Logan (1981): a
// sine by day that peaks 1.8 h after noon, and a decay by night.
func dayCurve(solar, half, least, most float64) float64 {
	const lag, decay = 1.8, 2.2
	rise, set := 12-half, 12+half
	atSet := least + (most-least)*math.Sin(math.Pi*2*half/(2*half+2*lag))
	if solar >= rise && solar <= set {
		return least + (most-least)*math.Sin(math.Pi*(solar-rise)/(2*half+2*lag))
	}
	since, night := math.Mod(solar-set+24, 24), 24-2*half
	floor := (least - atSet*math.Exp(-decay)) / (1 - math.Exp(-decay))
	return floor + (atSet-floor)*math.Exp(-decay*since/night)
}

// skyC is the radiative temperature of the sky: Prata 1996 for the clear one,
// Unsworth and Monteith 1975 for cloud, of which so much counts.
func skyC(airC, vapourPa, cloud, counts float64) float64 {
	w := 46.5 * vapourPa / 100 / (airC + kelvin)
	clear := 1 - (1+w)*math.Exp(-math.Sqrt(1.2+3*w))
	e := clear*(1-counts*cloud) + counts*cloud
	return (airC+kelvin)*math.Sqrt(math.Sqrt(e)) - kelvin
}
