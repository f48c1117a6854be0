package strictyaml_test

import (
	"fmt"

	"dewcase/internal/flow/strictyaml"
)

// Every fault is told at once, each with its line, its key and what would be right.
func ExampleParse() {
	d := strictyaml.Parse("roof.yaml", []byte("pitch_deg: 95\ncolour: red\n"), 1<<20)
	m := d.Root().Map("pitch_deg", "covering")
	m.Get("pitch_deg").Number(0, 90)
	for _, line := range d.Faults().Lines(10) {
		fmt.Println(line)
	}
	// Output:
	// roof.yaml:1: pitch_deg: 95 cannot be; write a number from 0 to 90
	// roof.yaml:2: colour: is not a known key; known here are pitch_deg, covering
}
