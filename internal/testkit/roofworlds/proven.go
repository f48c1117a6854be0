package roofworlds

import (
	"time"

	"dewcase/internal/physics/roofsim"
)

// Truth says what was true of a world's winter, for judging an answer.
type Truth struct {
	Cover, Underlay   Hours // of the slope that condenses longer
	LoftExcessPa      float64
	Slope             int
	Matters           bool    // the planted cause makes a real difference in this winter
	FallWithout       float64 // share of condensing hours that go when it is taken away
	ExcessPaFrom      float64 // loft vapour that the leak or the drying adds, Pa
	DrynessChangesSky float64 // night sky: change of hours in a house without moisture
}

// Bounds of "matters". A month of 30 condensing hours divides night-sky cooling
// from nothing found (the convention of method-causes section 10); the others
// are this package's own choice.
const (
	skyHoursPer30D       = 30.0
	defectHours30D       = 15.0
	defectFall           = 0.30
	mixedFall            = 0.15
	sourceExcessPa       = 20.0
	skyOfHouseShare      = 0.25
	noneHoursPer30D      = 28.0
	otherShare           = 0.6   // of the named cause's fall that another cause may reach, for a pure one
	ordinaryCeilingMM2M2 = 120.0 // about the middle of what Draw gives a house without a ceiling fault
	drynessFirstDays     = 40
)

// Judge runs a world of these houses, and what-if worlds with the cause taken
// away, over the days given.
func (h Houses) Judge(w roofsim.World, days int) Truth {
	o := roofsim.Options{Days: days}
	real := h.run(w, o)
	t := Truth{LoftExcessPa: ExcessPa(real, real.LoftPa, time.Time{}, time.Time{})}
	z := time.Time{}
	if CoverHours(real, roofsim.SlopeB, z, z).AtRisk > CoverHours(real, roofsim.SlopeA, z, z).AtRisk {
		t.Slope = roofsim.SlopeB
	}
	t.Cover, t.Underlay = CoverHours(real, t.Slope, z, z), worst(real)
	per30 := func(h float64) float64 { return h * 30 / float64(days) }
	wetHours := per30(t.Cover.Condensing + t.Underlay.Condensing)
	fall := func(v roofsim.World) float64 {
		x := h.run(v, o)
		before := t.Cover.Condensing + t.Underlay.Condensing
		if before == 0 {
			return 0
		}
		return 1 - (CoverHours(x, t.Slope, z, z).Condensing+worst(x).Condensing)/before
	}
	coverFall := func(v roofsim.World) float64 {
		if t.Cover.Condensing == 0 {
			return 0
		}
		return 1 - CoverHours(h.run(v, o), t.Slope, z, z).Condensing/t.Cover.Condensing
	}
	excess := func(v roofsim.World, until time.Time) float64 {
		x := h.run(v, o)
		return ExcessPa(real, real.LoftPa, z, until) - ExcessPa(x, x.LoftPa, z, until)
	}
	switch w.Cause {
	case roofsim.CeilingLeakage:
		t.FallWithout = fall(withSealedCeiling(w))
		t.Matters = wetHours >= defectHours30D && t.FallWithout >= defectFall && h.pure(t.FallWithout, fall, withOpenVoid(w))
	case roofsim.BlockedVentilation:
		t.FallWithout = fall(withOpenLoft(w))
		t.Matters = wetHours >= defectHours30D && t.FallWithout >= defectFall && h.pure(t.FallWithout, fall, withOpenVoid(w))
	case roofsim.UnventedBattenVoid:
		t.FallWithout = coverFall(withOpenVoid(w))
		t.Matters = per30(t.Cover.Condensing) >= skyHoursPer30D && t.FallWithout >= defectFall &&
			h.pure(t.FallWithout, coverFall, withOrdinaryCeiling(w))
	case roofsim.MixedCeilingVoid:
		a, b := fall(withSealedCeiling(w)), coverFall(withOpenVoid(w))
		t.FallWithout = min(a, b)
		t.Matters = per30(t.Cover.Condensing) >= skyHoursPer30D && a >= mixedFall && b >= mixedFall
	case roofsim.NightSkyCooling:
		dry := w
		dry.Roof.CeilingLeakMM2M2, dry.House.CeilingHatchGap, dry.House.CeilingSdM = 0.1, 0, 100
		t.DrynessChangesSky = coverFall(dry)
		t.Matters = per30(t.Cover.Condensing) >= skyHoursPer30D && t.DrynessChangesSky <= skyOfHouseShare &&
			t.LoftExcessPa < 35
	case roofsim.NoneFound:
		most := skyHoursPer30D / 2
		if h.AiryCoverings {
			most = noneHoursPer30D
		}
		t.Matters = per30(t.Cover.Condensing) < most && per30(t.Underlay.Condensing) < most && t.LoftExcessPa < 35
	case roofsim.WaterIngress, roofsim.PlumbingLeak:
		t.ExcessPaFrom = excess(withoutLeak(w), z)
		t.Matters = t.ExcessPaFrom >= sourceExcessPa
	case roofsim.MixedRainBlocked:
		t.ExcessPaFrom = excess(withoutLeak(w), z)
		t.FallWithout = fall(withOpenLoft(w))
		t.Matters = t.ExcessPaFrom >= sourceExcessPa && t.FallWithout >= mixedFall && wetHours >= defectHours30D
	case roofsim.ConstructionMoisture:
		t.ExcessPaFrom = excess(withDryTimber(w), w.Start.AddDate(0, 0, drynessFirstDays))
		t.Matters = t.ExcessPaFrom >= sourceExcessPa
	}
	return t
}

