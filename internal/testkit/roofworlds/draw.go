package roofworlds

import (
	"math"
	"math/rand/v2"
	"time"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
)

// drawn is a world on its way.
type drawn struct{ roofsim.World }

// draw helps to draw sizes.
type draw struct{ *rand.Rand }

func (d draw) between(a, b float64) float64 { return a + (b-a)*d.Float64() }

// log draws evenly in the logarithm.
func (d draw) log(a, b float64) float64 { return a * math.Pow(b/a, d.Float64()) }
func (d draw) chance(p float64) bool    { return d.Float64() < p }

// Houses says what kind of houses are drawn. The zero value is the first kind,
// on which most figures of this project's judging were taken.
type Houses struct {
	// AiryCoverings gives open coverings the leakage that the rules of the trade
	// ask of one: a covering counts as air-impermeable up to 17.4 m3/h per m2
	// (NHBC 2024, 7.2; physics section 10), which at 10 Pa is about 2000 mm2/m2.
	// The first kind draws them at 60 to 500, tight tiles: their voids are better
	// aired than those of a closed covering, but not by much.
	AiryCoverings bool
	// PureCauses keeps only worlds in which the named cause makes more of a
	// difference than another one would: a closed covering over a shut void in a
	// house whose ceiling leaks worse is a mixture, and a wrong label for an
	// honest answer.
	PureCauses bool
	// Run lets a world live through a winter; nil: roofsim.Run. Another model of
	// roofs judges what was tuned on that one.
	Run func(roofsim.World, roofsim.Options) *roofsim.Winter
}

// run lets a world live through a winter.
func (h Houses) run(w roofsim.World, o roofsim.Options) *roofsim.Winter {
	if h.Run != nil {
		return h.Run(w, o)
	}
	return roofsim.Run(w, o)
}

// SecondKind is houses with airy open coverings and pure causes.
var SecondKind = Houses{AiryCoverings: true, PureCauses: true}

// Draw draws a world of the first kind of houses.
func Draw(seed uint64, cause roofsim.Cause) roofsim.World { return Houses{}.Draw(seed, cause) }

// covering is a kind of covering: ordinary values of mass per m2, colour and
// tightness (common practice).
type covering struct {
	name           string
	closed         bool
	joulesM2K      float64
	emiss, absorb  float64
	storeKgM3      float64
	airLow, airTop float64 // mm2/m2
}

var coverings = []covering{
	{"fibre-cement slate", true, 16e3, 0.92, 0.85, 60, 2, 10},
	{"resin slate, interlocking and tight", true, 14e3, 0.92, 0.85, 5, 2, 8},
	{"standing-seam metal", true, 6e3, 0.88, 0.75, 0, 1, 5},
	{"natural slate", false, 22e3, 0.90, 0.88, 8, 60, 250},
	{"interlocking concrete tile", false, 42e3, 0.92, 0.75, 45, 80, 350},
	{"plain clay tile", false, 55e3, 0.92, 0.7, 50, 120, 500},
	{"interlocking clay pantile", false, 36e3, 0.92, 0.7, 50, 80, 350},
}

