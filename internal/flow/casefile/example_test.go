package casefile_test

import (
	"fmt"

	"dewcase/internal/flow/casefile"
)

// A case file names a property, its positions and its loggers.
func ExampleParse() {
	c, faults := casefile.Parse("larch-3.yaml", []byte(`case: larch-3
property: {timezone: Europe/London}
positions:
  - {id: loft, place: loft_air}
  - {id: slate, place: covering_underside, meets: loft}
loggers:
  - id: k1
    fitted: [{position: loft, from: 2026-11-01T09:00:00Z}]
`))
	fmt.Println(c.ID, len(c.Positions), len(faults))
	_, faults = casefile.Parse("larch-3.yaml", []byte("case: larch-3\nproperty: {timezone: UTC}\nroof: {pitch_deg: 95}\n"))
	for _, line := range faults.Lines(10) {
		fmt.Println(line)
	}
	// Output:
	// larch-3 2 0
	// larch-3.yaml:3: roof.pitch_deg: 95 cannot be; write a number from 0 to 90
}
