package demo

import (
	"time"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
)

// plan is what an invented house is made from.
type plan struct {
	id, label string
	world     roofsim.World
	interval  time.Duration
	repairs   func(start time.Time) []roofsim.Repair
	work      roof.Event // what the repair's event says beyond the time
	rafter    bool
	seed      uint64
	dying     string // the logger whose battery runs down; "" none
}

func mm(x float64) *float64 { return &x }

// saltmarrow is the fault of the trade: a permeable underlay on single battens
// below close-fitting slates, a loft with hardly an opening, a family. In
// mid-winter a roofer opens the batten void and the eaves.
func saltmarrow() plan {
	lights := 6
	return plan{
		id: "saltmarrow-7", label: "7 Saltmarrow Lane, Hollin Beck (an invented house)",
		interval: 5 * time.Minute, seed: 7, rafter: true, dying: "k2-loft",
		repairs: func(start time.Time) []roofsim.Repair {
			return []roofsim.Repair{{At: start.AddDate(0, 0, 61).Add(11 * time.Hour), VoidEavesMM: mm(25), VoidRidgeMM: mm(8),
				LoftEavesMM: mm(12)}}
		},
		work: roof.Event{What: "slates re-laid on counter-battens, void open at eaves and ridge; loft eaves cut through",
			Opened:  roof.Openings{LoftEavesMM: mm(12), VoidEavesMM: mm(25), VoidRidgeMM: mm(8)},
			Battens: "counter", CounterBattenMM: mm(25), KeptInPlace: []string{"void"}},
		world: roofsim.World{
			Seed: 3, Cause: roofsim.UnventedBattenVoid,
			House: roofsim.House{SpanM: 8.4, LengthM: 8.2, PitchDeg: 34, AzimuthDeg: 35, CeilingHeightM: 5.1, LeakageM2: 0.04,
				HeatLossWK: 150, HeatCapacityJK: 22e6, HeaterW: 11e3,
				BufferM2: 220, InsulationWM2K: 0.26, CeilingSdM: 0.6, GableLossWM2K: 0.12, ShelterFactor: 0.7,
				CeilingHatchGap: 0.002},
			Roof: roofsim.Roof{CeilingLeakMM2M2: 290, LoftLeakMM2M2: 160, LoftEavesMM: 1, UnderlayAirMM2M2: 25,
				VoidDepthM: 0.025, BattenM2M2: 0.24, TimberM2M2: 0.5, TimberHalfM: 0.022,
				WoodMoisture: 0.165, PatchM2PerKg: 0.8, UnderlaySdM: 0.04, CoveringAirMM2M2: 5, CoveringJM2K: 16e3,
				CoveringEmiss: 0.92, CoveringAbsorb: 0.85, CoveringStoreKgM3: 60,
				VoidEavesMM: [2]float64{0.3, 0.3}, VoidRidgeMM: [2]float64{0.2, 0.2}},
			Household: roofsim.Household{Adults: 2, Children: 2, ShowersPerDay: 2.6, ShowerG: 380, CookingGPerDay: 1700,
				LaundryPerWeek: 4, LaundryG: 2000, HousekeepingG: 900, PlantsGH: 25,
				ExtractShare: 0.25, WindowMinPerDay: 8, WindowM2: 0.2, SetDayC: 20, SetNightC: 17, AbsencesPer100D: 1.3,
				GuestsPer100D: 1.5},
			Survey: roof.Build{PitchDeg: mm(34), SpanM: mm(8.4), LengthM: mm(8.2), Shape: "duopitch",
				Covering: roof.Covering{Material: "fibre-cement slate", Air: "closed"},
				Underlay: roof.Underlay{Class: "LR", AirPermeable: roof.No, SdM: mm(0.04), DrapeMM: mm(5), Laps: "lapped"},
				Battens:  "single", Openings: roof.Openings{LoftEavesMM: mm(1), LoftRidgeMM: mm(0), VoidEavesMM: mm(0),
					VoidRidgeMM: mm(0)},
				Ceiling: roof.Ceiling{Sealed: roof.No, Downlights: &lights, VapourControlLayer: roof.No}, Insulation: "ceiling",
				Fixings: "galvanised"},
		},
	}
}

