package roofsim

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/roof"
)

// Kit is a set of loggers as fitted by a consultant.
type Kit struct {
	Interval    time.Duration // 0: 5 min
	SecondSlope bool          // void and covering of the other slope are logged too
	Without     []roof.Place  // places that carry no logger
	Faults      Faults
	Swaps       []Swap
	CaseID      string // "": from cause and seed
	MainSlope   int    // of "void" and "slate"
}

// Swap is a logger replaced by another at a position.
type Swap struct {
	Position string
	At       time.Time
	Declared bool // in the case file, as a second logger; otherwise under the old name
}

// Faults are the errors and troubles of a kit. The zero value is perfect.
type Faults struct {
	TempLimitC, RHLimitPct float64 // maker's limits, as stated; true offsets are drawn evenly within them
	NoiseC, NoiseRHPct     float64 // of one reading, standard deviation
	ResolutionC, ResRHPct  float64 // rounding
	DriftRHPct100D         float64 // greatest drift of humidity, per 100 d
	DriftC100D             float64
	CreepRHPct             float64 // greatest creep of a humidity probe that stays over 90 %
	ContactShare           float64 // greatest share of air temperature in a covering probe
	LagMin                 float64 // greatest time constant of a humidity probe
	ClockOffset            time.Duration
	GapsPer100D, GapH      float64 // outages of a logger and their mean length
	StuckPer100D, StuckH   float64 // the humidity is stuck
	ClockWrongPer100D      float64 // spells of hours dated a year early
	LongGapChance          float64 // of one outage of 3..9 days
}

// FieldFaults are those of decent loggers in ordinary use.
func FieldFaults() Faults {
	return Faults{TempLimitC: 0.3, RHLimitPct: 2, NoiseC: 0.03, NoiseRHPct: 0.15, ResolutionC: 0.01, ResRHPct: 0.1,
		DriftRHPct100D: 1, CreepRHPct: 1.5, ContactShare: 0.08, LagMin: 12, ClockOffset: 90 * time.Second,
		GapsPer100D: 2, GapH: 5, StuckPer100D: 0.15, StuckH: 20}
}

// sensor is what is fitted at one position.
type sensor struct {
	position, logger string
	place            roof.Place
	meets            string
	tempC, vapourPa  []float64 // vapour nil: temperature only
	airC             []float64 // of a surface probe's surroundings
}

// Measured is what a kit reported and the case it belongs to.
type Measured struct {
	Case     *roof.Case
	Readings []roof.Reading // by logger, then time as the logger's clock says
	Slope    int            // of "void" and "slate"
}

// Measure reads the winter with the kit. The same seed gives the same readings.
func (kit Kit) Measure(w *Winter, seed uint64) *Measured {
	if kit.Interval <= 0 {
		kit.Interval = 5 * time.Minute
	}
	m := &Measured{Slope: kit.MainSlope}
	sensors := kit.sensors(w, m.Slope)
	m.Case = kit.makeCase(w, sensors, m.Slope)
	for i, s := range sensors {
		r := rand.New(rand.NewPCG(seed, 0x10663+uint64(i)))
		m.Readings = append(m.Readings, kit.read(w, s, r)...)
	}
	return m
}

// Of lists one logger's readings.
func (m *Measured) Of(logger string) []roof.Reading {
	var out []roof.Reading
	for _, r := range m.Readings {
		if r.Logger == logger {
			out = append(out, r)
		}
	}
	return out
}

func (kit Kit) sensors(w *Winter, slope int) []sensor {
	s, o := &w.Slope[slope], &w.Slope[1-slope]
	all := []sensor{
		{position: "landing", logger: "k1-landing", place: roof.IndoorAir, tempC: w.IndoorC, vapourPa: w.IndoorPa},
		{position: "loft", logger: "k2-loft", place: roof.LoftAir, tempC: w.LoftC, vapourPa: w.LoftPa},
		{position: "underlay", logger: "k3-underlay", place: roof.UnderlayUnderside, meets: "loft", tempC: s.UnderlayC,
			airC: w.LoftC},
		{position: "void", logger: "k4-void", place: roof.BattenVoidAir, tempC: s.VoidC, vapourPa: s.VoidPa},
		{position: "slate", logger: "k5-slate", place: roof.CoveringUnderside, meets: "void", tempC: s.CoverC, airC: s.VoidC},
		{position: "outside", logger: "k6-outside", place: roof.OutdoorAir, tempC: w.OutdoorC, vapourPa: w.OutdoorPa},
	}
	if kit.SecondSlope {
		all = append(all,
			sensor{position: "void-2", logger: "k7-void", place: roof.BattenVoidAir, tempC: o.VoidC, vapourPa: o.VoidPa},
			sensor{position: "slate-2", logger: "k8-slate", place: roof.CoveringUnderside, meets: "void-2", tempC: o.CoverC,
				airC: o.VoidC})
	}
	return slices.DeleteFunc(all, func(s sensor) bool { return slices.Contains(kit.Without, s.place) })
}

// instrument is one specimen with its own errors.
type instrument struct {
	tempOff, rhOff, driftRH, driftT, creepMax, contact float64
	lag                                                time.Duration
	clock                                              time.Duration
}

