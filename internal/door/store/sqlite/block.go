package sqlite

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"

	"github.com/klauspost/compress/zstd"

	"dewcase/internal/roof"
)

// A sealed day is one zstd frame over columns of variable-length integers:
// the number of readings; their times as differences of differences; arrival
// less time as differences; runs of equal flags; runs of equal sets of
// quantities; then a column a quantity. Values that are all short decimals (as
// loggers send them) are differences of whole numbers at a power of ten, which
// division by that power turns back into the very same float64; a column with
// any other value holds the floats' bits.
const blockFormat = 1

// maxDecimals is how many decimals a value may have to count as short.
const maxDecimals = 6

// bitColumn marks a column that holds bits instead of decimals.
const bitColumn = 255

// maxBlockReadings is how many readings a day may have to be sealed: one a second
// and some.
const maxBlockReadings = 100_000

// maxBlockBytes bounds what unpacking a block may take.
const maxBlockBytes = 16 << 20

var powersOfTen = [maxDecimals + 1]float64{1, 10, 100, 1e3, 1e4, 1e5, 1e6}

var (
	packer, _ = zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1),
		zstd.WithWindowSize(1<<18))
	opener, _ = zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecoderMaxMemory(maxBlockBytes))
)

var errBlock = errors.New("the sealed day's check value does not fit its content")

// blockCRC covers a block's content and its key.
func blockCRC(data []byte, logger, day, n int64) uint32 {
	var key [24]byte
	binary.LittleEndian.PutUint64(key[:], uint64(logger))
	binary.LittleEndian.PutUint64(key[8:], uint64(day))
	binary.LittleEndian.PutUint64(key[16:], uint64(n))
	return crc32.Update(crc32.Update(0, castagnoli, key[:]), castagnoli, data)
}

// packBlock seals readings of one logger and day, in time order.
func packBlock(readings []roof.Reading) []byte {
	b := make([]byte, 0, 16*len(readings)+64)
	b = append(b, blockFormat)
	b = binary.AppendUvarint(b, uint64(len(readings)))
	var at, step, lag int64
	for i := range readings {
		ms := readings[i].At.UnixMilli()
		b = binary.AppendVarint(b, ms-at-step)
		step, at = ms-at, ms
	}
	for i := range readings {
		d := readings[i].Arrived.UnixMilli() - readings[i].At.UnixMilli()
		b = binary.AppendVarint(b, d-lag)
		lag = d
	}
	b = packRuns(b, readings, func(r *roof.Reading) uint64 { return uint64(r.Flags) })
	b = packRuns(b, readings, present)
	col := make([]float64, 0, len(readings))
	for q := range roof.Quantity(roof.QuantityCount) {
		col = col[:0]
		for i := range readings {
			if x, ok := readings[i].Values.Get(q); ok {
				col = append(col, x)
			}
		}
		b = packColumn(b, col)
	}
	return packer.EncodeAll(b, nil)
}

func present(r *roof.Reading) uint64 {
	var has uint64
	for q := range roof.Quantity(roof.QuantityCount) {
		if r.Values.Has(q) {
			has |= 1 << q
		}
	}
	return has
}

func packRuns(b []byte, readings []roof.Reading, of func(*roof.Reading) uint64) []byte {
	for i := 0; i < len(readings); {
		v, k := of(&readings[i]), i+1
		for k < len(readings) && of(&readings[k]) == v {
			k++
		}
		b = binary.AppendUvarint(binary.AppendUvarint(b, uint64(k-i)), v)
		i = k
	}
	return b
}

