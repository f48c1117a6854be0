package roofsim

import (
	"time"

	"dewcase/internal/roof"
)

// Cause is what was planted in a world: a finding of the contract or a mixture.
type Cause string

// The causes that can be drawn. Findings says which answers are right for each.
const (
	CeilingLeakage       Cause = "ceiling_leakage"
	UnventedBattenVoid   Cause = "unvented_batten_void"
	NightSkyCooling      Cause = "night_sky_cooling"
	WaterIngress         Cause = "water_ingress"          // rain
	PlumbingLeak         Cause = "water_ingress_plumbing" // named water_ingress
	ConstructionMoisture Cause = "construction_moisture"
	BlockedVentilation   Cause = "blocked_ventilation"
	NoneFound            Cause = "none_found"
	MixedCeilingVoid     Cause = "mixed_ceiling_void"
	MixedRainBlocked     Cause = "mixed_rain_blocked"
)

// Slope indices. Slope A is the first; its azimuth is in House.
const (
	SlopeA = 0
	SlopeB = 1
)

// World is everything that a winter follows from.
type World struct {
	Seed      uint64
	Cause     Cause
	Start     time.Time // first instant simulated
	House     House
	Roof      Roof
	Household Household
	Climate   Climate
	Survey    roof.Build // what stands on paper; may be incomplete or wrong
	Completed *time.Time // handed over, as the case file says; nil unknown
}

// House is the building below the roof.
type House struct {
	SpanM, LengthM  float64
	PitchDeg        float64
	AzimuthDeg      float64 // that slope A faces, clockwise from north; B faces the other way
	CeilingHeightM  float64
	LeakageM2       float64 // equivalent leakage area of the walls
	HeatLossWK      float64 // through walls, windows and floor, without ventilation
	HeatCapacityJK  float64
	HeaterW         float64
	BufferM2        float64 // hygroscopic surface indoors
	InsulationWM2K  float64 // U-value of ceiling and insulation
	CeilingSdM      float64 // vapour resistance of the ceiling
	DryingKgDay     float64 // building moisture at the start
	DryingTauD      float64 // its time constant
	GableLossWM2K   float64 // loft to outdoors per m2 of ceiling, gables and the like
	ShelterFactor   float64 // wind at the roof over wind at 10 m in the open
	CeilingHatchGap float64 // m2 of two-way exchange at the hatch
}

// Roof is the build as it really is.
type Roof struct {
	CeilingLeakMM2M2 float64 // mm2 of equivalent leakage per m2 of ceiling, downlights included

	LoftLeakMM2M2            float64 // gables, verges and bad joints, per m2 of ceiling
	LoftEavesMM, LoftRidgeMM float64 // real slots, each eaves; ridge total
	VoidEavesMM, VoidRidgeMM [2]float64

	CoveringAirMM2M2  float64 // leakage through the covering's joints
	CoveringJM2K      float64 // heat capacity
	CoveringEmiss     float64
	CoveringAbsorb    float64 // of sun
	CoveringStoreKgM3 float64 // water held at saturation by its underside; 0 for metal
	UnderlaySdM       float64
	UnderlayAirMM2M2  float64 // laps, holes
	UnderlayAirPerm   float64 // m3/(s m2 Pa) through the fabric
	VoidDepthM        float64
	BattenM2M2        float64 // exposed batten timber
	TimberM2M2        float64 // exposed loft timber per m2 of slope
	TimberHalfM       float64 // its half thickness

	WoodMoisture float64 // at the start, kg/kg

	RainLeakLPerMM float64 // litres into the loft per mm of rain
	PlumbingKgDay  float64 // from PlumbingFromDay on
	PlumbingFrom   float64 // day of the winter
	PatchM2PerKg   float64 // how far a leak spreads
}

// Household is who lives there and how.
type Household struct {
	Adults, Children int
	HomeByDay        bool
	ShowersPerDay    float64
	ShowerG          float64
	CookingGPerDay   float64
	LaundryPerWeek   float64
	LaundryG         float64
	HousekeepingG    float64 // a day: dishes, mopping, drying towels
	PlantsGH         float64
	ExtractShare     float64 // of shower and cooking vapour that a fan takes
	WindowMinPerDay  float64
	WindowM2         float64
	SetDayC          float64
	SetNightC        float64
	AbsencesPer100D  float64 // of 2..9 days
	GuestsPer100D    float64 // stays of 2..5 days
	NewRoutineDay    float64 // day from which moisture is multiplied; 0 never
	NewRoutineFactor float64
	NewSetC          float64 // change of set-points from that day
}

// Climate is the weather's statistics.
type Climate struct {
	Name               string
	Zone               string // IANA
	LatDeg, LonDeg     float64
	MeanC, SwingC      float64 // yearly mean and half swing of air masses
	SynopticC          float64 // standard deviation of spells
	CloudBias          float64 // of the cloud process; 0 is half cloudy
	WindMS             float64 // median
	DepressionK        float64 // typical dew-point depression of the air mass
	RainMMDay          float64
	SecondHalfC        float64 // warmer or colder from ShiftDay on
	ShiftDay           float64
	AltitudeM          float64
	PrevailingDeg      float64
	DaysAhead          int     // so many days the calendar runs ahead of the season: a winter at any date, for a demo
	CloudBaseTransmits float64 // exp(-dT/46 K) of Martin and Berdahl, about 0.9 for low cloud
}
