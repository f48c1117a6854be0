package sqlite

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"math"
	"slices"

	"github.com/klauspost/compress/zstd"

	"dewcase/internal/roof"
)

// A sealed day is its number of readings and then columns (see columns.pack):
// the times; the arrivals; runs of equal flags; runs of equal sets of
// quantities; then a column a quantity.
//
// Times are the nominal interval, how many intervals each step is long less one,
// and what each reading lies beside that grid, so that the jitter of a stamp is
// paid for once and not again at the next one. Arrivals are written as they are,
// or as what they lie behind the times, whichever is shorter: a file's readings
// came at once, a broker's each after its own.
//
// Values are whole numbers at a scale that gives every float64 of the column
// back bit for bit (see scale); a few that it does not are listed apart, and a
// column of other values holds the floats' bits in a zstd frame.
const blockFormat = 2

// bitColumn marks a column that holds bits instead of whole numbers, withOdds one
// that lists some of its values apart.
const (
	bitColumn = 255
	withOdds  = 64
)

// maxBlockReadings is how many readings a day may have to be sealed: one a second
// and some.
const maxBlockReadings = 100_000

// maxBlockBytes bounds what unpacking a block may take.
const maxBlockBytes = 16 << 20

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
	c := columnRoom.Get().(*columns)
	defer columnRoom.Put(c)
	n := len(readings)
	b := make([]byte, 0, 4*n+64)
	b = append(b, blockFormat)
	b = binary.AppendUvarint(b, uint64(n))
	b = c.packTimes(b, readings)
	b = c.packArrivals(b, readings)
	b = packRuns(b, readings, func(r *roof.Reading) uint64 { return uint64(r.Flags) })
	b = packRuns(b, readings, present)
	for q := range roof.Quantity(roof.QuantityCount) {
		c.floats = c.floats[:0]
		for i := range readings {
			if x, ok := readings[i].Values.Get(q); ok {
				c.floats = append(c.floats, x)
			}
		}
		b = c.packValues(b)
	}
	return b
}

func (c *columns) packTimes(b []byte, readings []roof.Reading) []byte {
	times, steps := c.times[:0], c.ints[:0]
	for i := range readings {
		times = append(times, readings[i].At.UnixMilli())
	}
	interval := nominal(times, steps)
	b = binary.AppendUvarint(b, uint64(interval))
	var at, gone int64 // the last time, and the intervals up to it
	for i, t := range times {
		step := int64(0)
		if i > 0 {
			step = (t - at + interval/2) / interval
			steps = append(steps, step-1)
		}
		gone += step
		at, times[i] = t, t-gone*interval
	}
	c.times, c.ints = times, steps
	return c.pack(c.pack(b, steps), times)
}

// nominal is the interval of a logger's clock in milliseconds, from the median
// step and how many of it there were.
func nominal(times, room []int64) int64 {
	if len(times) < 2 {
		return 1
	}
	for i := range min(len(times)-1, 255) {
		room = append(room, times[i+1]-times[i])
	}
	slices.Sort(room)
	interval := max(room[len(room)/2], 1)
	var gone int64
	for i := range times[1:] {
		gone += (times[i+1] - times[i] + interval/2) / interval
	}
	return max((times[len(times)-1]-times[0]+gone/2)/max(gone, 1), 1)
}

// The two ways in which arrivals are written.
const (
	arrivalsThemselves = iota
	arrivalsBehindTimes
)

func (c *columns) packArrivals(b []byte, readings []roof.Reading) []byte {
	start := len(b)
	write := func(way byte) {
		c.ints = c.ints[:0]
		for i := range readings {
			ms := readings[i].Arrived.UnixMilli()
			if way == arrivalsBehindTimes {
				ms -= readings[i].At.UnixMilli()
			}
			c.ints = append(c.ints, ms)
		}
		b = c.pack(append(b, way), c.ints)
	}
	write(arrivalsThemselves)
	if end := len(b); end-start > 16 {
		write(arrivalsBehindTimes)
		if len(b)-end < end-start {
			return append(b[:start], b[end:]...)
		}
		b = b[:end]
	}
	return b
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

func (c *columns) packValues(b []byte) []byte {
	if len(c.floats) == 0 {
		return b
	}
	c.ints = slices.Grow(c.ints[:0], len(c.floats))[:len(c.floats)]
	for of := range scale(scales) {
		var ok bool
		if c.odds, ok = of.numbers(c.floats, c.ints, c.odds[:0]); !ok {
			continue
		}
		if len(c.odds) == 0 {
			return c.pack(append(b, byte(of)), c.ints)
		}
		b = binary.AppendUvarint(append(b, byte(of)|withOdds), uint64(len(c.odds)))
		last := 0
		for _, o := range c.odds {
			zero := uint64(0)
			if o.bits == minusZero {
				zero = 1
			}
			b = binary.AppendUvarint(b, uint64(o.at-last)<<1|zero)
			if last = o.at; zero == 0 {
				b = binary.LittleEndian.AppendUint64(b, o.bits)
			}
		}
		return c.pack(b, c.ints)
	}
	raw := make([]byte, 0, 8*len(c.floats))
	for _, x := range c.floats {
		raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(x))
	}
	raw = packer.EncodeAll(raw, nil)
	return append(binary.AppendUvarint(append(b, bitColumn), uint64(len(raw))), raw...)
}

