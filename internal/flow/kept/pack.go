package kept

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"

	"dewcase/internal/roof"
)

// Pack writes a value into bytes from which Unpack makes the same again: every
// bit of a float, nil told from empty, and what two pointers share still shared.
// Unexported fields are left out; a value of a kind that cannot be written
// (functions, channels, interfaces) is an error.
func Pack(v any) ([]byte, error) {
	of := shapeOf(reflect.TypeOf(v))
	p := packer{b: slices.Clone(of[:]), seen: map[packed]uint64{}}
	err := p.put(reflect.ValueOf(v))
	return p.b, err
}

// Unpack fills what into points to from bytes that Pack wrote of a value of the
// same type. Other bytes are an error, as are those of a type that was made up
// otherwise when they were written.
func Unpack(b []byte, into any) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("reading a kept value: %v", r)
		}
	}()
	v := reflect.ValueOf(into).Elem()
	u := unpacker{b: b}
	if of := shapeOf(v.Type()); shape(u.take(uint64(len(of)))) != of {
		return fmt.Errorf("reading a kept value: it is none of the type %s as it is now", v.Type())
	}
	u.get(v)
	if len(u.b) > 0 {
		return fmt.Errorf("reading a kept value: %d bytes are left over", len(u.b))
	}
	return nil
}

// shape tells types apart by what is written of their values.
type shape [8]byte

var shapes sync.Map // reflect.Type to shape

func shapeOf(t reflect.Type) (out shape) {
	if known, ok := shapes.Load(t); ok {
		return known.(shape)
	}
	if t != nil {
		sum := sha256.Sum256([]byte(described(t, map[reflect.Type]bool{})))
		copy(out[:], sum[:])
		shapes.Store(t, out)
	}
	return out
}

// described spells a type out down to what it is made of; a type within itself
// goes by its name.
func described(t reflect.Type, within map[reflect.Type]bool) string {
	if within[t] || t == timeType || t == locationType {
		return t.String()
	}
	switch t.Kind() {
	case reflect.Slice:
		return "[]" + described(t.Elem(), within)
	case reflect.Array:
		return fmt.Sprintf("[%d]%s", t.Len(), described(t.Elem(), within))
	case reflect.Pointer:
		return "*" + described(t.Elem(), within)
	case reflect.Map:
		return "map[" + described(t.Key(), within) + "]" + described(t.Elem(), within)
	case reflect.Struct:
		within[t] = true
		defer delete(within, t)
		var b strings.Builder
		for i := range t.NumField() {
			if f := t.Field(i); f.IsExported() {
				fmt.Fprintf(&b, "%s %s;", f.Name, described(f.Type, within))
			}
		}
		return "{" + b.String() + "}"
	}
	return t.Kind().String()
}

var (
	timeType     = reflect.TypeFor[time.Time]()
	locationType = reflect.TypeFor[*time.Location]()
	floatsType   = reflect.TypeFor[[]float64]()
)

// packed is a pointer that was written.
type packed struct {
	at uintptr
	of reflect.Type
}

type packer struct {
	b    []byte
	seen map[packed]uint64 // numbered from 2 in the order of writing
}

func (p *packer) text(s string) { p.b = append(binary.AppendUvarint(p.b, uint64(len(s))), s...) }

func (p *packer) put(v reflect.Value) error {
	switch v.Type() {
	case timeType:
		return p.time(v.Interface().(time.Time))
	case locationType:
		return p.location(v.Interface().(*time.Location))
	}
	switch v.Kind() {
	case reflect.Bool:
		p.b = append(p.b, 0)
		if v.Bool() {
			p.b[len(p.b)-1] = 1
		}
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		p.b = binary.AppendVarint(p.b, v.Int())
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		p.b = binary.AppendUvarint(p.b, v.Uint())
	case reflect.Float64:
		p.b = binary.LittleEndian.AppendUint64(p.b, math.Float64bits(v.Float()))
	case reflect.String:
		p.text(v.String())
	case reflect.Slice:
		return p.list(v)
	case reflect.Array:
		return p.each(v)
	case reflect.Map:
		return p.entries(v)
	case reflect.Pointer:
		return p.pointer(v)
	case reflect.Struct:
		for i := range v.NumField() {
			if !v.Type().Field(i).IsExported() {
				continue
			}
			if err := p.put(v.Field(i)); err != nil {
				return err
			}
		}
	default:
		return fmt.Errorf("a value of type %s cannot be kept", v.Type())
	}
	return nil
}

// counted writes a length, 0 for nil.
func (p *packer) counted(v reflect.Value) bool {
	if v.IsNil() {
		p.b = append(p.b, 0)
		return false
	}
	p.b = binary.AppendUvarint(p.b, uint64(v.Len())+1)
	return true
}

func (p *packer) list(v reflect.Value) error {
	if !p.counted(v) {
		return nil
	}
	if v.Type() == floatsType {
		for _, x := range v.Interface().([]float64) {
			p.b = binary.LittleEndian.AppendUint64(p.b, math.Float64bits(x))
		}
		return nil
	}
	return p.each(v)
}

func (p *packer) each(v reflect.Value) error {
	for i := range v.Len() {
		if err := p.put(v.Index(i)); err != nil {
			return err
		}
	}
	return nil
}

// entries writes a map in the order of its keys' bytes, so that equal values are
// equal bytes.
func (p *packer) entries(v reflect.Value) error {
	if !p.counted(v) {
		return nil
	}
	keys := make([]struct {
		b []byte
		v reflect.Value
	}, 0, v.Len())
	for _, k := range v.MapKeys() {
		q := packer{seen: map[packed]uint64{}}
		if err := q.put(k); err != nil {
			return err
		}
		keys = append(keys, struct {
			b []byte
			v reflect.Value
		}{q.b, k})
	}
	slices.SortFunc(keys, func(x, y struct {
		b []byte
		v reflect.Value
	}) int {
		return bytes.Compare(x.b, y.b)
	})
	for _, k := range keys {
		p.b = append(p.b, k.b...)
		if err := p.put(v.MapIndex(k.v)); err != nil {
			return err
		}
	}
	return nil
}

