package timber_test

import (
	"fmt"

	"dewcase/internal/physics/timber"
)

// Wood in air of 21.1 C (70 F) and 50 %RH settles at 9.2 % of its dry mass, as
// the Wood Handbook prints.
func ExampleEMCPct() {
	mc, _ := timber.EMCPct(21.11, 50)
	fmt.Printf("%.1f %%\n", mc)
	// Output: 9.2 %
}
