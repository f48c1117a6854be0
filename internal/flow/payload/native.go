package payload

import (
	"errors"
	"math"
	"strconv"
	"strings"

	"dewcase/internal/roof"
)

// native decodes a message on the native topic dewcase/{case}/{logger}.
func (d *Decoder) native(m *decoding, caseID, logger string) {
	if !roof.ValidCaseID(caseID) {
		m.reject(wrong(roof.BadTopic, "%.80q cannot name a case; 1 to 64 of a-z, 0-9 and - can", caseID), m.Payload)
		return
	}
	m.caseID = caseID
	// . and .. can name a logger in a file; in a topic they are somebody trying
	// to walk about.
	if !roof.ValidID(logger) || logger == "." || logger == ".." {
		m.reject(wrong(roof.BadLogger, "%.80q cannot name a logger; 1 to 64 of A-Z, a-z, 0-9, . _ - can", logger), m.Payload)
		return
	}
	m.logger = logger
	m.nativeBody(m.Payload)
}

// nativeBody decodes the native shapes, told apart by the first byte: an object,
// or an array of objects or of SenML; or SenML in CBOR.
func (d *decoding) nativeBody(body []byte) {
	if isCBORArray(body) {
		elements, bad := senMLOfCBOR(body)
		if bad != nil {
			d.reject(bad, body)
			return
		}
		d.senML(nil, elements, body)
		return
	}
	switch firstByte(body) {
	case '{':
		v, err := parseJSON(body)
		if err != nil {
			d.reject(wrong(roof.BadPayload, "not JSON as it must be: %v", err), body)
			return
		}
		d.object(v, body)
	case '[':
		elements, err := splitArray(body)
		if err != nil {
			d.reject(wrong(roof.BadPayload, "not JSON as it must be: %v", err), body)
			return
		}
		d.array(elements, body)
	default:
		d.reject(wrong(roof.BadPayload, `not a JSON object; send one such as {"time":"2026-11-25T06:10:00Z","temp_c":4.31,"rh_pct":92.4}`), body)
	}
}

// array decodes an array: SenML by its keys, or native objects one by one, so that
// a wrong one does not take the others with it.
func (d *decoding) array(elements []rawValue, body []byte) {
	if len(elements) == 0 {
		d.reject(wrong(roof.NoQuantity, "an array without a reading in it"), body)
		return
	}
	if isSenML(elements) {
		d.senML(nil, elements, body)
		return
	}
	for _, e := range elements {
		if e.err != nil {
			d.reject(wrong(roof.BadPayload, "an element of the array is not JSON as it must be: %v", e.err), e.raw)
			continue
		}
		if e.value.kind != objectKind {
			d.reject(wrong(roof.BadPayload, "an element of the array is %s; each must be an object", e.value.kind), e.raw)
			continue
		}
		d.object(e.value, e.raw)
	}
}

// nativeKeys are those that a native object is read by.
var nativeKeys = func() map[string]bool {
	out := map[string]bool{"/time": true}
	for q := range roof.Quantity(roof.QuantityCount) {
		out["/"+q.String()] = true
	}
	return out
}()

// object decodes one native object. Keys that are not known are left aside; a
// key in another case is not known.
func (d *decoding) object(v value, raw []byte) {
	r := d.reading()
	for q := range roof.Quantity(roof.QuantityCount) {
		x, ok := v.get(q.String())
		if !ok || x.kind == nullKind {
			continue
		}
		if x.kind != numberKind {
			d.reject(wrong(roof.BadValue, "%s is %s; send a number, or null for not measured", q, x.kind), raw)
			return
		}
		n, p := parseNumber(x.text, q.String())
		if p != nil {
			d.reject(p, raw)
			return
		}
		r.Values.Set(q, n)
	}
	d.use(v, nativeKeys)
	if !r.Values.Measured() {
		d.reject(wrong(roof.NoQuantity, "none of temp_c, rh_pct, rain_mm, wood_pct, wind_ms and sun_w_m2 has a number; "+
			"%s", came(v)), raw)
		return
	}
	stamp, ok := v.get("time")
	own := ok && stamp.kind != nullKind
	if own && stamp.kind != textKind {
		d.reject(wrong(roof.BadTime, "time is %s; send RFC 3339 text such as \"2026-11-25T06:10:00Z\"", stamp.kind), raw)
		return
	}
	at, err := roof.ParseTime(stamp.text)
	if own && err != nil {
		d.reject(wrong(roof.BadTime, "time %.60q is %v", stamp.text, err), raw)
		return
	}
	r, p := d.timed(r, at, own)
	if p != nil {
		d.reject(p, raw)
		return
	}
	d.readings = append(d.readings, r)
}

// parseNumber reads a JSON number.
func parseNumber(text, name string) (float64, *problem) {
	x, err := strconv.ParseFloat(text, 64)
	if errors.Is(err, strconv.ErrRange) || math.IsInf(x, 0) || math.IsNaN(x) {
		return 0, wrong(roof.NotFinite, "%s %.40s is not a finite number", name, text)
	}
	if err != nil {
		return 0, wrong(roof.BadValue, "%s %.40q is not a number", name, text)
	}
	return x, nil
}

// Native reports whether a topic is a native one, which no mapping can be for.
func Native(topic string) bool {
	return strings.HasPrefix(topic, Prefix+"/") && strings.Count(topic, "/") == 2
}

// Named is the case and logger that a native topic names, where both can be
// names; of a message whose payload was not read it is all there is to say.
func Named(topic string) (caseID, logger string) {
	levels := strings.Split(topic, "/")
	if len(levels) != 3 || levels[0] != Prefix || !roof.ValidCaseID(levels[1]) || !roof.ValidID(levels[2]) {
		return "", ""
	}
	return levels[1], levels[2]
}