func packColumn(b []byte, col []float64) []byte {
	if len(col) == 0 {
		return b
	}
	decimals := 0
	for _, x := range col {
		for decimals <= maxDecimals && !isDecimal(x, decimals) {
			decimals++
		}
	}
	if decimals > maxDecimals {
		b = append(b, bitColumn)
		for _, x := range col {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
		return b
	}
	b = append(b, byte(decimals))
	var last int64
	for _, x := range col {
		n := scaled(x, decimals)
		b = binary.AppendVarint(b, n-last)
		last = n
	}
	return b
}

func scaled(x float64, decimals int) int64 { return int64(math.Round(x * powersOfTen[decimals])) }

// isDecimal reports whether x comes back from its scaled whole number bit for
// bit; not so for -0.
func isDecimal(x float64, decimals int) bool {
	if !(math.Abs(x) < 1e9) {
		return false
	}
	return math.Float64bits(float64(scaled(x, decimals))/powersOfTen[decimals]) == math.Float64bits(x)
}

// openBlock unpacks a sealed day, checked.
func openBlock(data []byte, crc uint32, logger, day, n int64, name string) ([]roof.Reading, error) {
	if crc != blockCRC(data, logger, day, n) {
		return nil, errBlock
	}
	if n < 0 || n > maxBlockReadings {
		return nil, errBlock
	}
	b, err := opener.DecodeAll(data, make([]byte, 0, 8*n+64))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errBlock, err)
	}
	r := unpacker{b: b}
	if r.byte() != blockFormat || r.uvarint() != uint64(n) {
		return nil, errBlock
	}
	out := make([]roof.Reading, n)
	var at, step, lag int64
	for i := range out {
		step += r.varint()
		at += step
		out[i].Logger, out[i].At = name, fromMS(at)
	}
	for i := range out {
		lag += r.varint()
		out[i].Arrived = fromMS(out[i].At.UnixMilli() + lag)
	}
	has := make([]uint8, n)
	r.runs(int(n), func(i int, v uint64) { out[i].Flags = roof.Flags(v) })
	r.runs(int(n), func(i int, v uint64) { has[i] = uint8(v) })
	for q := range roof.Quantity(roof.QuantityCount) {
		r.column(out, has, q)
	}
	if r.bad || len(r.b) != 0 {
		return nil, errBlock
	}
	return out, nil
}

// unpacker reads a block's columns; bad is set by whatever does not fit.
type unpacker struct {
	b   []byte
	bad bool
}

func (u *unpacker) byte() byte {
	if len(u.b) == 0 {
		u.bad = true
		return 0
	}
	x := u.b[0]
	u.b = u.b[1:]
	return x
}

func (u *unpacker) uvarint() uint64 {
	x, k := binary.Uvarint(u.b)
	if k <= 0 {
		u.bad, k = true, 0
	}
	u.b = u.b[k:]
	return x
}

func (u *unpacker) varint() int64 {
	x, k := binary.Varint(u.b)
	if k <= 0 {
		u.bad, k = true, 0
	}
	u.b = u.b[k:]
	return x
}

func (u *unpacker) bits() uint64 {
	if len(u.b) < 8 {
		u.bad = true
		return 0
	}
	x := binary.LittleEndian.Uint64(u.b)
	u.b = u.b[8:]
	return x
}

func (u *unpacker) runs(n int, set func(i int, v uint64)) {
	for i := 0; i < n; {
		run, v := u.uvarint(), u.uvarint()
		if u.bad || run == 0 || run > uint64(n-i) {
			u.bad = true
			return
		}
		for ; run > 0; run-- {
			set(i, v)
			i++
		}
	}
}

func (u *unpacker) column(out []roof.Reading, has []uint8, q roof.Quantity) {
	begun, decimals := false, byte(0)
	var last int64
	for i := range out {
		if has[i]&(1<<q) == 0 {
			continue
		}
		if !begun {
			begun, decimals = true, u.byte()
		}
		switch {
		case decimals == bitColumn:
			out[i].Values.Set(q, math.Float64frombits(u.bits()))
		case int(decimals) < len(powersOfTen):
			last += u.varint()
			out[i].Values.Set(q, float64(last)/powersOfTen[decimals])
		default:
			u.bad = true
		}
		if u.bad {
			return
		}
	}
}
