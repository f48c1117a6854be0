package csvreadings

import (
	"bytes"
	"errors"
	"math"
	"slices"
	"strconv"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

// The short way through a number gives what ParseFloat gives, to the last bit,
// wherever it gives anything.
func FuzzNumber(f *testing.F) {
	for _, s := range []string{"", ".", "-", "+.5", "5.", "-0.00", "4.31", "123456789012345", "1234567890123456",
		"0.000000000000001", "000000000000004.3", "1e3", "4,31", "4.3.1", "NaN", "--1", "+-1", "9007199254740993"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, cell []byte) {
		x, ok := shortDecimal(cell)
		if !ok {
			return
		}
		want, err := strconv.ParseFloat(string(cell), 64)
		require.NoError(t, err)
		require.Equal(t, math.Float64bits(want), math.Float64bits(x), "%q", cell)
	})
}

// splitSlowly is Split as it is without a short way for lines without quotes.
func splitSlowly(line []byte, separator byte) (cells [][]byte, err error) {
	if !utf8.Valid(line) {
		return nil, errNotUTF8
	}
	for {
		if len(line) > 0 && line[0] == '"' {
			cell, rest, err := unquote(line[1:], separator)
			if err != nil {
				return cells, err
			}
			if cells = append(cells, cell); rest == nil {
				return cells, nil
			}
			line = rest
			continue
		}
		cell, rest, more := bytes.Cut(line, []byte{separator})
		if bytes.IndexByte(cell, '"') >= 0 {
			return cells, errStrayQuote
		}
		if cells = append(cells, bytes.Trim(cell, " \t")); !more {
			return cells, nil
		}
		line = rest
	}
}

func FuzzSplit(f *testing.F) {
	for _, s := range []string{"", "a,b", " a ,\tb,", "\"a,\"\"b\",c", "a\"b,c", ",,", "\va, \x00", "ü,\xff"} {
		f.Add([]byte(s), byte(','))
	}
	f.Fuzz(func(t *testing.T, line []byte, separator byte) {
		if separator == '"' || separator >= utf8.RuneSelf {
			return // no separator of a file
		}
		want, wantErr := splitSlowly(slices.Clone(line), separator)
		got, err := Split(line, separator, nil)
		require.True(t, errors.Is(err, wantErr) && errors.Is(wantErr, err), "%v, not %v", err, wantErr)
		require.Equal(t, len(want), len(got))
		for i := range want {
			require.True(t, bytes.Equal(want[i], got[i]), "%q, not %q", got[i], want[i])
		}
	})
}
