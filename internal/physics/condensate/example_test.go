package condensate_test

import (
	"fmt"

	"dewcase/internal/physics/condensate"
	"dewcase/internal/physics/psychro"
)

// Kunzel 1995 rounds the coefficient of vapour transfer to 7e-9 kg/(m2 s Pa) for
// each W/(m2 K) of convection.
func ExampleBetaP() {
	beta, _ := condensate.BetaP(1, 0.87, psychro.StandardPressurePa)
	fmt.Printf("%.0e kg/(m2 s Pa)\n", beta)
	// Output: 7e-09 kg/(m2 s Pa)
}
