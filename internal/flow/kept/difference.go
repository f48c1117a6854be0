package kept

import "math/bits"

// AppendDifference writes a figure's bits by how they differ from those of the one
// before: a byte that says how many zero bytes lead and how many follow, and those
// between.
func AppendDifference(b []byte, last, x uint64) []byte {
	d := x ^ last
	if d == 0 {
		return append(b, 0xff)
	}
	lead, trail := bits.LeadingZeros64(d)/8, bits.TrailingZeros64(d)/8
	b = append(b, byte(lead<<4|trail))
	d >>= 8 * trail
	for range 8 - lead - trail {
		b = append(b, byte(d))
		d >>= 8
	}
	return b
}

// TakeDifference reads what AppendDifference wrote after the same figure, and
// returns what follows; ok is false where these are no such bytes.
func TakeDifference(b []byte, last uint64) (x uint64, rest []byte, ok bool) {
	if len(b) == 0 {
		return 0, nil, false
	}
	head := b[0]
	b = b[1:]
	if head == 0xff {
		return last, b, true
	}
	lead, trail := int(head>>4), int(head&15)
	size := 8 - lead - trail
	if size < 1 || size > len(b) {
		return 0, nil, false
	}
	var d uint64
	for j := size - 1; j >= 0; j-- {
		d = d<<8 | uint64(b[j])
	}
	return last ^ d<<(8*trail), b[size:], true
}
