package abroad

import (
	"math"
	"math/rand/v2"
	"time"

	"dewcase/internal/physics/roofsim"
)

// living is what the household does, on the step grid.
type living struct {
	moistureKgS, setC, windowM2 []float64
	away                        []bool
}

// drawLiving draws a household by its timetable.
func drawLiving(w *roofsim.World, n int, dt float64) *living {
	h := &w.Household
	r := rand.New(rand.NewPCG(w.Seed, 0x11f3))
	l := &living{make([]float64, n), make([]float64, n), make([]float64, n), make([]bool, n)}
	perDay := int(86400 / dt)
	burst := func(from int, lengthH, grams float64) {
		m := max(int(lengthH*3600/dt), 1)
		for k := max(from, 0); k < min(from+m, n); k++ {
			l.moistureKgS[k] += grams / 1000 / float64(m) / dt
		}
	}
	zone, err := time.LoadLocation(w.Climate.Zone)
	if err != nil {
		zone = time.UTC
	}
	_, offset := w.Start.In(zone).Zone()
	hourOf := func(k int) float64 {
		return math.Mod(float64(w.Start.Hour())+float64(offset)/3600+float64(k)*dt/3600, 24)
	}
	people := float64(h.Adults) + 0.6*float64(h.Children)
	gone, guests := 0, 0
	for from := 0; from < n; from += perDay {
		d := from / perDay
		weekend := d%7 >= 5
		if gone--; gone < 0 && r.Float64() < h.AbsencesPer100D/100 {
			gone = 2 + r.IntN(7)
		}
		if guests--; guests < 0 && r.Float64() < h.GuestsPer100D/100 {
			guests = 1 + r.IntN(4)
		}
		heads := people
		if guests >= 0 {
			heads += 2
		}
		factor, warmer := 1.0, 0.0
		if h.NewRoutineDay > 0 && float64(d) >= h.NewRoutineDay {
			factor, warmer = h.NewRoutineFactor, h.NewSetC
		}
		at := func(hour float64) int {
			return from + int(math.Mod(hour-hourOf(from)+24, 24)*3600/dt)
		}
		if gone < 0 {
			kept := factor * (1 - h.ExtractShare)
			share := heads / people
			for range int(math.Round(h.ShowersPerDay*share + r.Float64() - 0.5)) {
				hour := 6.8 + 0.8*r.NormFloat64()
				if r.Float64() < 0.4 {
					hour = 21 + r.NormFloat64()
				}
				burst(at(hour), 0.5, kept*h.ShowerG)
			}
			burst(at(7.3), 0.4, kept*0.2*h.CookingGPerDay)
			burst(at(17.7+1.2*r.Float64()), 1, kept*0.6*h.CookingGPerDay*(0.6+0.8*r.Float64()))
			if weekend || h.HomeByDay {
				burst(at(12.2), 0.7, kept*0.3*h.CookingGPerDay)
			}
			if r.Float64() < h.LaundryPerWeek/7 {
				burst(at(9+8*r.Float64()), 10, factor*h.LaundryG)
			}
			burst(at(8), 13, factor*h.HousekeepingG)
		}
		for k := from; k < min(from+perDay, n); k++ {
			hour := hourOf(k)
			asleep := hour < 6.5 || hour > 22.8
			in := asleep || hour < 8.3 || hour > 16.8 || weekend || h.HomeByDay
			l.away[k] = gone >= 0
			l.setC[k] = h.SetDayC + warmer
			if asleep {
				l.setC[k] = h.SetNightC + warmer
			}
			switch {
			case gone >= 0:
				l.setC[k] = math.Min(l.setC[k], 14)
			case in:
				l.moistureKgS[k] += factor * heads * 45e-3 / 3600
			}
			l.moistureKgS[k] += h.PlantsGH / 1000 / 3600
			l.moistureKgS[k] += w.House.DryingKgDay / 86400 * math.Exp(-float64(k)*dt/86400/math.Max(w.House.DryingTauD, 1))
			if gone < 0 && hour > 7.2 && hour < 7.2+h.WindowMinPerDay/60 {
				l.windowM2[k] = h.WindowM2
			}
		}
	}
	return l
}