// gannetHeugh is a sound roof: counter-battens vented at both ends over a sealed
// ceiling. Its slates are wet on clear nights all the same, from outdoor air.
func gannetHeugh() plan {
	none := 0
	return plan{
		id: "gannet-heugh-2", label: "2 Gannet Heugh, Hollin Beck (an invented house)",
		interval: 15 * time.Minute, seed: 11,
		world: roofsim.World{
			Seed: 3, Cause: roofsim.NightSkyCooling,
			House: roofsim.House{SpanM: 7.6, LengthM: 9, PitchDeg: 30, AzimuthDeg: 350, CeilingHeightM: 5.1, LeakageM2: 0.07,
				HeatLossWK: 110, HeatCapacityJK: 20e6, HeaterW: 9e3,
				BufferM2: 180, InsulationWM2K: 0.14, CeilingSdM: 3, GableLossWM2K: 0.1, ShelterFactor: 0.26,
				CeilingHatchGap: 0.0003},
			Roof: roofsim.Roof{CeilingLeakMM2M2: 18, LoftLeakMM2M2: 350, LoftEavesMM: 15, UnderlayAirMM2M2: 20, VoidDepthM: 0.05,
				BattenM2M2: 0.24, TimberM2M2: 0.45, TimberHalfM: 0.022,
				WoodMoisture: 0.155, PatchM2PerKg: 0.8, UnderlaySdM: 0.05, CoveringAirMM2M2: 5, CoveringJM2K: 15e3,
				CoveringEmiss: 0.92, CoveringAbsorb: 0.85, CoveringStoreKgM3: 10,
				VoidEavesMM: [2]float64{25, 25}, VoidRidgeMM: [2]float64{6, 6}},
			Household: roofsim.Household{Adults: 2, ShowersPerDay: 1.6, ShowerG: 320, CookingGPerDay: 1200, LaundryPerWeek: 1.5,
				LaundryG: 1600, HousekeepingG: 600, PlantsGH: 15,
				ExtractShare: 0.6, WindowMinPerDay: 15, WindowM2: 0.2, SetDayC: 19.5, SetNightC: 16.5, AbsencesPer100D: 1,
				GuestsPer100D: 1},
			Survey: roof.Build{PitchDeg: mm(30), SpanM: mm(7.6), LengthM: mm(9), Shape: "duopitch",
				Covering: roof.Covering{Material: "resin slate", Air: "closed"},
				Underlay: roof.Underlay{Class: "LR", AirPermeable: roof.No, SdM: mm(0.05), DrapeMM: mm(15), Laps: "taped"},
				Battens:  "counter", CounterBattenMM: mm(25),
				Openings: roof.Openings{LoftEavesMM: mm(15), LoftRidgeMM: mm(0), VoidEavesMM: mm(25), VoidRidgeMM: mm(6)},
				Ceiling:  roof.Ceiling{Sealed: roof.Yes, Downlights: &none, VapourControlLayer: roof.Yes}, Insulation: "ceiling",
				Fixings: "stainless"},
		},
	}
}

// Winter of the northern half lies around the 18th day of the year, that of the
// southern half a year away.
const coldest, halfYear = 18, 182

// A record of 120 days that runs on to now holds a winter while now is near one;
// later in the year it reaches further back, with fewer readings a day, and half
// a year from winter the houses lie on the other half of the globe.
const shortest, longest = 120, 180

// season is where the invented town lies at a time, and for how many days its
// houses have been measured.
func season(now time.Time) (c roofsim.Climate, days int) {
	c = roofsim.Climate{Name: "northern hills", Zone: "Europe/London", LatDeg: 57, LonDeg: -3.4, MeanC: 6.6, SwingC: 5.6,
		SynopticC: 3.2, CloudBias: 0.5, WindMS: 3.6, DepressionK: 1.4,
		RainMMDay: 2.4, PrevailingDeg: 240, CloudBaseTransmits: 0.88, AltitudeM: 340, ShiftDay: 1e9}
	past := now.YearDay() - coldest // days since the middle of winter
	if past > 340 {
		past -= 365
	}
	if past >= halfYear-30 {
		// The sky of the south is that of the north half a year later, with the sun
		// at noon on the other side; LatDeg stays positive for it.
		past -= halfYear
		c.Name, c.Zone, c.LatDeg, c.LonDeg = "southern island", "Atlantic/Stanley", 51.7, -57.9
		c.MeanC, c.SwingC, c.DaysAhead, c.AltitudeM = 5.6, 4.2, halfYear, 30
	}
	return c, min(max(past+shortest/2, shortest), longest)
}
