package exportfile

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"dewcase/internal/roof"
)

// counted hands on n readings and then ends with err.
func counted(n int, err error) func(time.Time, func(roof.Reading, int) error) (int, error) {
	return func(now time.Time, each func(roof.Reading, int) error) (int, error) {
		for i := range n {
			if err := each(roof.Reading{At: now.Add(time.Duration(i))}, i); err != nil {
				return i, err
			}
		}
		return n, err
	}
}

func TestReadingAheadHandsEverythingOnInOrder(t *testing.T) {
	defer goleak.VerifyNone(t)
	torn := errors.New("the file is torn")
	now := time.Unix(1, 0)
	for _, n := range []int{0, 1, 1023, 1024, 1025, 20_000} {
		for _, end := range []error{nil, torn} {
			next := 0
			sum, err := Ahead(counted(n, end))(now, func(r roof.Reading, line int) error {
				require.Equal(t, next, line)
				require.Equal(t, now.Add(time.Duration(next)), r.At)
				next++
				return nil
			})
			require.Equal(t, end, err)
			require.Equal(t, n, sum)
			require.Equal(t, n, next)
		}
	}
}

func TestReadingAheadEndsWhenAReadingIsNotTaken(t *testing.T) {
	defer goleak.VerifyNone(t)
	full := errors.New("the disk is full")
	for _, last := range []int{0, 1023, 1024, 5000} {
		taken := 0
		sum, err := Ahead(counted(1_000_000, nil))(time.Unix(1, 0), func(_ roof.Reading, line int) error {
			if line == last {
				return full
			}
			taken++
			return nil
		})
		require.Equal(t, full, err)
		require.Equal(t, last, taken)
		require.Less(t, sum, last+10_000, "it is not read to its end for nothing")
	}
}
