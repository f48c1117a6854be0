package openings_test

import (
	"fmt"

	"dewcase/internal/reason/openings"
	"dewcase/internal/roof"
)

// A cold roof of 40 degrees over an underlay of high resistance asks for 10 mm at
// both eaves and 5 mm at the ridge (BS 5250 as quoted by public guidance pages).
// By hand: 10 mm x 1000 x 10 m x 2 eaves = 200,000 mm2.
func ExampleAdvise() {
	pitch, span, length := 40.0, 8.0, 10.0
	a, _ := openings.Advise(roof.Build{PitchDeg: &pitch, SpanM: &span, LengthM: &length, Shape: "duopitch",
		Insulation: "ceiling", Covering: roof.Covering{Air: "open"}, Underlay: roof.Underlay{Class: "HR"}},
		"blocked_ventilation", openings.UK, 10_000)
	for _, l := range a.Lines {
		fmt.Printf("%s: %.0f mm, %.0f mm2\n", l.Where, l.NeededMM, *l.NeededMM2)
	}
	// Output:
	// loft_eaves: 10 mm, 200000 mm2
	// loft_ridge: 5 mm, 50000 mm2
}