// Draw draws a world in which the cause is planted. Whether the cause matters
// there is another question: see Judge and DrawProven.
func (h Houses) Draw(seed uint64, cause roofsim.Cause) roofsim.World {
	d := draw{rand.New(rand.NewPCG(seed, 0xd3a3))}
	w := drawn{roofsim.World{Seed: seed, Cause: cause}}
	w.Climate = drawClimate(d)
	year := 2019 + int(seed%7)
	w.Start = time.Date(year, 10, 12+d.IntN(30), 0, 0, 0, 0, time.UTC)
	w.House = roofsim.House{
		SpanM: d.between(6.5, 10), LengthM: d.between(6.5, 12), PitchDeg: d.between(20, 45), AzimuthDeg: d.between(0, 360),
		CeilingHeightM: 5.1, LeakageM2: d.log(0.045, 0.12), HeatLossWK: d.log(90, 220), HeatCapacityJK: d.log(12e6, 35e6),
		HeaterW:  d.between(8e3, 14e3),
		BufferM2: d.between(120, 300), InsulationWM2K: d.log(0.13, 0.35), CeilingSdM: d.log(0.4, 3),
		GableLossWM2K: d.between(0.05, 0.3),
		ShelterFactor: d.between(0.3, 0.65), CeilingHatchGap: d.log(0.0005, 0.004), DryingTauD: 60,
	}
	w.Household = drawHousehold(d)
	w.Roof = roofsim.Roof{
		CeilingLeakMM2M2: d.log(50, 160), LoftLeakMM2M2: d.log(200, 600), LoftEavesMM: d.between(7, 14),
		UnderlayAirMM2M2: d.log(10, 80),
		VoidDepthM:       0.025, BattenM2M2: d.between(0.18, 0.3), TimberM2M2: d.between(0.35, 0.7),
		TimberHalfM:  d.between(0.018, 0.03),
		WoodMoisture: d.between(0.14, 0.18), PatchM2PerKg: d.log(0.4, 1.5),
	}
	if d.chance(0.25) {
		w.Roof.LoftRidgeMM = d.between(3, 6)
	}
	b := roof.Build{Insulation: "ceiling", Battens: "single"}
	cover := coverings[3+d.IntN(4)]
	hr := d.chance(0.5)
	counter := false
	sealed := d.chance(0.3)
	recent := false
	paperEaves := -1.0 // as it is
	switch cause {
	case roofsim.CeilingLeakage:
		hr = d.chance(0.75)
		sealed = false
		w.leakyCeiling(d)
		w.Roof.LoftEavesMM, w.Roof.LoftRidgeMM = shutEaves(d), 0
	case roofsim.BlockedVentilation:
		hr = d.chance(0.75)
		w.Roof.CeilingLeakMM2M2 = d.log(80, 260)
		w.wetHousehold(d)
		paperEaves = d.between(10, 15)
		w.Roof.LoftEavesMM, w.Roof.LoftRidgeMM = shutEaves(d), 0
		sealed = false
	case roofsim.UnventedBattenVoid, roofsim.MixedCeilingVoid:
		hr, cover, sealed = false, coverings[d.IntN(3)], false
		w.Roof.CeilingLeakMM2M2 = d.log(80, 250)
		w.Roof.LoftEavesMM, w.Roof.LoftRidgeMM = d.between(0.5, 4), 0
		w.wetHousehold(d)
		if cause == roofsim.MixedCeilingVoid {
			w.leakyCeiling(d)
			w.Roof.LoftEavesMM = d.between(0.3, 2)
		}
	case roofsim.NightSkyCooling:
		cover = coverings[[]int{0, 1, 2, 3, 3}[d.IntN(5)]]
		counter = cover.closed || d.chance(0.5)
		sealed = true
		w.House.ShelterFactor = d.between(0.18, 0.35)
		w.House.InsulationWM2K = d.log(0.11, 0.2)
		w.Climate.CloudBias -= d.between(0.35, 0.6)
		w.Climate.DepressionK *= 0.8
		w.Climate.WindMS *= 0.8
		w.Roof.LoftEavesMM = d.between(10, 22)
		w.dryHousehold(d)
	case roofsim.WaterIngress, roofsim.PlumbingLeak, roofsim.MixedRainBlocked:
		if cause == roofsim.PlumbingLeak {
			w.Roof.PlumbingKgDay = d.log(1.2, 4.5)
			w.Roof.PlumbingFrom = d.between(0, 25)
		} else {
			w.Roof.RainLeakLPerMM = d.log(0.35, 1.5)
		}
		sealed = d.chance(0.5)
		if cause == roofsim.MixedRainBlocked {
			hr = d.chance(0.75)
			sealed = false
			paperEaves = d.between(10, 15)
			w.Roof.CeilingLeakMM2M2 = d.log(80, 260)
			w.wetHousehold(d)
			w.Roof.LoftEavesMM, w.Roof.LoftRidgeMM = shutEaves(d), 0
		} else {
			w.Roof.LoftEavesMM = d.between(6, 12)
		}
	case roofsim.ConstructionMoisture:
		recent = true
		w.Roof.WoodMoisture = d.between(0.28, 0.42)
		w.Roof.TimberM2M2 = d.between(0.6, 1.2)
		w.House.DryingKgDay = d.between(3, 9)
		w.House.DryingTauD = d.between(30, 70)
		w.Roof.LoftEavesMM = d.between(6, 11)
	case roofsim.NoneFound:
		cover = coverings[4+d.IntN(3)]
		sealed = true
		w.House.ShelterFactor = d.between(0.6, 0.9)
		w.House.InsulationWM2K = d.log(0.25, 0.6)
		w.Climate.CloudBias += d.between(0.1, 0.35)
		w.Climate.WindMS *= d.between(1.1, 1.4)
		w.Climate.DepressionK *= 1.25
		if h.AiryCoverings { // an open covering meets the outdoor air: only a windy, cloudy place keeps it dry
			w.House.ShelterFactor += 0.12
			w.House.InsulationWM2K *= 1.2
			w.Climate.CloudBias += 0.3
			w.Climate.DepressionK *= 1.2
		}
		w.dryHousehold(d)
		w.Roof.LoftEavesMM = d.between(9, 18)
	}
	if sealed {
		w.Roof.CeilingLeakMM2M2 = d.log(12, 50)
		w.House.CeilingHatchGap = 0.0003
	}
	if !hr && cause != roofsim.UnventedBattenVoid && cause != roofsim.MixedCeilingVoid {
		counter = counter || cover.closed
	}
	if hr {
		w.Roof.UnderlaySdM = d.log(5, 50)
	} else {
		w.Roof.UnderlaySdM = d.log(0.02, 0.15)
	}
	w.cover(d, cover)
	if h.AiryCoverings && !cover.closed {
		w.Roof.CoveringAirMM2M2 *= airierOpen
	}
	w.voids(d, counter)
	w.survey(d, &b, cover, hr, counter, sealed, recent, paperEaves)
	w.Survey = b
	return w.World
}

