package vapour_test

import (
	"fmt"

	"dewcase/internal/physics/vapour"
)

// At 0 C outdoors each class of EN ISO 13788, Annex A, spans 270 Pa: 500 Pa over
// outdoors are class 2. At 10 C each spans half of that, and 500 Pa are class 4.
func ExampleClassOf() {
	for _, outdoorC := range []float64{0, 10} {
		class, _ := vapour.ClassOf(500, outdoorC)
		fmt.Printf("at %.0f C: class %d\n", outdoorC, class)
	}
	// Output:
	// at 0 C: class 2
	// at 10 C: class 4
}
