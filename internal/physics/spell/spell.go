// Package spell cuts the tracks of a surface and the air that meets it into
// short spells of constant temperature and humidity, the input of the slow
// models (mould, timber, corrosion). Gaps are left out.
package spell

import (
	"errors"
	"fmt"
	"math"
	"time"

	"dewcase/internal/physics/psychro"
)

// ErrInput is wrapped by every error about input that cannot be used.
var ErrInput = errors.New("cannot be cut into spells")

// Spell is a stretch of time at one temperature and humidity. A record is a
// list of spells in time order, without overlap; what no spell covers was not
// observed.
type Spell struct {
	FromMS, UntilMS int64   // Unix ms
	TempC           float64 // of the surface (or the air)
	RHPct           float64 // over liquid water, at the surface, 0..100
}

// Hours is the spell's length.
func (s Spell) Hours() float64 { return float64(s.UntilMS-s.FromMS) / 3.6e6 }

// Check says whether a record of spells can be used: in order, without overlap,
// each longer than nothing, -90..100 C and 0..100 %RH.
func Check(spells []Spell) error {
	for i, s := range spells {
		switch {
		case s.UntilMS <= s.FromMS:
			return fmt.Errorf("%w: spell %d at %s ends before it begins", ErrInput, i, at(s.FromMS))
		case i > 0 && s.FromMS < spells[i-1].UntilMS:
			return fmt.Errorf("%w: spell %d at %s begins before the one before it ends", ErrInput, i, at(s.FromMS))
		case !(s.TempC >= -90 && s.TempC <= 100) || !(s.RHPct >= 0 && s.RHPct <= 100):
			return fmt.Errorf("%w: spell at %s of %g C and %g %%RH, want -90..100 C and 0..100 %%", ErrInput, at(s.FromMS),
				s.TempC, s.RHPct)
		}
	}
	return nil
}

func at(ms int64) string { return time.UnixMilli(ms).UTC().Format(time.RFC3339) }

// ObservedH is the sum of the spells' hours.
func ObservedH(spells []Spell) float64 {
	var h float64
	for _, s := range spells {
		h += s.Hours()
	}
	return h
}

func along(ms []int64, v []float64, i int, t int64) float64 {
	if t == ms[i] {
		return v[i]
	}
	if t == ms[i+1] {
		return v[i+1]
	}
	f := float64(t-ms[i]) / float64(ms[i+1]-ms[i])
	return v[i] + f*(v[i+1]-v[i])
}

// Hourly cuts a surface's temperature (C) and the vapour pressure of the air
// that meets it (Pa), at common times and linear where joined, into one spell
// for each run of observation within an hour of the clock (UTC): the mean
// temperature, and the mean over its nodes' midpoints of the humidity that the
// air takes at the surface,
//
//	RH = 100 e / e_w(Ts), at most 100
//
// (EN ISO 13788:2012, eq. 3). Air against itself (its own temperature as the
// surface's) gives the air's spells.
func Hourly(atMS []int64, surfaceC, vapourPa []float64, joined []bool) ([]Spell, error) {
	n := len(atMS)
	if len(surfaceC) != n || len(vapourPa) != n || len(joined) != n {
		return nil, fmt.Errorf("%w: %d times but %d temperatures, %d vapour pressures and %d intervals", ErrInput,
			n, len(surfaceC), len(vapourPa), len(joined))
	}
	const hour = int64(3600e3)
	var out []Spell
	var sumT, sumRH, sumMS float64
	var s Spell
	flush := func() {
		if sumMS > 0 {
			s.TempC, s.RHPct = sumT/sumMS, math.Min(sumRH/sumMS, 100)
			out = append(out, s)
		}
		sumT, sumRH, sumMS = 0, 0, 0
	}
	for i := 0; i+1 < n; i++ {
		if atMS[i+1] <= atMS[i] {
			return nil, fmt.Errorf("%w: time %d (%s) does not follow the one before", ErrInput, i+1, at(atMS[i+1]))
		}
		if !joined[i] {
			flush()
			continue
		}
		for _, k := range [2]int{i, i + 1} {
			if !(surfaceC[k] >= -90 && surfaceC[k] <= 100) || !(vapourPa[k] >= 0 && vapourPa[k] <= 2e5) {
				return nil, fmt.Errorf("%w: %g C in air of %g Pa at %s, want -90..100 C and 0..200 kPa", ErrInput, surfaceC[k],
					vapourPa[k], at(atMS[k]))
			}
		}
		for t := atMS[i]; t < atMS[i+1]; {
			start := t - ((t%hour)+hour)%hour
			end := min(atMS[i+1], start+hour)
			if sumMS > 0 && (s.UntilMS != t || s.FromMS < start) {
				flush()
			}
			if sumMS == 0 {
				s.FromMS = t
			}
			mid := t + (end-t)/2
			ts, d := along(atMS, surfaceC, i, mid), float64(end-t)
			sumT += d * ts
			sumRH += d * math.Min(100, 100*along(atMS, vapourPa, i, mid)/psychro.SatWaterPa(ts))
			sumMS += d
			s.UntilMS = end
			t = end
		}
	}
	flush()
	return out, nil
}
