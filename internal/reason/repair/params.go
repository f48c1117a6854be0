package repair

import "math"

// The unknowns of one roof. Conductances are relative to the exchange of the
// unrepaired loft with outdoor air, lengths of time are in h.
const (
	pCeiling    = iota // ln of the ceiling's leakage at 15 K
	pCoupling          // ln of the vapour exchange between loft and void
	pVoid              // ln of the void's exchange with outdoor air
	pLoftCalm          // K1: loft exchange against how far the covering is under the air
	pLoftLift          // K2: loft exchange against buoyancy
	pVoidCalm          // K3
	pVoidLift          // K4
	pWood              // ln of the loft timber's surface exchange
	pWoodFast          // ln t1
	pWoodMid           // ln t12
	pWoodSlow          // ln t2
	pWoodWet           // saturation of the slow timber at the start
	pFastWet           // outer timber at the start, over the slow
	pBattenWet         // battens at the start, over the slow
	pBatten            // ln R_b
	pBattenFast        // ln tb
	pBattenSlow        // ln tb2
	pLayFilm           // ln b_u
	pCoverFilm         // ln b_c
	pLoftTime          // ln tau_l
	pVoidTime          // ln tau_b
	pWoodSun           // X: how far the other slope's sun drives the loft timber
	pSurfaceK          // S: contact error of the covering's temperature, K
	pStepLift          // U of the loft: wind of a station (sensitivity only)
	pStepVoid          // U of the void
	pD                 // ln of the change of loft exchange by the repair
	pC                 // ln of the change of ceiling leakage
	pV                 // ln of the change of void exchange
	pLoftRH            // o_l, %RH; from here on the air in the roof is not touched
	pVoidRH            // o_b
	pLoftStep          // s_l: step at the repair
	pVoidStep          // s_b
	pLoftDrift         // w_l, %RH per 100 days
	pVoidDrift         // w_b
	pLoftSwap          // step at another date
	pVoidSwap
	paramCount
)

// firstOutput is the first unknown that acts on a logger and not on the air.
const firstOutput = pLoftRH

// prior is what is believed of one unknown before the readings; sd 0 holds it
// at its mean.
type prior struct{ mean, sd float64 }

// vector holds the unknowns in standard units: (theta - mean)/sd.
type vector [paramCount]float64

// reachSD is how far an unknown may leave its prior mean.
const reachSD = 3.5

// defaultPriors are the prior beliefs about a house roof with timber rafters,
// chosen wide: the readings of a winter move every one that they can tell.
func defaultPriors() [paramCount]prior {
	ln := math.Log
	return [paramCount]prior{
		pCeiling: {ln(0.1), 1.5}, pCoupling: {0, 2}, pVoid: {ln(0.5), 2},
		pLoftCalm: {0, 0.2}, pVoidCalm: {0, 0.2}, pLoftLift: {0, 0.4}, pVoidLift: {0, 0.4},
		pWood: {0, 1.5}, pWoodFast: {ln(20), 1}, pWoodMid: {ln(100), 1}, pWoodSlow: {ln(700), 0.8},
		pWoodWet: {0.85, 0.12}, pFastWet: {0, 0.08}, pBattenWet: {0, 0.08},
		pBatten: {0, 1.5}, pBattenFast: {ln(15), 1}, pBattenSlow: {ln(100), 1},
		pLayFilm: {ln(3), 2}, pCoverFilm: {ln(5), 1.5}, pLoftTime: {ln(0.7), 0.8}, pVoidTime: {ln(0.1), 1},
		pWoodSun: {0, 0.6}, pSurfaceK: {0, 0.15},
		pLoftRH: {0, 1.5}, pVoidRH: {0, 1.5}, pLoftStep: {0, 0.15}, pVoidStep: {0, 0.15},
		pLoftDrift: {0, 0.8}, pVoidDrift: {0, 0.8},
	}
}

// Prior widths of the three changes: wide for what the work can have altered,
// narrow for what then only the season or the household can.
var changePriors = [3]struct{ credited, other float64 }{{1.2, 0.5}, {1.0, 0.3}, {1.8, 0.4}}

// value turns a standard unit into the unknown itself.
func (p prior) value(u float64) float64 { return p.mean + p.sd*u }

// laneFor sets a lane's constants from the unknowns.
func laneFor(pr *[paramCount]prior, u *vector, ln *lane) {
	v := func(k int) float64 { return pr[k].mean + pr[k].sd*u[k] }
	e := func(k int) float64 { return math.Exp(v(k)) }
	ln.ceiling, ln.couple, ln.void = e(pCeiling), e(pCoupling), e(pVoid)
	ln.loftLag = e(pLoftTime) / stepH
	ln.voidLag = ln.void * e(pVoidTime) / stepH
	ln.wood, ln.batten = e(pWood), e(pBatten)
	ln.layFilm, ln.coverFilm = e(pLayFilm), e(pCoverFilm)
	const r = stepH / 611
	ln.rt1, ln.rt12, ln.rt2 = r/e(pWoodFast), r/e(pWoodMid), r/e(pWoodSlow)
	ln.rtb, ln.rtb2 = r/e(pBattenFast), r/e(pBattenSlow)
	ln.coverSat = math.Exp(perKelvin * v(pSurfaceK))
	ln.laySat = 1
	ln.f2 = clamp(v(pWoodWet), 0.05, 1.3)
	ln.f1 = clamp(v(pWoodWet)+v(pFastWet), 0.05, 1.3)
	ln.fb = clamp(v(pWoodWet)+v(pBattenWet), 0.05, 1.3)
	ln.fb2 = ln.fb
	ln.layWet, ln.coverWet = 0, 0
	ln.kLoft, ln.kCeiling, ln.kVoid = 1, 1, ln.void
}

func clamp(x, lo, hi float64) float64 {
	if x < lo {
		return lo
	}
	if x > hi {
		return hi
	}
	return x
}
