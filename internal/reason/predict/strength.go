package predict

import (
	"math"

	"dewcase/internal/roof"
)

// What every roof is taken to have where the survey does not say, and how air
// goes through openings: discharge 0.6, and 1 m/s through a hole at the 0.6 Pa
// that lie across a sheltered roof (common practice).
const (
	usualPitchDeg = 35.0
	usualSpanM    = 7.5
	usualLengthM  = 8.5

	slotNet    = 0.6    // of a nominal slot is open: mesh, battens, dirt
	twoHalves  = 0.354  // discharge 0.6 through two halves of the openings in series
	gablesM2   = 0.0012 // gables, verges and laps, m2 for each metre of eaves; a judgement, about 100 cm2 a house
	leastVoidE = 0.7    // mm, a shut void's own gaps at the eaves
	leastVoidR = 0.3    // and at the ridge
	slotVoid   = 0.0006 // m2 for each mm and metre: net share by discharge
	jointShare = 0.2    // of the covering's joints work, since they lie along one pressure
	leastLoft  = 3.0    // m3 for each metre

	ceilingFlowM3H = 20.0  // an ordinary ceiling's flow at 15 K
	timberFlowM3H  = 370.0 // what 100 m2 of bare timber carry away
)

// jointsM2 is the leakage of a covering, m2 for each m2, by what the survey says
// of it; open from the 17.4 m3/h at 10 Pa that divide open from closed (NHBC
// 2024, 7.2).
func jointsM2(air string) float64 {
	switch air {
	case "open":
		return 0.0015
	case "closed":
		return 0.0001
	}
	return 0.0004
}

// Estimate is a normal belief about the logarithm of a ratio.
type Estimate struct{ Mean, SD float64 }

// geometry is the roof for each metre of eaves.
type geometry struct{ slopeM, loftM3, lengthM float64 }

func sizes(b roof.Build) geometry {
	or := func(x *float64, usual float64) float64 {
		if x == nil {
			return usual
		}
		return *x
	}
	p, s := or(b.PitchDeg, usualPitchDeg)*math.Pi/180, or(b.SpanM, usualSpanM)
	return geometry{slopeM: s / (2 * math.Cos(p)), loftM3: math.Max(s*s*math.Tan(p)/4, leastLoft),
		lengthM: or(b.LengthM, usualLengthM)}
}

// LoftAirChange is how often an hour openings of these slots in mm, at each
// eaves and in all at the ridge, change the air of a loft.
func (g geometry) loftAirChange(eavesMM, ridgeMM float64) float64 {
	area := slotNet*(2*eavesMM+ridgeMM)/1000 + gablesM2
	return 3600 * slotNet * twoHalves * area / g.loftM3
}

// voidArea is the effective opening of a batten void, m2 for each metre of eaves.
func (g geometry) voidArea(eavesMM, ridgeMM float64, air string) float64 {
	e, r := math.Max(eavesMM, leastVoidE), math.Max(ridgeMM, leastVoidR)
	return jointShare*jointsM2(air)*g.slopeM + slotVoid/math.Sqrt(1/(e*e)+1/(r*r))
}

// Seen is what the fitted roof and its airs say of how open the loft is now; nil
// where the loggers for it are missing.
type Seen struct {
	LoftTime         *Estimate // ln of the time constant, h
	Ceiling          *Estimate // ln of the ceiling's share
	Timber           *Estimate // ln of the timber's share
	AirChangePerHour *float64  // apparent, of the loft
}

// LoftStrength is ln of the loft's exchange after over before by openings of the
// planned slots, before the floor at 0: the present exchange is the precision-
// weighted mean of what the survey, the fitted roof and its airs say. Vents that
// are blocked look open on paper.
func LoftStrength(b roof.Build, eavesMM, ridgeMM float64, seen Seen) Estimate {
	g := sizes(b)
	e, r := b.Openings.LoftEavesMM, b.Openings.LoftRidgeMM
	now := [2]float64{4, 0}
	sd := 0.7
	if e == nil {
		sd = 0.9
	} else {
		now[0] = *e
	}
	if r != nil {
		now[1] = *r
	}
	sum, weight := 0.0, 0.0
	take := func(mean, sd float64) { sum, weight = sum+mean/(sd*sd), weight+1/(sd*sd) }
	take(math.Log(g.loftAirChange(now[0], now[1])), sd)
	if x := seen.LoftTime; x != nil {
		take(-x.Mean, math.Hypot(0.6, x.SD))
	}
	if x := seen.Ceiling; x != nil {
		take(math.Log(ceilingFlowM3H/(g.lengthM*g.loftM3))-x.Mean, math.Hypot(0.8, x.SD))
	}
	if x := seen.Timber; x != nil {
		take(math.Log(timberFlowM3H/(g.lengthM*g.loftM3))-x.Mean, math.Hypot(0.9, x.SD))
	}
	if x := seen.AirChangePerHour; x != nil && *x > 0 {
		take(math.Log(*x), 0.8)
	}
	after := g.loftAirChange(math.Max(eavesMM, now[0]), math.Max(ridgeMM, now[1]))
	return Estimate{math.Log(after) - sum/weight, math.Hypot(0.5, 1/math.Sqrt(weight))}
}

// VoidStrength is the same for the batten void.
func VoidStrength(b roof.Build, eavesMM, ridgeMM float64) Estimate {
	g := sizes(b)
	now := voidNow(b)
	after := [2]float64{math.Max(eavesMM, now[0]), math.Max(ridgeMM, now[1])}
	sd := 0.9
	if after == now {
		sd = 0.15
	}
	air := b.Covering.Air
	return Estimate{math.Log(g.voidArea(after[0], after[1], air) / g.voidArea(now[0], now[1], air)), sd}
}

// voidNow are the void's slots at eaves and ridge in mm; unknown ones are those
// of counter battens where there are any, else shut.
func voidNow(b roof.Build) [2]float64 {
	var now [2]float64
	if b.Battens == "counter" {
		now = [2]float64{12, 4}
	}
	if x := b.Openings.VoidEavesMM; x != nil {
		now[0] = *x
	}
	if x := b.Openings.VoidRidgeMM; x != nil {
		now[1] = *x
	}
	return now
}

// ceilingLeft is how much of the ceiling's leakage is left by sealing hatch and
// penetrations by hand, as ln: 0.4, and a factor of 1.8 either way.
var ceilingLeft = Estimate{math.Log(0.4), 0.6}

// diffusion is the part of the ceiling's vapour that sealing does not stop.
const diffusion = 0.15

// ceilingChange is ln of the ceiling's flow after over before, where z is a
// standard normal number.
func ceilingChange(z float64) float64 {
	left := math.Min(1, math.Exp(ceilingLeft.Mean+ceilingLeft.SD*z))
	return math.Log(diffusion + (1-diffusion)*left)
}
