package mould_test

import (
	"fmt"

	"dewcase/internal/physics/mould"
)

// From 20 C up pine grows mould from 80 %RH; colder, from more. At 5 C by Hukka &
// Viitanen 1999, eq. 1: 100 - 3.13*5 + 0.160*25 - 0.00267*125 = 88.0 %.
func ExampleParameters_CriticalRHPct() {
	pine, _ := mould.ParametersOf(mould.VerySensitive)
	for _, c := range []float64{25, 5} {
		fmt.Printf("at %.0f C from %.0f %%RH\n", c, pine.CriticalRHPct(c))
	}
	// Output:
	// at 25 C from 80 %RH
	// at 5 C from 88 %RH
}

// At 20 C and 97 %RH the index of pine reaches 1 in exp(-0.68 ln 20 - 13.9 ln 97 +
// 66.02) = 1.48 weeks (Hukka & Viitanen 1999, eq. 2).
func ExampleParameters_Grow() {
	pine, _ := mould.ParametersOf(mould.VerySensitive)
	index := pine.Grow(0, 7*1.485, 20, 97)
	fmt.Printf("%.2f: %s\n", index, mould.Words(index))
	// Output: 1.00: small amounts, seen with a microscope only
}
