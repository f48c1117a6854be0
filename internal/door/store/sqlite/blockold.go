package sqlite

import (
	"encoding/binary"
	"fmt"
	"math"

	"dewcase/internal/roof"
)

// firstFormat is the format in which days were sealed up to schema 4: one zstd
// frame over columns of variable-length integers: the number of readings; their
// times as differences of differences; arrival less time as differences; runs of
// equal flags; runs of equal sets of quantities; then a column a quantity, of
// differences of whole numbers at a power of ten or of the floats' bits. It is
// read, and such a day is written anew when it is next opened or looked over.
const firstFormat = 1

func openFirstFormat(data []byte, n int64, name string) ([]roof.Reading, error) {
	b, err := opener.DecodeAll(data, make([]byte, 0, 8*n+64))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errBlock, err)
	}
	r := unpacker{b: b}
	if r.byte() != firstFormat || r.uvarint() != uint64(n) {
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

func (u *unpacker) bits() uint64 {
	raw := u.take(8)
	if u.bad {
		return 0
	}
	return binary.LittleEndian.Uint64(raw)
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
		case decimals < decimalsOf:
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
