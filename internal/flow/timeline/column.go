package timeline

import (
	"math"
	"strconv"
)

// Column is a row of figures along the time axis in which what was not observed
// is absent, and null in JSON; it never holds a NaN.
type Column struct {
	v  []float64
	ok []bool
}

// NewColumn is a column of n absent figures.
func NewColumn(n int) Column { return Column{make([]float64, n), make([]bool, n)} }

// Set puts a figure; one that is not finite stays absent.
func (c Column) Set(i int, x float64) {
	if !math.IsNaN(x) && !math.IsInf(x, 0) {
		c.v[i], c.ok[i] = x, true
	}
}

// Get is the figure and whether it was observed.
func (c Column) Get(i int) (float64, bool) { return c.v[i], c.ok[i] }

// Len is the number of steps.
func (c Column) Len() int { return len(c.v) }

// MarshalJSON writes the figures with at most six decimals, far below any
// logger's resolution, so that a winter stays small on the wire.
func (c Column) MarshalJSON() ([]byte, error) {
	return c.appendJSON(make([]byte, 0, 8*len(c.v)+2)), nil
}

func (c Column) appendJSON(out []byte) []byte {
	out = append(out, '[')
	for i, x := range c.v {
		if i > 0 {
			out = append(out, ',')
		}
		if !c.ok[i] {
			out = append(out, "null"...)
			continue
		}
		out = appendRounded(out, x)
	}
	return append(out, ']')
}

// appendRounded writes x to six decimals without needless zeros. Up to 15 digits
// no other number of as many is nearest to the same float64, so that the digits
// of the whole millionths are those that FormatFloat would find.
func appendRounded(out []byte, x float64) []byte {
	millionths := math.Round(x * 1e6)
	if math.Abs(millionths) >= 1e15 {
		return strconv.AppendFloat(out, millionths/1e6, 'f', -1, 64)
	}
	n := int64(millionths) // no minus zero on the wire
	if n < 0 {
		out, n = append(out, '-'), -n
	}
	out = strconv.AppendInt(out, n/1e6, 10)
	part := n % 1e6
	if part == 0 {
		return out
	}
	out = append(out, '.')
	for unit := int64(1e5); part > 0; unit /= 10 {
		out = append(out, byte('0'+part/unit))
		part %= unit
	}
	return out
}

// Band is a quantity per step: the time-weighted mean of what was observed, and
// its range.
type Band struct {
	Mean Column `json:"mean"`
	Min  Column `json:"min"`
	Max  Column `json:"max"`
}

func newBand(n int) Band { return Band{NewColumn(n), NewColumn(n), NewColumn(n)} }

func (b Band) set(i int, mean, lo, hi float64) {
	b.Mean.Set(i, mean)
	b.Min.Set(i, lo)
	b.Max.Set(i, hi)
}
