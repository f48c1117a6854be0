package words_test

import (
	"fmt"
	"time"

	"dewcase/internal/words"
)

// Figures are written as people say them.
func ExampleDuration() {
	for _, d := range []time.Duration{42 * time.Minute, 3 * time.Hour, 48 * time.Hour} {
		fmt.Println(words.Duration(d))
	}
	// Output:
	// 42 minutes
	// 3 hours
	// 2 days
}

func ExampleInterval() {
	fmt.Println(words.Interval(39.4, 92.7), "hours")
	// Output: 39 to 93 hours
}
