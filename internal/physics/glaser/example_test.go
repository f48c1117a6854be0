package glaser_test

import (
	"fmt"

	"dewcase/internal/physics/glaser"
	"dewcase/internal/physics/psychro"
)

// The warm side of a roof with a vapour-tight underlay, at 20 C and 50 %RH indoors
// and -5 C and 80 %RH outdoors, by hand with EN ISO 13788:2012, eqs 17 and 19:
// saturation at the underlay is 410 Pa, so that
//
//	2e-10 ((1168-410)/0.275 - (410-321)/20) kg/(m2 s) = 1.98 g/(m2 h)
//
// collect there.
func ExampleSteadyState() {
	in, _ := psychro.ISO13788SatPa(20)
	out, _ := psychro.ISO13788SatPa(-5)
	s, _ := glaser.SteadyState(glaser.BuildUp{Layers: []glaser.Layer{
		{Name: "plasterboard", ResistanceM2KW: 0.0125 / 0.25, SdM: 0.125},
		{Name: "wool", ResistanceM2KW: 0.150 / 0.038, SdM: 0.15},
		{Name: "underlay", SdM: 20},
	}}, glaser.Climate{IndoorC: 20, OutdoorC: -5, IndoorPa: 0.5 * in, OutdoorPa: 0.8 * out})
	for _, p := range s.Planes {
		fmt.Printf("%s: %.0f Pa, %.2f g/(m2 h)\n", p.Where, p.SatPa, 3.6e6*p.RateKgM2)
	}
	// Output: between wool and underlay: 410 Pa, 1.98 g/(m2 h)
}
