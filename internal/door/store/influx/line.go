package influx

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// The measurements and their names. One point a reading: the case and logger
// are tags, each measured quantity a float field under its usual name, and
// beside them the flags and the time of arrival, as floats too, since a field
// that changes its type is refused.
const (
	ofReading    = "reading"
	ofAside      = "reading_aside" // what was kept aside, tagged with its number
	fieldFlags   = "flags"
	fieldArrived = "arrived_ms"
)

// The times that the engine can keep: it counts nanoseconds in 64 bits.
var (
	earliest = time.Date(1678, 1, 1, 0, 0, 0, 0, time.UTC)
	latest   = time.Date(2262, 1, 1, 0, 0, 0, 0, time.UTC)
)

// tag writes a name so that neither the line protocol nor a query needs to
// escape it: what is not a letter, digit, dot, dash or underscore as %XX.
func tag(name string) string {
	plain := true
	for i := range len(name) {
		plain = plain && isPlain(name[i])
	}
	if plain && name != "" {
		return name
	}
	var b strings.Builder
	for i := range len(name) {
		if isPlain(name[i]) {
			b.WriteByte(name[i])
		} else {
			fmt.Fprintf(&b, "%%%02X", name[i])
		}
	}
	if name == "" {
		return "%"
	}
	return b.String()
}

func isPlain(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '.' || c == '_' || c == '-'
}

// appendLine writes one outgoing reading as a line of the protocol, times in
// milliseconds. The shortest decimal that reads back as the same float64 is
// what strconv writes, so values come back bit for bit.
func appendLine(b []byte, o *roof.Outgoing) []byte {
	if o.Aside != 0 {
		b = append(b, ofAside+",aside="...)
		b = strconv.AppendInt(b, o.Aside, 10)
	} else {
		b = append(b, ofReading...)
	}
	b = append(b, ",case="...)
	b = append(b, tag(o.Case)...)
	b = append(b, ",logger="...)
	b = append(b, tag(o.Reading.Logger)...)
	b = append(b, ' ')
	for q := range roof.Quantity(roof.QuantityCount) {
		if x, ok := o.Reading.Values.Get(q); ok {
			b = append(b, q.String()...)
			b = append(b, '=')
			b = appendFloat(b, x)
			b = append(b, ',')
		}
	}
	b = append(b, fieldFlags+"="...)
	b = strconv.AppendUint(b, uint64(o.Reading.Flags), 10)
	b = append(b, ","+fieldArrived+"="...)
	b = strconv.AppendInt(b, o.Reading.Arrived.UnixMilli(), 10)
	b = append(b, ' ')
	b = strconv.AppendInt(b, o.Reading.At.UnixMilli(), 10)
	return append(b, '\n')
}

func appendFloat(b []byte, x float64) []byte { return strconv.AppendFloat(b, x, 'g', -1, 64) }

// Point is a derived figure to be copied: hourly values, nightly summaries.
type Point struct {
	Measurement string
	Tags        [][2]string // in the order in which they are to be written; empty values are left out
	Fields      []Field
	At          time.Time
}

// Field is one figure of a point.
type Field struct {
	Name  string
	Value float64
}

func appendPoint(b []byte, p *Point) []byte {
	start := len(b)
	b = append(b, p.Measurement...)
	for _, t := range p.Tags {
		if t[1] != "" {
			b = append(append(append(append(b, ','), t[0]...), '='), tag(t[1])...)
		}
	}
	sep := byte(' ')
	for _, f := range p.Fields {
		if math.IsNaN(f.Value) || math.IsInf(f.Value, 0) {
			continue
		}
		b = append(append(append(b, sep), f.Name...), '=')
		b = appendFloat(b, f.Value)
		sep = ','
	}
	if sep == ' ' { // nothing to say
		return b[:start]
	}
	b = append(b, ' ')
	b = strconv.AppendInt(b, p.At.UnixMilli(), 10)
	return append(b, '\n')
}
