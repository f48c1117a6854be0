package exportfile

import (
	"errors"
	"time"

	"dewcase/internal/roof"
)

// errGivenUp ends a reader whose readings nobody takes any more.
var errGivenUp = errors.New("nobody takes its readings")

// Ahead reads a file while what was read before is being judged and stored, so
// that an import has two processors for it; a few thousand readings lie between.
// What takes the readings is called as without it, one at a time and in order.
func Ahead[S any](rows func(time.Time, func(roof.Reading, int) error) (S, error)) func(time.Time,
	func(roof.Reading, int) error) (S, error) {
	return func(now time.Time, each func(roof.Reading, int) error) (sum S, err error) {
		type row struct {
			reading roof.Reading
			line    int
		}
		const inPart, between = 1024, 4
		parts, spent, stop := make(chan []row, between), make(chan []row, between+2), make(chan struct{})
		go func() {
			defer close(parts)
			var part []row
			hand := func() error {
				select {
				case parts <- part:
				case <-stop:
					return errGivenUp
				}
				part = nil
				select {
				case part = <-spent:
				default:
				}
				return nil
			}
			sum, err = rows(now, func(r roof.Reading, line int) error {
				if cap(part) == 0 {
					part = make([]row, 0, inPart)
				}
				if part = append(part, row{r, line}); len(part) == inPart {
					return hand()
				}
				return nil
			})
			if len(part) > 0 {
				_ = hand()
			}
		}()
		var failed error
		for part := range parts {
			for i := 0; i < len(part) && failed == nil; i++ {
				if failed = each(part[i].reading, part[i].line); failed != nil {
					close(stop)
				}
			}
			select {
			case spent <- part[:0]:
			default:
			}
		}
		if failed != nil {
			return sum, failed
		}
		return sum, err
	}
}
