// Package roofworlds draws the invented houses that the reasoning is judged on,
// says what was true of their winters, and fits them with loggers of known
// faults. What it draws is simulated by [roofsim].
package roofworlds

import "dewcase/internal/physics/roofsim"

// Causes lists every cause that can be drawn.
func Causes() []roofsim.Cause {
	return []roofsim.Cause{roofsim.CeilingLeakage, roofsim.UnventedBattenVoid, roofsim.NightSkyCooling,
		roofsim.WaterIngress, roofsim.PlumbingLeak, roofsim.ConstructionMoisture, roofsim.BlockedVentilation,
		roofsim.NoneFound, roofsim.MixedCeilingVoid, roofsim.MixedRainBlocked}
}

// Findings are the contract's findings that are right for the cause.
func Findings(c roofsim.Cause) []string {
	switch c {
	case roofsim.PlumbingLeak:
		return []string{string(roofsim.WaterIngress)}
	case roofsim.MixedCeilingVoid:
		return []string{string(roofsim.CeilingLeakage), string(roofsim.UnventedBattenVoid)}
	case roofsim.MixedRainBlocked:
		return []string{string(roofsim.WaterIngress), string(roofsim.BlockedVentilation)}
	default:
		return []string{string(c)}
	}
}
