package corrosion_test

import (
	"fmt"

	"dewcase/internal/physics/corrosion"
)

// A roof space that wets its nails for 3000 hours a year lies in class tau4 of ISO
// 9223:1992, Table 1 (2500 to 5500 h a year).
func ExampleCategoryOf() {
	c, _ := corrosion.CategoryOf(3000)
	fmt.Println(c)
	// Output: tau4
}

// A winter of 120 days with 1000 wet hours, were the whole year like it.
func ExamplePerYear() {
	perYear, _ := corrosion.PerYear(1000, 120*24)
	fmt.Printf("%.0f h a year\n", perYear)
	// Output: 3044 h a year
}
