package sqlite

import (
	"encoding/binary"
	"errors"
	"math"
	"math/bits"
	"slices"
	"sync"

	"github.com/klauspost/compress/fse"
)

// A column of whole numbers is written as what a forecast from the numbers
// before leaves over. A record is a slow course with noise of the sensor on it,
// so the forecast is an exponentially smoothed level, with or without a trend:
// it averages the noise of the past away, where a difference from the last
// number would add it to the next one's (0.5 bit a number, for white noise). The
// gain is tried out for each column.
//
// The remainders, folded to unsigned, are cut into a symbol, of which there are
// sixteen and then eight an octave, and the bits below it. Symbols are coded by finite state entropy (J. Duda,
// arXiv:1311.2540, as in RFC 8878), the bits below are written as they are: noise
// has no more order in it.

// forecast has the gains 2^-level and 2^-trend; noTrend leaves the trend out.
type forecast struct{ level, trend uint8 }

const noTrend = 63

// forecasts are what is tried; their places in the list are part of the format.
var forecasts = [...]forecast{{0, noTrend}, {1, noTrend}, {2, noTrend}, {4, noTrend}, {8, noTrend},
	{0, 0}, {1, 5}, {2, 5}, {3, 6}, {4, 8}}

// fine is how many bits a level has below the whole number.
const fine = 10

// follower runs a forecast along a column.
type follower struct {
	forecast
	n            uint64
	level, trend int64
}

// next is the forecast of the next number.
func (f *follower) next() int64 { return (f.level + f.trend + 1<<(fine-1)) >> fine }

// see takes the number that came. The first ones have a larger gain, so that the
// level begins as their mean.
func (f *follower) see(x int64) {
	f.level += f.trend
	off := x<<fine - f.level
	if f.n == 0 {
		f.level = x << fine
	} else {
		gain := min(f.forecast.level, uint8(bits.Len64(f.n)))
		f.level += off >> gain
		if f.forecast.trend != noTrend {
			f.trend += off >> max(f.forecast.trend, 2*gain)
		}
	}
	f.n++
}

