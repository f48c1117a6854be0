package roofworlds

import (
	"math/rand/v2"
	"time"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
)

// Kit is a set of loggers, and how well the roof is known to who fits them.
type Kit struct {
	Interval    time.Duration // 0: 5 min
	SecondSlope bool          // void and covering of the other slope are logged too
	Without     []roof.Place  // places that carry no logger
	Faults      roofsim.Faults
	Swaps       []roofsim.Swap
	CaseID      string // "": from cause and seed
	// MainSlope is the slope of "void" and "slate"; nil takes the one that a
	// repair treats, else the one that condenses longer.
	MainSlope *int
	Blur      Blur
}

// Measure reads the winter with the kit and blurs the survey of its case. The
// same seed gives the same readings.
func (kit Kit) Measure(w *roofsim.Winter, seed uint64) *roofsim.Measured {
	k := roofsim.Kit{Interval: kit.Interval, SecondSlope: kit.SecondSlope, Without: kit.Without, Faults: kit.Faults,
		Swaps: kit.Swaps, CaseID: kit.CaseID}
	if kit.MainSlope != nil {
		k.MainSlope = *kit.MainSlope
	} else {
		k.MainSlope = mainSlope(w)
	}
	m := k.Measure(w, seed)
	kit.Blur.apply(m.Case, rand.New(rand.NewPCG(seed, 0xb111)))
	return m
}

// RunTwin simulates a winter, and the same house in the same weather without
// the repairs.
func RunTwin(w roofsim.World, o roofsim.Options) (repaired, twin *roofsim.Winter) {
	repaired = roofsim.Run(w, o)
	o.Repairs = nil
	return repaired, roofsim.Run(w, o)
}

func mainSlope(w *roofsim.Winter) int {
	for _, r := range w.Repairs {
		switch r.Slopes {
		case roofsim.OnlyA:
			return roofsim.SlopeA
		case roofsim.OnlyB:
			return roofsim.SlopeB
		}
	}
	var until time.Time
	if len(w.Repairs) > 0 {
		until = w.Repairs[0].At
	}
	if CoverHours(w, roofsim.SlopeB, time.Time{}, until).AtRisk >
		CoverHours(w, roofsim.SlopeA, time.Time{}, until).AtRisk {
		return roofsim.SlopeB
	}
	return roofsim.SlopeA
}

// RoughFaults are those of cheap loggers left alone: the confounders of the
// proof's bars.
func RoughFaults() roofsim.Faults {
	return roofsim.Faults{TempLimitC: 0.5, RHLimitPct: 3, NoiseC: 0.06, NoiseRHPct: 0.4, ResolutionC: 0.1, ResRHPct: 0.5,
		DriftRHPct100D: 5, DriftC100D: 0.1, CreepRHPct: 3, ContactShare: 0.15, LagMin: 25, ClockOffset: 6 * time.Minute,
		GapsPer100D: 5, GapH: 9, StuckPer100D: 0.6, StuckH: 26, ClockWrongPer100D: 0.2, LongGapChance: 0.15}
}

// Blur is how much of the survey is missing or wrong.
type Blur struct{ UnknownShare, WrongShare float64 }

// apply forgets or falsifies survey items.
func (b Blur) apply(c *roof.Case, r *rand.Rand) {
	lose := func() bool { return r.Float64() < b.UnknownShare }
	wrong := func() bool { return r.Float64() < b.WrongShare }
	s := &c.Roof
	if lose() {
		s.Openings.LoftEavesMM, s.Openings.LoftRidgeMM = nil, nil
	} else if wrong() && s.Openings.LoftEavesMM != nil {
		v := 10.0
		if *s.Openings.LoftEavesMM >= 6 {
			v = 3
		}
		s.Openings.LoftEavesMM = &v
	}
	if lose() {
		s.Openings.VoidEavesMM, s.Openings.VoidRidgeMM = nil, nil
	}
	if lose() {
		s.Underlay.Class, s.Underlay.SdM = "", nil
	} else if wrong() {
		s.Underlay.SdM = nil
		if s.Underlay.Class == "HR" {
			s.Underlay.Class = "LR"
		} else {
			s.Underlay.Class = "HR"
		}
	}
	if lose() {
		s.Covering.Air = ""
	}
	if lose() {
		s.Battens, s.CounterBattenMM = "", nil
	}
	if lose() {
		s.Ceiling.Sealed = roof.Unknown
	}
	if lose() {
		c.Property.Completed = nil
	} else if wrong() && c.Property.Completed != nil {
		t := c.Property.Completed.AddDate(-20, 0, 0)
		c.Property.Completed = &t
	}
}
