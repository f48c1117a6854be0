package sqlite

import "math"

// scale is how a column's whole numbers become its values: how many decimals
// they have, and in what way a decimal number was turned into the float64.
type scale uint8

// decimalsOf is how many numbers of decimals there are: from 0 to 9, as many as
// values converted from other units are given.
const decimalsOf = 10

// The ways, each with decimalsOf scales.
const (
	asWritten  = iota // as it is read from text
	single            // a single-precision number that a device computed with
	fahrenheit        // converted from degrees Fahrenheit and rounded to 9 decimals
	ways

	scales = ways * decimalsOf
)

var powersOfTen = [decimalsOf]float64{1, 10, 100, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

func (s scale) value(n int64) float64 {
	x := float64(n) / powersOfTen[s%decimalsOf]
	switch s / decimalsOf {
	case single:
		return float64(float32(x))
	case fahrenheit:
		return math.Round((x-32)*5/9*1e9) / 1e9
	}
	return x
}

// number is the whole number that may stand for a value; exact says whether it
// gives the value back bit for bit, which -0 never is.
func (s scale) number(x float64) (n int64, exact bool) {
	if !(math.Abs(x) < 1e9) {
		return 0, false
	}
	y := x
	if s/decimalsOf == fahrenheit {
		y = x*9/5 + 32
	}
	n = int64(math.RoundToEven(y * powersOfTen[s%decimalsOf]))
	return n, math.Float64bits(s.value(n)) == math.Float64bits(x)
}

// odd is a value that the scale of its column does not give back.
type odd struct {
	at   int
	bits uint64
}

// numbers writes the numbers of a column at the scale, and lists the values that
// they do not give back; ok is false where these are too many to be listed.
func (s scale) numbers(col []float64, to []int64, list []odd) (odds []odd, ok bool) {
	few := len(col)/64 + 1
	var last int64
	for i, x := range col {
		n, exact := s.number(x)
		switch {
		case exact:
			last = n
		case x == 0:
			n = 0
			list = append(list, odd{i, minusZero})
		default:
			if few--; few < 0 {
				return list, false
			}
			n = last
			list = append(list, odd{i, math.Float64bits(x)})
		}
		to[i] = n
	}
	return list, true
}

// minusZero is what a rounded small negative number becomes.
const minusZero = 1 << 63
