package airchange_test

import (
	"fmt"
	"strings"

	"dewcase/internal/physics/airchange"
)

// A loft whose air is changed twice an hour, by the moisture balance of an
// ordinary loft stepped at a minute over 90 days. There is no published record of a
// loft with its air change beside it.
func ExampleLoft() {
	outdoor, house, loft := simulated(90, 2, airchange.LoftWoodRate, 0.1, 2)
	n, _ := airchange.Loft(0, outdoor, &house, loft)
	fmt.Println("known:", n.Known, "- 2 lies in the interval:", n.Low <= 2 && 2 <= n.High)
	// Output: known: true - 2 lies in the interval: true
}

// What a void's wood gives and takes must come from a survey: without it there is
// no air change, but the reason why.
func ExampleVoid() {
	outdoor, loft, void := simulated(30, 3, 5, 0.2, 2)
	n, _ := airchange.Void(0, outdoor, &loft, void, 0)
	fmt.Println(n.Known)
	why, _, _ := strings.Cut(n.Why, ",")
	fmt.Println(why)
	// Output:
	// false
	// how fast the battens give and take moisture in this void is not known
}
