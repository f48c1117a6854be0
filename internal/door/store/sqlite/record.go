package sqlite

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"math"
	"math/bits"
	"time"

	"dewcase/internal/roof"
)

// castagnoli is the CRC-32C table, the polynomial that processors compute.
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

const dayMS = 24 * 60 * 60 * 1000

// dayOf is the UTC day of a time, counted from 1970-01-01.
func dayOf(ms int64) int64 {
	d := ms / dayMS
	if ms%dayMS < 0 {
		d--
	}
	return d
}

func fromMS(ms int64) time.Time { return time.UnixMilli(ms).UTC() }

// ceilMS is the first millisecond not before t.
func ceilMS(t time.Time) int64 {
	ms := t.UnixMilli()
	if time.UnixMilli(ms).Before(t) {
		ms++
	}
	return ms
}

// appendRecord writes what a row holds of a reading: the quantities present,
// flags, arrival, the values' bits, and a CRC-32C over these and the row's key.
func appendRecord(b []byte, logger int64, r *roof.Reading) []byte {
	start := len(b)
	at := r.At.UnixMilli()
	b = append(b, 0)
	b = binary.AppendUvarint(b, uint64(r.Flags))
	b = binary.AppendVarint(b, r.Arrived.UnixMilli()-at)
	for q := range roof.Quantity(roof.QuantityCount) {
		if x, ok := r.Values.Get(q); ok {
			b[start] |= 1 << q
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
	}
	return binary.LittleEndian.AppendUint32(b, rowCRC(logger, at, b[start:]))
}

func rowCRC(logger, at int64, body []byte) uint32 {
	var key [16]byte
	binary.LittleEndian.PutUint64(key[:], uint64(logger))
	binary.LittleEndian.PutUint64(key[8:], uint64(at))
	return crc32.Update(crc32.Update(0, castagnoli, key[:]), castagnoli, body)
}

var errRow = errors.New("the row's check value does not fit its content")

// readRecord is the inverse of appendRecord.
func readRecord(rec []byte, logger int64, name string, at int64) (roof.Reading, error) {
	n := len(rec) - 4
	if n < 3 || binary.LittleEndian.Uint32(rec[n:]) != rowCRC(logger, at, rec[:n]) {
		return roof.Reading{}, errRow
	}
	has, b := rec[0], rec[1:n]
	flags, k := binary.Uvarint(b)
	if k <= 0 {
		return roof.Reading{}, errRow
	}
	b = b[k:]
	arrived, k := binary.Varint(b)
	if k <= 0 {
		return roof.Reading{}, errRow
	}
	b = b[k:]
	if len(b) != 8*bits.OnesCount8(has) {
		return roof.Reading{}, errRow
	}
	r := roof.Reading{Logger: name, At: fromMS(at), Arrived: fromMS(at + arrived), Flags: roof.Flags(flags)}
	for q := range roof.Quantity(roof.QuantityCount) {
		if has&(1<<q) != 0 {
			r.Values.Set(q, math.Float64frombits(binary.LittleEndian.Uint64(b)))
			b = b[8:]
		}
	}
	return r, nil
}

// digest is a sum over a set of readings that does not depend on their order:
// SHA-256 of each, added modulo 2^256. It tells a reading that was altered,
// added or taken away from a whole day.
type digest [4]uint64

func (d *digest) add(h digest) {
	var c uint64
	for i := range d {
		d[i], c = bits.Add64(d[i], h[i], c)
	}
}

func (d *digest) sub(h digest) {
	var c uint64
	for i := range d {
		d[i], c = bits.Sub64(d[i], h[i], c)
	}
}

func (d digest) bytes() []byte {
	b := make([]byte, 0, 32)
	for _, w := range d {
		b = binary.LittleEndian.AppendUint64(b, w)
	}
	return b
}

func asDigest(b []byte) (d digest) {
	if len(b) == 32 {
		for i := range d {
			d[i] = binary.LittleEndian.Uint64(b[8*i:])
		}
	}
	return d
}

// The two things of which digests are kept.
const (
	ofRecord = "reading"
	ofAside  = "aside"
)

// digestOf covers everything that a reading says, with the names in full.
func digestOf(kind, caseID string, r *roof.Reading) digest {
	var room [256]byte
	b := append(room[:0], kind...)
	b = binary.AppendUvarint(b, uint64(len(caseID)))
	b = append(b, caseID...)
	b = binary.AppendUvarint(b, uint64(len(r.Logger)))
	b = append(b, r.Logger...)
	b = binary.AppendVarint(b, r.At.UnixMilli())
	b = binary.AppendVarint(b, r.Arrived.UnixMilli())
	b = binary.AppendUvarint(b, uint64(r.Flags))
	for q := range roof.Quantity(roof.QuantityCount) {
		if x, ok := r.Values.Get(q); ok {
			b = append(b, byte(q))
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
	}
	h := sha256.Sum256(b)
	return asDigest(h[:])
}