func fold(x int64) uint64   { return uint64(x<<1) ^ uint64(x>>63) }
func unfold(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

// The ways in which remainders are written.
const (
	allZero  = iota
	asCode   // finite state entropy
	asOne    // one symbol for all
	asSymbol // symbols as they are
	asPlain  // variable-length integers
)

// widest is the first remainder that has no symbol.
const widest = 1 << 34

// symbolOf cuts a remainder: below is how many bits are left out of it.
func symbolOf(u uint64) (symbol byte, below uint8) {
	if u < 16 {
		return byte(u), 0
	}
	below = uint8(bits.Len64(u)) - 4
	return byte(8*uint64(below) + u>>below), below
}

// remainderOf is where a symbol's remainders begin, and how many bits follow.
func remainderOf(symbol byte) (u uint64, below uint8) {
	if symbol < 16 {
		return uint64(symbol), 0
	}
	below = symbol/8 - 1
	return uint64(symbol-8*below) << below, below
}

// tryOut is how many numbers a forecast is chosen by.
const tryOut = 512

// columns is the room that packing and opening need.
type columns struct {
	fse     fse.Scratch
	ints    []int64
	times   []int64
	symbols []byte
	floats  []float64
	odds    []odd
}

var columnRoom = sync.Pool{New: func() any { return &columns{} }}

// pack appends a column and overwrites it with its remainders.
func (c *columns) pack(b []byte, col []int64) []byte {
	if len(col) == 0 {
		return b
	}
	best, least := 0, math.Inf(1)
	for i, of := range forecasts {
		f, sum := follower{forecast: of}, 0.0
		for n, x := range col[:min(len(col), tryOut)] {
			if n > 0 {
				sum += math.Abs(float64(x - f.next()))
			}
			f.see(x)
		}
		if sum < least {
			best, least = i, sum
		}
	}
	b = append(b, byte(best))
	f := follower{forecast: forecasts[best]}
	b = binary.AppendVarint(b, col[0])
	f.see(col[0])
	rest := col[1:]
	var any, sum uint64
	for i, x := range rest {
		u := fold(x - f.next())
		f.see(x)
		rest[i] = int64(u)
		any |= u
		sum += u
	}
	switch {
	case any == 0:
		return append(b, allZero)
	case any >= widest:
		b = append(b, asPlain)
		for _, u := range rest {
			b = binary.AppendUvarint(b, uint64(u))
		}
		return b
	}
	// Half of the remainders are below the sixteen that have symbols of their own.
	shift := uint8(max(bits.Len64(sum/uint64(len(rest)))-2, 0))
	c.symbols = c.symbols[:0]
	for _, u := range rest {
		s, _ := symbolOf(uint64(u) >> shift)
		c.symbols = append(c.symbols, s)
	}
	c.fse.Out = c.fse.Out[:0]
	code, err := fse.Compress(c.symbols, &c.fse)
	switch {
	case err == nil && len(code) >= 4 && len(code) < len(c.symbols): // less than 4 bytes are not read back
		b = binary.AppendUvarint(append(b, asCode, shift), uint64(len(code)))
		b = append(b, code...)
	case errors.Is(err, fse.ErrUseRLE):
		b = append(b, asOne, shift, c.symbols[0])
	default:
		b = append(b, asSymbol, shift)
		b = append(b, c.symbols...)
	}
	var w uint64
	var n uint8
	for _, u := range rest {
		_, below := symbolOf(uint64(u) >> shift)
		below += shift
		w |= uint64(u) & (1<<below - 1) << n
		for n += below; n >= 8; n -= 8 {
			b = append(b, byte(w))
			w >>= 8
		}
	}
	if n > 0 {
		b = append(b, byte(w))
	}
	return b
}

// column reads n numbers.
func (u *unpacker) ints(c *columns, n int) []int64 {
	c.ints = slices.Grow(c.ints[:0], n)[:n]
	out := c.ints
	if n == 0 {
		return out
	}
	which := u.byte()
	if int(which) >= len(forecasts) {
		u.bad = true
		return out
	}
	f := follower{forecast: forecasts[which]}
	out[0] = u.varint()
	f.see(out[0])
	rest := out[1:]
	way := u.byte()
	switch way {
	case allZero:
		for i := range rest {
			rest[i] = f.next()
			f.see(rest[i])
		}
		return out
	case asPlain:
		for i := range rest {
			rest[i] = f.next() + unfold(u.uvarint())
			f.see(rest[i])
		}
		return out
	}
	shift := u.byte()
	switch way {
	case asCode:
		code := u.take(u.uvarint())
		c.fse.Out, c.fse.DecompressLimit = c.symbols[:0], len(rest)+512 // it must stay below
		var err error
		if c.symbols, err = fse.Decompress(code, &c.fse); err != nil {
			u.bad = true
		}
		c.fse.Out = nil
	case asOne:
		c.symbols = slices.Grow(c.symbols[:0], len(rest))[:len(rest)]
		of := u.byte()
		for i := range c.symbols {
			c.symbols[i] = of
		}
	case asSymbol:
		c.symbols = append(c.symbols[:0], u.take(uint64(len(rest)))...)
	default:
		u.bad = true
	}
	if u.bad || len(c.symbols) != len(rest) || shift > 32 {
		u.bad = true
		return out
	}
	var w uint64
	var have uint8
	for i, s := range c.symbols {
		x, below := remainderOf(s)
		x <<= shift
		below += shift
		for have < below {
			w |= uint64(u.byte()) << have
			have += 8
		}
		x |= w & (1<<below - 1)
		w >>= below
		have -= below
		rest[i] = f.next() + unfold(x)
		f.see(rest[i])
	}
	return out
}

// take cuts n bytes off.
func (u *unpacker) take(n uint64) []byte {
	if n > uint64(len(u.b)) {
		u.bad = true
		return nil
	}
	out := u.b[:n]
	u.b = u.b[n:]
	return out
}