// airierOpen takes an open covering of the first kind to 1200..10000 mm2/m2,
// around and above the 2000 that separate open from closed.
const airierOpen = 20

// shutEaves is a slot of which little or nothing is open.
func shutEaves(d draw) float64 { return d.log(0.4, 2) }

func (w *drawn) leakyCeiling(d draw) {
	w.Roof.CeilingLeakMM2M2 = d.log(140, 420)
	w.House.CeilingHatchGap = d.log(0.002, 0.01)
	w.wetHousehold(d)
}

func (w *drawn) wetHousehold(d draw) {
	h := &w.Household
	h.Adults = max(h.Adults, 2)
	h.LaundryPerWeek = math.Max(h.LaundryPerWeek, d.between(2, 5))
	h.ExtractShare *= 0.5
	w.House.LeakageM2 = d.log(0.04, 0.09)
}

func (w *drawn) dryHousehold(d draw) {
	h := &w.Household
	h.LaundryPerWeek = math.Min(h.LaundryPerWeek, 1.5)
	h.ExtractShare = math.Max(h.ExtractShare, 0.5)
}

func (w *drawn) cover(d draw, c covering) {
	w.Roof.CoveringAirMM2M2 = d.log(c.airLow, c.airTop)
	w.Roof.CoveringJM2K = c.joulesM2K * d.between(0.85, 1.15)
	w.Roof.CoveringEmiss, w.Roof.CoveringAbsorb = c.emiss, c.absorb*d.between(0.9, 1.05)
	w.Roof.CoveringStoreKgM3 = c.storeKgM3
}

// voids sets the void's slots: counter battens open a path from eaves to ridge,
// single battens leave only leaks.
func (w *drawn) voids(d draw, counter bool) {
	e, r := d.log(0.1, 0.5), d.log(0.1, 0.4)
	if counter {
		w.Roof.VoidDepthM = 0.05
		e, r = d.between(10, 25), d.between(4, 8)
	}
	w.Roof.VoidEavesMM, w.Roof.VoidRidgeMM = [2]float64{e, e}, [2]float64{r, r}
}