func worst(w *roofsim.Winter) Hours {
	z := time.Time{}
	a, b := UnderlayHours(w, roofsim.SlopeA, z, z), UnderlayHours(w, roofsim.SlopeB, z, z)
	if b.AtRisk > a.AtRisk {
		return b
	}
	return a
}

func withSealedCeiling(w roofsim.World) roofsim.World {
	w.Roof.CeilingLeakMM2M2, w.House.CeilingHatchGap = min(30, w.Roof.CeilingLeakMM2M2), 0.0002
	return w
}

// pure reports that a what-if for another cause takes away far less than the
// named one, where purity is asked for.
func (h Houses) pure(named float64, fall func(roofsim.World) float64, without roofsim.World) bool {
	return !h.PureCauses || fall(without) <= otherShare*named
}

// withOrdinaryCeiling is a ceiling as ceilings are: what vapour comes through it
// is the source in most roofs, and no cause of its own.
func withOrdinaryCeiling(w roofsim.World) roofsim.World {
	w.Roof.CeilingLeakMM2M2 = min(ordinaryCeilingMM2M2, w.Roof.CeilingLeakMM2M2)
	return w
}

func withOpenLoft(w roofsim.World) roofsim.World {
	v := 10.0
	if p := w.Survey.Openings.LoftEavesMM; p != nil && *p > v {
		v = *p
	}
	w.Roof.LoftEavesMM = v
	return w
}

func withOpenVoid(w roofsim.World) roofsim.World {
	w.Roof.VoidDepthM = 0.05
	w.Roof.VoidEavesMM, w.Roof.VoidRidgeMM = [2]float64{25, 25}, [2]float64{5, 5}
	return w
}

func withoutLeak(w roofsim.World) roofsim.World {
	w.Roof.RainLeakLPerMM, w.Roof.PlumbingKgDay = 0, 0
	return w
}

func withDryTimber(w roofsim.World) roofsim.World {
	w.Roof.WoodMoisture, w.House.DryingKgDay = 0.15, 0
	return w
}

// DrawProven draws worlds from the seed on until the cause matters in the
// winter of the days given. ok is false when 40 draws did not give one.
func DrawProven(seed uint64, cause roofsim.Cause, days int) (w roofsim.World, t Truth, ok bool) {
	return Houses{}.DrawProven(seed, cause, days)
}

// DrawProven is the same for a kind of houses.
func (h Houses) DrawProven(seed uint64, cause roofsim.Cause, days int) (w roofsim.World, t Truth, ok bool) {
	for try := range uint64(40) {
		w = h.Draw(seed+try*1_000_003, cause)
		if t = h.Judge(w, days); t.Matters {
			return w, t, true
		}
	}
	return w, t, false
}