func (f *Faults) specimen(r *rand.Rand) instrument {
	even := func(x float64) float64 { return x * (2*r.Float64() - 1) }
	return instrument{tempOff: even(f.TempLimitC), rhOff: even(f.RHLimitPct), driftRH: even(f.DriftRHPct100D),
		driftT:   even(f.DriftC100D),
		creepMax: f.CreepRHPct * r.Float64(), contact: f.ContactShare * r.Float64(),
		lag: time.Duration(f.LagMin * r.Float64() * float64(time.Minute)), clock: time.Duration(even(float64(f.ClockOffset)))}
}

// spell is a stretch of trouble.
type spell struct{ from, until time.Time }

func in(spells []spell, t time.Time) bool {
	return slices.ContainsFunc(spells, func(s spell) bool { return !t.Before(s.from) && t.Before(s.until) })
}

// spells draws troubles of a mean length by a rate per 100 days.
func spells(r *rand.Rand, w *Winter, per100D, meanH float64) []spell {
	var out []spell
	days := float64(w.N) * w.Step.Hours() / 24
	for range poisson(r, per100D*days/100) {
		at := w.Start.Add(time.Duration(r.Float64() * days * 24 * float64(time.Hour)))
		out = append(out, spell{at, at.Add(time.Duration((0.3 + r.ExpFloat64()) * meanH * float64(time.Hour)))})
	}
	return out
}

// at reads a course at a time, linear between steps.
func (w *Winter) at(course []float64, t time.Time) float64 {
	x := float64(t.Sub(w.Start)) / float64(w.Step)
	i := int(x)
	if i >= w.N-1 {
		return course[w.N-1]
	}
	if i < 0 {
		return course[0]
	}
	f := x - float64(i)
	return course[i]*(1-f) + course[i+1]*f
}

func round(x, step float64) float64 {
	if step <= 0 {
		return x
	}
	// Divide by the count of steps in a unit, so that a rounded value prints short.
	return math.Round(x/step) / math.Round(1/step)
}

// read makes one logger's readings.
func (kit Kit) read(w *Winter, s sensor, r *rand.Rand) []roof.Reading {
	f := &kit.Faults
	unit := f.specimen(r)
	gaps := spells(r, w, f.GapsPer100D, f.GapH)
	if r.Float64() < f.LongGapChance {
		days := float64(w.N) * w.Step.Hours() / 24
		at := w.Start.Add(time.Duration(r.Float64() * days * 24 * float64(time.Hour)))
		gaps = append(gaps, spell{at, at.Add(time.Duration(3+r.IntN(7)) * 24 * time.Hour)})
	}
	stuck := spells(r, w, f.StuckPer100D, f.StuckH)
	early := spells(r, w, f.ClockWrongPer100D, 8)
	var swaps []Swap
	for _, x := range kit.Swaps {
		if x.Position == s.position {
			swaps = append(swaps, x)
		}
	}
	name := s.logger
	end := w.Start.Add(time.Duration(w.N) * w.Step)
	n := int(end.Sub(w.Start) / kit.Interval)
	out := make([]roof.Reading, 0, n)
	creep, lagged, held, since := 0.0, math.NaN(), math.NaN(), w.Start
	dt := kit.Interval.Seconds()
	for k := range n {
		t := w.Start.Add(time.Duration(k) * kit.Interval)
		if len(swaps) > 0 && !t.Before(swaps[0].At) {
			unit, since, creep = f.specimen(r), t, 0
			if swaps[0].Declared {
				name += "b"
			}
			swaps = swaps[1:]
		}
		temp := w.at(s.tempC, t)
		air := temp
		if s.airC != nil {
			temp += unit.contact * (w.at(s.airC, t) - temp)
		}
		if s.place == roof.OutdoorAir && f.TempLimitC > 0 { // an ordinary shade
			temp += 0.5*w.at(w.SunWM2, t)/400 - 0.2*(1-w.at(w.Cloud, t))
			air = temp
		}
		days := t.Sub(since).Hours() / 24
		var v roof.Values
		v.Set(roof.TempC, round(temp+unit.tempOff+unit.driftT*days/100+f.NoiseC*r.NormFloat64(), f.ResolutionC))
		if s.vapourPa != nil {
			rh := 100 * w.at(s.vapourPa, t) / psychro.SatWaterPa(air)
			if math.IsNaN(lagged) || unit.lag < kit.Interval/4 {
				lagged = rh
			} else {
				lagged += (rh - lagged) * (1 - math.Exp(-dt/unit.lag.Seconds()))
			}
			// A probe kept wet creeps up over days and comes back when dry.
			if lagged > 90 {
				creep += (unit.creepMax - creep) * dt / (4 * 86400)
			} else {
				creep -= creep * dt / (2 * 86400)
			}
			shown := lagged + unit.rhOff + unit.driftRH*days/100 + creep + f.NoiseRHPct*r.NormFloat64()
			shown = round(math.Max(0, math.Min(100, shown)), f.ResRHPct)
			if in(stuck, t) {
				if math.IsNaN(held) {
					held = shown
				}
				shown = held
			} else {
				held = math.NaN()
			}
			v.Set(roof.RHPct, shown)
		}
		if in(gaps, t) {
			continue
		}
		at := t.Add(unit.clock).Truncate(time.Second).UTC()
		if in(early, t) {
			at = at.AddDate(-1, 0, 0)
		}
		out = append(out, roof.Reading{Logger: name, At: at, Arrived: t.Add(2 * time.Second).UTC(), Values: v})
	}
	return out
}
