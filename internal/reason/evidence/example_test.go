package evidence_test

import (
	"fmt"
	"time"

	"dewcase/internal/reason/evidence"
)

// A night runs from noon to noon on the clock of the property, so the one in which
// summer time ends has 25 hours (in London on 25 October 2026).
func ExampleNightOf() {
	london, _ := time.LoadLocation("Europe/London")
	n := evidence.NightOf(time.Date(2026, 10, 25, 3, 0, 0, 0, london), london)
	fmt.Println(n.Hours())
	// Output: 25
}

// Dew of under an hour makes no wet night.
func ExampleWetNight() {
	fmt.Println(evidence.WetNight(0.9), evidence.WetNight(1))
	// Output: false true
}