func (p *packer) pointer(v reflect.Value) error {
	if v.IsNil() {
		p.b = append(p.b, 0)
		return nil
	}
	key := packed{v.Pointer(), v.Type()}
	if n, ok := p.seen[key]; ok {
		p.b = binary.AppendUvarint(p.b, n)
		return nil
	}
	p.seen[key] = uint64(len(p.seen)) + 2
	p.b = append(p.b, 1)
	return p.put(v.Elem())
}

// The zones of a time.
const (
	inUTC   = iota
	inNamed // of the IANA database
	inFixed // an offset alone, as of a time that was read from text
)

func (p *packer) time(t time.Time) error {
	p.b = binary.AppendVarint(p.b, t.Unix())
	p.b = binary.AppendUvarint(p.b, uint64(t.Nanosecond()))
	name := t.Location().String()
	if t.Location() == time.UTC {
		p.b = append(p.b, inUTC)
	} else if l, err := roof.ZoneOf(name); name != "" && err == nil && sameOffset(t, t.In(l)) {
		p.b = append(p.b, inNamed)
		p.text(name)
	} else {
		abbreviation, offset := t.Zone()
		p.b = append(p.b, inFixed)
		p.text(abbreviation)
		p.b = binary.AppendVarint(p.b, int64(offset))
	}
	return nil
}

func sameOffset(a, b time.Time) bool {
	_, x := a.Zone()
	_, y := b.Zone()
	return x == y
}

// location writes a zone by its name, "" for none.
func (p *packer) location(l *time.Location) error {
	if l == nil {
		p.text("")
		return nil
	}
	name := l.String()
	if _, err := roof.ZoneOf(name); err != nil || name == "" {
		return fmt.Errorf("the zone %q has no name by which it is found again", name)
	}
	p.text(name)
	return nil
}

type unpacker struct {
	b    []byte
	seen []reflect.Value
}

var errShort = errors.New("it ends early")

func (u *unpacker) uint() uint64 {
	x, n := binary.Uvarint(u.b)
	if n <= 0 {
		panic(errShort)
	}
	u.b = u.b[n:]
	return x
}

func (u *unpacker) int() int64 {
	x, n := binary.Varint(u.b)
	if n <= 0 {
		panic(errShort)
	}
	u.b = u.b[n:]
	return x
}

func (u *unpacker) take(n uint64) []byte {
	if n > uint64(len(u.b)) {
		panic(errShort)
	}
	out := u.b[:n]
	u.b = u.b[n:]
	return out
}

func (u *unpacker) text() string { return string(u.take(u.uint())) }

func (u *unpacker) float() float64 {
	return math.Float64frombits(binary.LittleEndian.Uint64(u.take(8)))
}

// count reads a length; ok is false for nil. No element takes less than no byte,
// so that a false length costs no memory beyond what was given.
func (u *unpacker) count() (n int, ok bool) {
	k := u.uint()
	if k == 0 {
		return 0, false
	}
	if k-1 > uint64(len(u.b))*8+64 {
		panic(errShort)
	}
	return int(k - 1), true
}

func (u *unpacker) get(v reflect.Value) {
	switch v.Type() {
	case timeType:
		v.Set(reflect.ValueOf(u.time()))
		return
	case locationType:
		if name := u.text(); name != "" {
			l, err := roof.ZoneOf(name)
			if err != nil {
				panic(err)
			}
			v.Set(reflect.ValueOf(l))
		}
		return
	}
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(u.take(1)[0] == 1)
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		v.SetInt(u.int())
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		v.SetUint(u.uint())
	case reflect.Float64:
		v.SetFloat(u.float())
	case reflect.String:
		v.SetString(u.text())
	case reflect.Slice:
		u.list(v)
	case reflect.Array:
		for i := range v.Len() {
			u.get(v.Index(i))
		}
	case reflect.Map:
		n, ok := u.count()
		if !ok {
			return
		}
		v.Set(reflect.MakeMap(v.Type()))
		for range n {
			key, x := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
			u.get(key)
			u.get(x)
			v.SetMapIndex(key, x)
		}
	case reflect.Pointer:
		switch n := u.uint(); {
		case n == 0:
		case n == 1:
			x := reflect.New(v.Type().Elem())
			u.seen = append(u.seen, x)
			v.Set(x)
			u.get(x.Elem())
		default:
			v.Set(u.seen[n-2])
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				u.get(v.Field(i))
			}
		}
	default:
		panic(fmt.Errorf("a value of type %s cannot be kept", v.Type()))
	}
}

func (u *unpacker) list(v reflect.Value) {
	n, ok := u.count()
	if !ok {
		return
	}
	if v.Type() == floatsType {
		b := u.take(8 * uint64(n))
		out := make([]float64, n)
		for i := range out {
			out[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
		}
		v.Set(reflect.ValueOf(out))
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), n, n))
	for i := range n {
		u.get(v.Index(i))
	}
}

func (u *unpacker) time() time.Time {
	t := time.Unix(u.int(), int64(u.uint()))
	switch u.take(1)[0] {
	case inUTC:
		return t.UTC()
	case inNamed:
		l, err := roof.ZoneOf(u.text())
		if err != nil {
			panic(err)
		}
		return t.In(l)
	default:
		name := u.text()
		return t.In(time.FixedZone(name, int(u.int())))
	}
}