// openBlock unpacks a sealed day, checked, into room if it is large enough.
func openBlock(data []byte, crc uint32, logger, day, n int64, name string, room []roof.Reading) ([]roof.Reading,
	error) {
	if crc != blockCRC(data, logger, day, n) {
		return nil, errBlock
	}
	return unpackBlock(data, n, name, room)
}

func unpackBlock(data []byte, n int64, name string, room []roof.Reading) ([]roof.Reading, error) {
	if n < 0 || n > maxBlockReadings {
		return nil, errBlock
	}
	if len(data) > 0 && data[0] != blockFormat {
		return openFirstFormat(data, n, name)
	}
	c := columnRoom.Get().(*columns)
	defer columnRoom.Put(c)
	r := unpacker{b: data}
	if r.byte() != blockFormat || r.uvarint() != uint64(n) {
		return nil, errBlock
	}
	out := slices.Grow(room[:0], int(n))[:n]
	clear(out)
	r.times(c, out, name)
	r.arrivals(c, out)
	has := make([]uint8, n)
	r.runs(int(n), func(i int, v uint64) { out[i].Flags = roof.Flags(v) })
	r.runs(int(n), func(i int, v uint64) { has[i] = uint8(v) })
	for q := range roof.Quantity(roof.QuantityCount) {
		r.values(c, out, has, q)
	}
	if r.bad || len(r.b) != 0 {
		return nil, errBlock
	}
	return out, nil
}

func (u *unpacker) times(c *columns, out []roof.Reading, name string) {
	interval := int64(u.uvarint())
	c.times = append(c.times[:0], u.ints(c, max(len(out)-1, 0))...)
	var gone int64
	for i, beside := range u.ints(c, len(out)) {
		if i > 0 {
			gone += (c.times[i-1] + 1) * interval
		}
		out[i].Logger, out[i].At = name, fromMS(beside+gone)
	}
}

func (u *unpacker) arrivals(c *columns, out []roof.Reading) {
	way := u.byte()
	for i, ms := range u.ints(c, len(out)) {
		if way == arrivalsBehindTimes {
			ms += out[i].At.UnixMilli()
		}
		out[i].Arrived = fromMS(ms)
	}
	u.bad = u.bad || way > arrivalsBehindTimes
}

func (u *unpacker) values(c *columns, out []roof.Reading, has []uint8, q roof.Quantity) {
	n := 0
	for i := range out {
		n += int(has[i] >> q & 1)
	}
	if n == 0 || u.bad {
		return
	}
	if cap(c.floats) < n {
		c.floats = make([]float64, 0, n)
	}
	col := c.floats[:n]
	switch of := u.byte(); {
	case of == bitColumn:
		raw, err := opener.DecodeAll(u.take(u.uvarint()), nil)
		if u.bad = err != nil || len(raw) != 8*n; u.bad {
			return
		}
		for i := range col {
			col[i] = math.Float64frombits(binary.LittleEndian.Uint64(raw[8*i:]))
		}
	case of&^withOdds < scales:
		c.odds = c.odds[:0]
		if of&withOdds != 0 {
			u.odds(c, n)
		}
		for i, x := range u.ints(c, n) {
			col[i] = scale(of &^ withOdds).value(x)
		}
		for _, o := range c.odds {
			col[o.at] = math.Float64frombits(o.bits)
		}
	default:
		u.bad = true
	}
	for i := range out {
		if has[i]>>q&1 != 0 {
			out[i].Values.Set(q, col[0])
			col = col[1:]
		}
	}
}

func (u *unpacker) odds(c *columns, n int) {
	at := uint64(0)
	for k := u.uvarint(); k > 0 && !u.bad; k-- {
		x := u.uvarint()
		o := odd{bits: minusZero}
		if x&1 == 0 {
			o.bits = u.bits()
		}
		if at += x >> 1; at >= uint64(n) {
			u.bad = true
			return
		}
		o.at = int(at)
		c.odds = append(c.odds, o)
	}
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
