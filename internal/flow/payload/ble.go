package payload

import (
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"

	"dewcase/internal/roof"
)

// Advertisements of Bluetooth Low Energy in two open formats, BTHome version 2
// (https://bthome.io/format) and RAWv2 (data format 5 of the open protocols for
// its tags), as a gateway passes them on: the whole advertisement, or the data of
// the format alone, as bytes, hexadecimal or base64.
const (
	bthomeService = 0xfcd2 // the service's UUID
	rawV2Company  = 0x0499 // the identifier of the maker's data
	rawV2Format   = 5
	rawV2Length   = 24
)

// maxFrameBytes bounds what is taken for an advertisement; an extended one has at
// most 1650 bytes.
const maxFrameBytes = 2 << 10

// frameFields are those by which frames are read where the mapping lists none:
// their units are the format's. What a frame holds twice is of a second probe.
func frameFields() (main []Field, probes []Probe) {
	for i := 1; i <= 4; i++ {
		suffix := ""
		if i > 1 {
			suffix = strconv.Itoa(i)
		}
		name := func(key string) string {
			if suffix == "" {
				return "/" + key
			}
			return "/" + key + "_" + suffix
		}
		fields := []Field{{Quantity: roof.TempC, Pointer: name("temperature"), Unit: Celsius},
			{Quantity: roof.RHPct, Pointer: name("humidity"), Unit: Percent}}
		if i == 1 {
			main = append(fields, Field{Quantity: roof.BatteryPct, Pointer: "/battery", Unit: Percent})
			continue
		}
		probes = append(probes, Probe{Suffix: "-" + suffix, Fields: fields})
	}
	return main, probes
}

// frame decodes the advertisement that a message holds.
func (d *Decoder) frame(m *decoding, p *mapping, c captured) bool {
	root, data := value{kind: nullKind}, m.Payload
	if p.Data != "" {
		var err error
		if root, err = parseJSON(m.Payload); err != nil {
			m.reject(wrong(roof.BadPayload, "not JSON as it must be: %v", err), m.Payload)
			return true
		}
		at, ok := p.data.of(root, root)
		if !hold(p.where, root, root) || !present(p.present, root) || !ok && p.OnlyPresent {
			return false
		}
		if !ok || at.kind != textKind {
			m.miss(wrong(roof.NoQuantity, "there is no text at %s, where the mapping's data points; %s", p.Data, came(root)))
			return false
		}
		data = []byte(at.text)
	}
	bytes, err := frameBytes(data, p.Data == "")
	if err != nil {
		m.reject(wrong(roof.BadPayload, "%v", err), m.Payload)
		return true
	}
	read := bthome
	if p.Form == RAWv2Form {
		read = rawV2
	}
	frame, bad := read(bytes)
	if bad != nil {
		if bad.reason == roof.NoQuantity && p.OnlyPresent {
			return false
		}
		m.reject(bad, m.Payload)
		return true
	}
	before := len(m.readings)
	found := d.read(m, p, c, root, []element{{value: frame, framed: true}})
	if p.Pair == 0 {
		d.sameFrame(m, m.readings[before:], frame, bytes, p.Form)
	}
	return found
}

// frameBytes reads hexadecimal or base64 text; bare says that it may be the bytes
// themselves.
func frameBytes(data []byte, bare bool) ([]byte, error) {
	text := strings.TrimSpace(string(data))
	digits := strings.NewReplacer(" ", "", ":", "", "-", "").Replace(strings.TrimPrefix(text, "0x"))
	if len(text) > 2*maxFrameBytes {
		return nil, fmt.Errorf("an advertisement has at most %d bytes", maxFrameBytes)
	}
	if out, err := hex.DecodeString(digits); err == nil && len(out) > 0 {
		return out, nil
	}
	for _, encoding := range []*base64.Encoding{base64.StdEncoding, base64.RawStdEncoding, base64.URLEncoding,
		base64.RawURLEncoding} {
		if out, err := encoding.DecodeString(text); err == nil && len(out) > 0 {
			return out, nil
		}
	}
	if bare && len(data) > 0 {
		return data, nil
	}
	return nil, fmt.Errorf("the advertisement %.40q is neither hexadecimal nor base64", text)
}

// structure finds the data of one type and identifier in an advertisement, which
// is structures of a length, a type and data (Bluetooth Core Specification, volume
// 3, part C, section 11).
func structure(adv []byte, kind byte, id uint16) ([]byte, bool) {
	var found []byte
	ok := false
	for len(adv) > 0 {
		n := int(adv[0])
		if n == 0 {
			break // early termination
		}
		if n+1 > len(adv) {
			return nil, false
		}
		if part := adv[1 : n+1]; part[0] == kind && len(part) >= 3 && binary.LittleEndian.Uint16(part[1:]) == id {
			found, ok = part[3:], true
		}
		adv = adv[n+1:]
	}
	return found, ok
}

// scaled writes a whole number times 10^-decimals, so that no digit is lost.
func scaled(n int64, decimals int) string {
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	digits := fmt.Sprintf("%0*d", decimals+1, n)
	whole, fraction := digits[:len(digits)-decimals], strings.TrimRight(digits[len(digits)-decimals:], "0")
	if fraction != "" {
		fraction = "." + fraction
	}
	return sign + whole + fraction
}

func (v *value) add(name, number string) {
	v.names, v.items = append(v.names, name), append(v.items, value{kind: numberKind, text: number})
}

