package abroad

import (
	"math"
	"math/rand/v2"

	"dewcase/internal/physics/roofsim"
)

// constants are what textbooks leave open: where they differ, or where one number
// stands for a whole roof.
type constants struct {
	crackExp                      float64 // exponent of cracks
	upGust                        float64 // share of the wind's pressure over the ceiling
	lowGust, slotWind             float64 // over the loft's slots; turbulence through them
	voidGust, voidStack           float64 // along the void
	jointGust, jointStack         float64 // over the covering's joints
	lapGust, lapStack             float64 // over the underlay's laps
	convWM2K, voidWM2K            float64 // films in loft and void
	outerWM2K, outerPerMS         float64 // film outside, still and for each m/s
	oswinA, oswinB                float64 // isotherm of wood
	skinM, tileM                  float64 // wood and covering that follow the air within hours
	soaked                        float64 // share of dripping or leaking water that wood takes up
	patchTop                      float64 // share of the insulation's surface in a wet patch's temperature
	plasterKgM2                   float64 // the house's hygric store
	cloudSky, dewFall, nightsCalm float64 // cloud's part of the sky; the dew point's fall by night; the wind's
}

// usual are the constants of Run. Oswin's isotherm of softwood near 5 C,
// u = a (phi/(1-phi))^b, is laid through 9.4 % at 50 and 20.3 % at 90 %RH (Wood
// Handbook).
var usual = constants{crackExp: 0.65, upGust: 0.15, lowGust: 0.35, slotWind: 0.004, voidGust: 0.25, voidStack: 1,
	jointGust: 0.05, jointStack: 0.25, lapGust: 0.04, lapStack: 0.5, convWM2K: 2.5, voidWM2K: 2.2,
	outerWM2K: 4, outerPerMS: 2.6, oswinA: 0.094, oswinB: 0.35, skinM: 0.0025, tileM: 0.003, soaked: 0.25, patchTop: 0.6,
	plasterKgM2: 0.075, cloudSky: 0.84, dewFall: 0.25, nightsCalm: 0.5}

// drawn are constants of a house's own, evenly in the logarithm within bounds that
// handbooks and papers span (judgement).
func drawn(seed uint64) constants {
	r := rand.New(rand.NewPCG(seed, 0xc0457))
	log := func(a, b float64) float64 { return a * math.Pow(b/a, r.Float64()) }
	return constants{crackExp: log(0.55, 0.7), upGust: log(0.05, 0.25), lowGust: log(0.2, 0.5),
		slotWind: log(0.002, 0.012), voidGust: log(0.1, 0.35), voidStack: log(0.5, 1), jointGust: log(0.025, 0.12),
		jointStack: log(0.15, 0.4), lapGust: log(0.02, 0.1), lapStack: log(0.3, 0.7), convWM2K: log(1.8, 3.6),
		voidWM2K: log(1.7, 3.3), outerWM2K: log(3, 7), outerPerMS: log(1.6, 3.9), oswinA: log(0.085, 0.106),
		oswinB: log(0.3, 0.37), skinM: log(0.0014, 0.0045), tileM: log(0.0018, 0.006), soaked: log(0.12, 0.6),
		patchTop: log(0.25, 0.8), plasterKgM2: log(0.04, 0.13), cloudSky: log(0.78, 0.9), dewFall: log(0.13, 0.42),
		nightsCalm: log(0.3, 0.65)}
}

// RunVaried is Run by constants of the house's own, drawn from its seed.
func RunVaried(w roofsim.World, o roofsim.Options) *roofsim.Winter { return run(w, o, drawn(w.Seed)) }
