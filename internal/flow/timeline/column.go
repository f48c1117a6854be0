package timeline

import (
	"encoding/binary"
	"math"
	"math/bits"
	"strconv"

	"dewcase/internal/reason/series"
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
	x *= 1e6
	if math.Abs(x) >= 1e15 {
		return strconv.AppendFloat(out, math.Round(x)/1e6, 'f', -1, 64)
	}
	even := math.RoundToEven(x) // one instruction, other than Round only at a half
	n := int64(even)
	if cut := x - even; math.Abs(cut) == 0.5 && cut*x > 0 {
		n += int64(2 * cut)
	}
	if n < 0 { // no minus zero on the wire
		out, n = append(out, '-'), -n
	}
	whole := n / 1e6
	out = appendSmall(out, whole)
	part := uint32(n - whole*1e6)
	if part == 0 {
		return out
	}
	// Six digits, a byte each, the first of them lowest; zeros at their end are
	// zero bytes above the highest that counts.
	pair := func(two uint32) uint64 { return uint64(two/10 | two%10<<8) }
	digits := pair(part/1e4) | pair(part/100%100)<<16 | pair(part%100)<<32
	end := len(out) + 1 + (bits.Len64(digits)+7)/8
	return binary.LittleEndian.AppendUint64(out, '.'|(digits+0x303030303030)<<8)[:end]
}

// appendSmall is AppendInt of a number that mostly has a digit or two.
func appendSmall(out []byte, n int64) []byte {
	switch {
	case n < 10:
		return append(out, byte('0'+n))
	case n < 100:
		return append(out, byte('0'+n/10), byte('0'+n%10))
	}
	return strconv.AppendInt(out, n, 10)
}

// Band is a quantity per step: the time-weighted mean of what was observed, and
// its range.
type Band struct {
	Mean Column `json:"mean"`
	Min  Column `json:"min"`
	Max  Column `json:"max"`
}

func newBand(n int) Band { return Band{NewColumn(n), NewColumn(n), NewColumn(n)} }

// take puts what a step observed, if it did.
func (b *Band) take(i int, of *series.Bin) {
	if of.ObservedMS > 0 {
		b.set(i, of.Mean, of.Min, of.Max)
	}
}

func (b *Band) set(i int, mean, lo, hi float64) {
	b.Mean.Set(i, mean)
	b.Min.Set(i, lo)
	b.Max.Set(i, hi)
}
