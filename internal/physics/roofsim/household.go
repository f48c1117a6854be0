package roofsim

import (
	"math"
	"math/rand/v2"
	"time"
)

// living is what the household does, on the step grid.
type living struct {
	moistureKgS []float64
	windowM2    []float64
	fanM3S      []float64
	setC        []float64
	gainsW      []float64
	away        []bool
}

// Vapour given off, g/h: an adult at rest 40..60, asleep about 35 (common
// figures; table moisture_generation.csv, physics section 11).
const (
	adultAwakeGH  = 52
	adultAsleepGH = 35
)

// makeLiving draws days of a household: who is home, baths, pots, washing on
// the rack, windows, the thermostat, journeys and guests.
func makeLiving(w *World, steps int, stepS float64) *living {
	hh := &w.Household
	r := rand.New(rand.NewPCG(w.Seed, 0x40e5e))
	zone, err := time.LoadLocation(w.Climate.Zone)
	if err != nil {
		zone = time.UTC
	}
	l := &living{moistureKgS: make([]float64, steps), windowM2: make([]float64, steps), fanM3S: make([]float64, steps),
		setC: make([]float64, steps), gainsW: make([]float64, steps), away: make([]bool, steps)}
	days := int(float64(steps)*stepS/86400) + 2
	awayDay, guests := make([]bool, days+12), make([]int, days+12)
	for d := 0; d < days; d++ {
		if r.Float64() < hh.AbsencesPer100D/100 {
			for k := range 2 + r.IntN(8) {
				awayDay[d+min(k, 11)] = true
			}
		}
		if r.Float64() < hh.GuestsPer100D/100 {
			n := 1 + r.IntN(3)
			for k := range 2 + r.IntN(4) {
				guests[d+k] = n
			}
		}
	}
	// pour spreads grams over a span of local hours of a day.
	_, firstOff := w.Start.In(zone).Zone()
	localStart := float64(w.Start.UTC().Hour())*3600 + float64(w.Start.UTC().Minute())*60 + float64(firstOff)
	pour := func(to []float64, day int, fromH, lenH, total float64) {
		from := (float64(day)*24+fromH)*3600 - localStart
		a, b := int(from/stepS), int((from+lenH*3600)/stepS)
		if b <= a {
			b = a + 1
		}
		per := total / (float64(b-a) * stepS)
		for k := max(a, 0); k < min(b, steps); k++ {
			to[k] += per
		}
	}
	fill := func(to []float64, day int, fromH, toH, value float64) {
		a := int(((float64(day)*24+fromH)*3600 - localStart) / stepS)
		b := int(((float64(day)*24+toH)*3600 - localStart) / stepS)
		for k := max(a, 0); k < min(b, steps); k++ {
			to[k] = value
		}
	}
	people := float64(hh.Adults) + 0.7*float64(hh.Children)
	for d := range days {
		weekend := (int(w.Start.In(zone).Weekday())+d)%7 == 0 || (int(w.Start.In(zone).Weekday())+d)%7 == 6
		factor, warmer := 1.0, 0.0
		if hh.NewRoutineDay > 0 && float64(d) >= hh.NewRoutineDay {
			factor, warmer = hh.NewRoutineFactor, hh.NewSetC
		}
		rise, out := 6.3+r.Float64(), 8.2+0.7*r.Float64()
		home, bed := 16.5+1.8*r.Float64(), 22.3+1.2*r.Float64()
		if weekend {
			rise, out, home = rise+1.3, 13, 15.5+r.Float64()
		}
		atHome := hh.HomeByDay || (weekend && r.Float64() < 0.5)
		empty := awayDay[d]
		n := people + float64(guests[d])
		setDay, setNight := hh.SetDayC+warmer, hh.SetNightC+warmer
		if empty {
			n, setDay, setNight = 0, math.Min(14, setNight), math.Min(13, setNight)
		}
		add := func(fromH, toH, grams float64) { pour(l.moistureKgS, d, fromH, toH-fromH, factor*grams/1000) }
		if n > 0 {
			add(0, rise, n*adultAsleepGH*rise)
			add(rise, out, n*adultAwakeGH*(out-rise))
			share := 0.0
			if atHome {
				share = 0.6
			}
			if share > 0 {
				add(out, home, share*n*adultAwakeGH*(home-out))
			}
			add(home, bed, n*adultAwakeGH*(bed-home))
			add(bed, 24, n*adultAsleepGH*(24-bed))
			kept := 1 - hh.ExtractShare
			showers := hh.ShowersPerDay * n / math.Max(people, 1)
			for range poisson(r, showers) {
				at := rise + 0.2 + 0.8*r.Float64()
				if r.Float64() < 0.35 {
					at = bed - 1.5 + r.Float64()
				}
				add(at, at+0.4, kept*hh.ShowerG*(0.6+0.8*r.Float64()))
				if hh.ExtractShare > 0 {
					pour(l.fanM3S, d, at, 0.6, 0.015*0.6*3600)
				}
			}
			add(rise+1, bed, hh.HousekeepingG*math.Sqrt(n/math.Max(people, 1)))
			cook := hh.CookingGPerDay * math.Sqrt(n/math.Max(people, 1))
			add(home+0.8, home+1.7, kept*0.65*cook*(0.6+0.8*r.Float64()))
			add(rise+0.3, rise+0.7, kept*0.15*cook)
			if weekend || atHome {
				add(12, 12.8, kept*0.3*cook)
			}
			if r.Float64() < hh.LaundryPerWeek/7 {
				at := 9 + 9*r.Float64()
				add(at, at+9, hh.LaundryG*(0.7+0.6*r.Float64()))
			}
			if hh.WindowMinPerDay > 0 {
				m := hh.WindowMinPerDay * (0.4 + 1.2*r.Float64()) / 60
				pour(l.windowM2, d, rise+0.5+r.Float64(), m, hh.WindowM2*m*3600)
				if r.Float64() < 0.4 {
					pour(l.windowM2, d, home+1.8, m/2, hh.WindowM2*m/2*3600)
				}
			}
		}
		pour(l.moistureKgS, d, 0, 24, factor*hh.PlantsGH*24/1000)
		if g := w.House.DryingKgDay; g > 0 {
			pour(l.moistureKgS, d, 0, 24, g*math.Exp(-float64(d)/w.House.DryingTauD))
		}
		fill(l.setC, d, 0, rise-0.7, setNight)
		fill(l.setC, d, rise-0.7, bed, setDay)
		fill(l.setC, d, bed, 24, setNight)
		pour(l.gainsW, d, 0, 24, (120+70*n)*86400)
		if empty {
			from := int((float64(d)*86400 - localStart) / stepS)
			for k := max(from, 0); k < min(from+int(86400/stepS), steps); k++ {
				l.away[k] = true
			}
		}
	}
	return l
}

func poisson(r *rand.Rand, mean float64) int {
	limit, p, n := math.Exp(-mean), 1.0, 0
	for {
		if p *= r.Float64(); p <= limit {
			return n
		}
		n++
	}
}
