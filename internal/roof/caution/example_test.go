package caution_test

import (
	"fmt"

	"dewcase/internal/roof/caution"
)

// Whoever seals a ceiling is warned of what can kill or break the law, in the
// order of the table of hazards (testdata/tables/safety.csv).
func ExampleEssential() {
	for _, c := range caution.Essential(caution.SealCeiling) {
		fmt.Println(c.Hazard)
	}
	// Output:
	// loft footing
	// asbestos
	// electrics
	// flues and combustion air
	// bats
	// structure
}
