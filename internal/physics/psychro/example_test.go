package psychro_test

import (
	"fmt"

	"dewcase/internal/physics/psychro"
)

// Air of 20 C and 50 %RH wets what is colder than about 9.3 C, as every table of
// dew points prints.
func ExampleDewPointC() {
	e, _ := psychro.VapourPressurePa(20, 50)
	dew, _ := psychro.DewPointC(e)
	fmt.Printf("%.1f C\n", dew)
	// Output: 9.3 C
}

// The triple point of water lies at 611.2 Pa by the Magnus form of WMO-No. 8.
func ExampleSatWaterPa() {
	fmt.Printf("%.1f Pa\n", psychro.SatWaterPa(0))
	// Output: 611.2 Pa
}

// The standard atmosphere of ISO 2533 has 89874.6 Pa at 1000 m.
func ExamplePressureAtAltitudePa() {
	p, _ := psychro.PressureAtAltitudePa(1000)
	fmt.Printf("%.0f Pa\n", p)
	// Output: 89875 Pa
}