func (w *drawn) survey(d draw, b *roof.Build, c covering, hr, counter, sealed, recent bool, paperEaves float64) {
	num := func(x float64) *float64 { return &x }
	round := func(x float64) *float64 { return num(math.Round(x)) }
	b.PitchDeg, b.SpanM = round(w.House.PitchDeg), num(math.Round(w.House.SpanM*10)/10)
	b.Covering = roof.Covering{Material: c.name, Air: "open"}
	if c.closed {
		b.Covering.Air = "closed"
	}
	b.Underlay = roof.Underlay{Class: "LR", SdM: num(math.Round(w.Roof.UnderlaySdM*100) / 100), AirPermeable: roof.No}
	if hr {
		b.Underlay.Class = "HR"
	}
	if counter {
		b.Battens, b.CounterBattenMM = "counter", num(25)
		b.Openings.VoidEavesMM, b.Openings.VoidRidgeMM = round(w.Roof.VoidEavesMM[0]), round(w.Roof.VoidRidgeMM[0])
	} else {
		b.Openings.VoidEavesMM, b.Openings.VoidRidgeMM = num(0), num(0)
	}
	if paperEaves < 0 {
		paperEaves = w.Roof.LoftEavesMM
	}
	b.Openings.LoftEavesMM, b.Openings.LoftRidgeMM = round(paperEaves), round(w.Roof.LoftRidgeMM)
	b.Ceiling.Sealed = roof.No
	lights := d.IntN(9)
	if sealed {
		b.Ceiling.Sealed, lights = roof.Yes, 0
	}
	b.Ceiling.Downlights = &lights
	b.Ceiling.VapourControlLayer = roof.No
	if w.House.CeilingSdM > 1.5 {
		b.Ceiling.VapourControlLayer = roof.Yes
	}
	t := w.Start.AddDate(-4-d.IntN(40), 0, 0)
	if recent {
		t = w.Start.AddDate(0, 0, -10-d.IntN(90))
	}
	t = time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
	w.Completed = &t
}

func drawClimate(d draw) roofsim.Climate {
	c := roofsim.Climate{Name: "maritime", Zone: "Europe/London", LatDeg: d.between(50.5, 56), LonDeg: -2,
		MeanC:  d.between(9, 11),
		SwingC: d.between(5, 6.5), SynopticC: d.between(3, 4),
		CloudBias: d.between(0.25, 0.55), WindMS: d.between(3, 4.6), DepressionK: d.between(1.0, 2.0),
		RainMMDay: d.between(2.2, 3.4), PrevailingDeg: 240, CloudBaseTransmits: 0.88, AltitudeM: d.between(5, 150)}
	if d.chance(0.35) {
		c = roofsim.Climate{Name: "cool continental", Zone: "Europe/Prague", LatDeg: d.between(48.5, 52), LonDeg: 14.5,
			MeanC: d.between(7.5, 9.5), SwingC: d.between(9, 11), SynopticC: d.between(4, 5.2),
			CloudBias: d.between(0.2, 0.5), WindMS: d.between(2.2, 3.4), DepressionK: d.between(1.2, 2.2),
			RainMMDay: d.between(1.1, 1.8), PrevailingDeg: 260, CloudBaseTransmits: 0.86, AltitudeM: d.between(180, 450)}
	}
	c.ShiftDay = math.Inf(1)
	return c
}

func drawHousehold(d draw) roofsim.Household {
	h := roofsim.Household{Adults: 1 + min(1, d.IntN(4)), Children: d.IntN(4), HomeByDay: d.chance(0.4),
		ShowerG: d.between(250, 500), CookingGPerDay: d.between(1200, 2600),
		LaundryPerWeek: d.between(0.5, 4), LaundryG: d.between(1500, 2500), HousekeepingG: d.between(500, 1500),
		PlantsGH: d.between(10, 45), ExtractShare: d.between(0, 0.6),
		WindowMinPerDay: d.between(0, 25), WindowM2: d.between(0.1, 0.4), SetDayC: d.between(18.5, 21.5),
		SetNightC:       d.between(15, 18),
		AbsencesPer100D: d.between(0, 2.5), GuestsPer100D: d.between(0, 2)}
	h.ShowersPerDay = float64(h.Adults)*d.between(0.6, 1) + float64(h.Children)*0.5
	return h
}