// rawV2 reads data format 5: temperature in 0.005 C, humidity in 0.0025 %, each
// with a value for none. Temperature, humidity, pressure (Pa), battery (mV) and
// the count of measurements are taken out.
func rawV2(b []byte) (value, *problem) {
	if data, ok := structure(b, 0xff, rawV2Company); ok {
		b = data
	} else if len(b) == rawV2Length+2 && binary.LittleEndian.Uint16(b) == rawV2Company {
		b = b[2:]
	}
	if len(b) != rawV2Length || b[0] != rawV2Format {
		return value{}, wrong(roof.BadPayload, "not a RAWv2 frame, which is %d bytes and begins with 05", rawV2Length)
	}
	out := value{kind: objectKind}
	if t := binary.BigEndian.Uint16(b[1:]); t != 0x8000 {
		out.add("temperature", scaled(int64(int16(t))*5, 3))
	}
	if h := binary.BigEndian.Uint16(b[3:]); h != 0xffff {
		out.add("humidity", scaled(int64(h)*25, 4))
	}
	if p := binary.BigEndian.Uint16(b[5:]); p != 0xffff {
		out.add("pressure_pa", strconv.Itoa(int(p)+50000))
	}
	if mv := binary.BigEndian.Uint16(b[13:]) >> 5; mv != 0x7ff {
		out.add("battery_mv", strconv.Itoa(int(mv)+1600))
	}
	if n := binary.BigEndian.Uint16(b[16:]); n != 0xffff {
		out.add("measurement", strconv.Itoa(int(n)))
	}
	if len(out.names) == 0 {
		return value{}, wrong(roof.NoQuantity, "the RAWv2 frame says of every value that it was not measured")
	}
	return out, nil
}

// object of BTHome: what it is named here, its bytes, sign and scale.
type bthomeObject struct {
	name     string // "" is skipped
	bytes    int    // 0: the first byte says
	signed   bool
	times    int64
	decimals int
}

// bthomeObjects are those of version 2 (https://bthome.io/format; checked against
// the table of the reference decoder). What has no place in a roof is skipped.
var bthomeObjects = func() map[byte]bthomeObject {
	out := map[byte]bthomeObject{}
	for _, same := range []struct {
		bytes int
		ids   string
	}{
		{1, "\x09\x0f\x10\x11\x15\x16\x17\x18\x19\x1a\x1b\x1c\x1d\x1e\x1f\x20\x21\x22\x23\x24\x25\x26\x27\x28\x29" +
			"\x2a\x2b\x2c\x2d\x3a\x46\x59\x60\x64"},
		{2, "\x06\x07\x08\x0c\x0d\x0e\x12\x13\x3c\x3d\x3f\x40\x41\x43\x44\x47\x48\x49\x4a\x51\x52\x56\x5a\x5d\x5e\x61\xf0"},
		{3, "\x04\x05\x0a\x0b\x42\x4b\xf2"},
		{4, "\x3e\x4c\x4d\x4e\x4f\x50\x55\x5b\x5c\x62\x63\xf1"},
		{0, "\x53\x54"},
	} {
		for _, id := range []byte(same.ids) {
			out[id] = bthomeObject{bytes: same.bytes}
		}
	}
	out[0x00] = bthomeObject{"packet", 1, false, 1, 0}
	out[0x01] = bthomeObject{"battery", 1, false, 1, 0}
	out[0x02] = bthomeObject{"temperature", 2, true, 1, 2}
	out[0x45] = bthomeObject{"temperature", 2, true, 1, 1}
	out[0x57] = bthomeObject{"temperature", 1, true, 1, 0}
	out[0x58] = bthomeObject{"temperature", 1, true, 35, 2}
	out[0x03] = bthomeObject{"humidity", 2, false, 1, 2}
	out[0x2e] = bthomeObject{"humidity", 1, false, 1, 0}
	out[0x14] = bthomeObject{"moisture", 2, false, 1, 2}
	out[0x2f] = bthomeObject{"moisture", 1, false, 1, 0}
	out[0x5f] = bthomeObject{"precipitation", 2, false, 1, 1}
	return out
}()

// bthome reads a frame of version 2. An object that is not known ends it, as its
// length is not known either; the specification lists objects in rising order so
// that this costs only what is newer.
func bthome(b []byte) (value, *problem) {
	if data, ok := structure(b, 0x16, bthomeService); ok {
		b = data
	} else if len(b) > 2 && binary.LittleEndian.Uint16(b) == bthomeService {
		b = b[2:]
	}
	switch {
	case len(b) == 0 || b[0]>>5 != 2:
		return value{}, wrong(roof.BadPayload, "not a BTHome frame of version 2, whose first byte is 40 or 44")
	case b[0]&1 != 0:
		return value{}, wrong(roof.Unsupported, "the BTHome frame is encrypted, and is not read; switch the encryption "+
			"off, or let the gateway decode it")
	}
	out := value{kind: objectKind}
	count := map[string]int{}
	for b = b[1:]; len(b) > 0; {
		o, known := bthomeObjects[b[0]]
		if !known {
			break
		}
		b = b[1:]
		n := o.bytes
		if n == 0 && len(b) > 0 {
			n = 1 + int(b[0])
		}
		if n == 0 || n > len(b) {
			return value{}, wrong(roof.BadPayload, "the BTHome frame ends within a value")
		}
		if o.name != "" {
			name := o.name
			if count[name]++; count[name] > 1 {
				name += "_" + strconv.Itoa(count[name])
			}
			out.add(name, scaled(littleEndian(b[:n], o.signed)*o.times, o.decimals))
		}
		b = b[n:]
	}
	if len(out.names) == count["packet"] {
		return value{}, wrong(roof.NoQuantity, "the BTHome frame holds neither temperature nor humidity")
	}
	return out, nil
}

func littleEndian(b []byte, signed bool) (n int64) {
	for i := len(b) - 1; i >= 0; i-- {
		n = n<<8 | int64(b[i])
	}
	if bits := 8 * len(b); signed && n >= 1<<(bits-1) {
		n -= 1 << bits
	}
	return n
}
