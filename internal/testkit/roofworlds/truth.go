package roofworlds

import (
	"time"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/roofsim"
)

// Hours is the truth of one surface over a span.
type Hours struct {
	Observed   float64 // h
	Condensing float64 // net vapour flow to the surface: margin <= 0
	AtRisk     float64 // margin <= 1 K, condensing included
	Frost      float64 // condensing below 0 C
	Film       float64 // water or frost lying on it
	DepositGM2 float64 // all that condensed, g/m2
	PeakGM2    float64 // thickest film
}

// span turns times into step indices; zero times are open.
func span(w *roofsim.Winter, from, until time.Time) (int, int) {
	a, b := 0, w.N
	if !from.IsZero() {
		a = int((from.Sub(w.Start) + w.Step - 1) / w.Step)
	}
	if !until.IsZero() {
		b = int((until.Sub(w.Start) + w.Step - 1) / w.Step)
	}
	return max(0, min(a, w.N)), max(0, min(b, w.N))
}

// CoverHours is the truth of a slope's covering underside against its void.
func CoverHours(w *roofsim.Winter, slope int, from, until time.Time) Hours {
	s := &w.Slope[slope]
	return hours(w, s.CoverC, s.VoidPa, s.CoverFilmGM2, s.CoverRateGM2H, from, until)
}

// UnderlayHours is the truth of a slope's underlay underside against the loft.
func UnderlayHours(w *roofsim.Winter, slope int, from, until time.Time) Hours {
	s := &w.Slope[slope]
	return hours(w, s.UnderlayC, w.LoftPa, s.UnderlayFilmGM2, s.UnderlayRateGM2H, from, until)
}

func hours(w *roofsim.Winter, surfaceC, airPa, filmGM2, rate []float64, from, until time.Time) Hours {
	a, b := span(w, from, until)
	var h Hours
	dt := w.Step.Hours()
	for k := a; k < b; k++ {
		h.Observed += dt
		t := surfaceC[k]
		margin := t - psychro.LimitC(airPa[k])
		if margin <= 1 {
			h.AtRisk += dt
		}
		if margin <= 0 {
			h.Condensing += dt
			if t < 0 {
				h.Frost += dt
			}
		}
		if filmGM2 != nil {
			if filmGM2[k] > 0 {
				h.Film += dt
			}
			if filmGM2[k] > h.PeakGM2 {
				h.PeakGM2 = filmGM2[k]
			}
			if rate[k] > 0 {
				h.DepositGM2 += rate[k] * dt
			}
		}
	}
	return h
}

// Mean is the mean of a course over a span.
func Mean(w *roofsim.Winter, course []float64, from, until time.Time) float64 {
	a, b := span(w, from, until)
	if b <= a {
		return 0
	}
	t := 0.0
	for _, v := range course[a:b] {
		t += v
	}
	return t / float64(b-a)
}

// ExcessPa is the mean vapour pressure of a course above outdoors.
func ExcessPa(w *roofsim.Winter, course []float64, from, until time.Time) float64 {
	return Mean(w, course, from, until) - Mean(w, w.OutdoorPa, from, until)
}
