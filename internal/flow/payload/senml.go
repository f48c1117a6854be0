package payload

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// senMLVersion is the version of RFC 8428, section 4.4; a pack of a later one
// is not used.
const senMLVersion = 10

// relativeBelow is the bound under which a SenML time counts from reception
// (RFC 8428, section 4.5.3).
const relativeBelow = 1 << 28

// senMLUnits are the units of RFC 8428, section 12.1, that a quantity of ours
// has. What has another unit, or none, is left aside: names say nothing here.
var senMLUnits = map[string]struct {
	quantity roof.Quantity
	unit     Unit
}{
	"Cel": {roof.TempC, Celsius},
	"K":   {roof.TempC, Kelvin},
	"%RH": {roof.RHPct, Percent},
	"/":   {roof.RHPct, Fraction},
	"%EL": {roof.BatteryPct, Percent},
}

// isSenML tells a SenML pack from an array of native objects: it has SenML's
// labels and no quantity by our names.
func isSenML(elements []rawValue) bool {
	labels := false
	for _, e := range elements {
		for _, name := range e.value.names {
			if _, ours := roof.ParseQuantity(name); ours {
				return false
			}
			switch name {
			case "bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd":
				labels = true
			}
		}
	}
	return labels
}

// base is what earlier records of a pack say for those that follow.
type base struct {
	time, value float64
	unit, name  string
}

// senML resolves a pack (RFC 8428, section 4.6). Records of one time are one
// reading. A record whose value is no number costs only itself; one that is
// not a record may have carried a base for the others and costs the pack.
//
// Without a mapping's probes, records of one time and unit are of one quantity:
// what comes second is kept aside as a contradiction, and told.
func (d *decoding) senML(p *mapping, elements []rawValue, body []byte) {
	var b base
	found := false
	var other []string
	for _, e := range elements {
		if e.err != nil {
			d.readings = nil
			d.reject(wrong(roof.BadPayload, "a SenML record is not JSON as it must be: %v", e.err), body)
			return
		}
		rec, bad := b.record(e.value)
		if bad != nil && bad.reason == roof.BadPayload {
			d.readings = nil
			d.reject(bad, body)
			return
		}
		if bad == nil && !rec.ours {
			said := cmp.Or(printable(rec.name, 40), "no name") + " in " + cmp.Or(printable(rec.unit, 20), "no unit")
			if len(other) < maxKeysTold && !slices.Contains(other, said) {
				other = append(other, said)
			}
			continue
		}
		found = true
		if bad == nil && p != nil {
			bad = d.nameLogger(p, p.probeNamed(rec.name), d.base)
		}
		var r roof.Reading
		if bad == nil {
			r = d.reading()
			r.Values.Set(rec.quantity, rec.value)
			r, bad = d.timedSeconds(r, rec.time)
		}
		if bad != nil {
			d.reject(bad, e.raw)
			continue
		}
		if d.clashes(r) {
			d.leave(leaf{cmp.Or(rec.name, "a record without a name"), e.value.number("v")}, rec.quantity)
		}
		d.join(r)
	}
	if !found {
		d.reject(wrong(roof.NoQuantity, "no SenML record has one of the units Cel, K, %%RH, / and %%EL; what came is %s",
			cmp.Or(strings.Join(other, ", "), "no record")), body)
	}
}

// record is one SenML record with the base applied.
type record struct {
	ours     bool // a number in a unit of ours
	unit     string
	quantity roof.Quantity
	value    float64
	time     float64
	name     string
}

// probeNamed is the probe whose records' names begin as a name does; nil where it
// is the message's own logger.
func (m *mapping) probeNamed(name string) *probe {
	for _, p := range m.probes {
		if p.names != "" && strings.HasPrefix(name, p.names) {
			return p
		}
	}
	return nil
}

// number is the member of a name; null where there is none.
func (v value) number(name string) value {
	n, _ := v.get(name)
	return n
}

// record resolves a record and takes what it says for those after it.
func (b *base) record(v value) (record, *problem) {
	if v.kind != objectKind {
		return record{}, wrong(roof.BadPayload, "a SenML record is %s; each must be an object", v.kind)
	}
	for _, name := range v.names {
		if strings.HasSuffix(name, "_") {
			return record{}, wrong(roof.BadPayload,
				"the SenML label %.40q must be understood (RFC 8428, section 4.4) and is not known here", name)
		}
	}
	var version float64
	var t, x float64
	unit, name := "", ""
	for _, part := range []struct {
		label string
		into  *float64
	}{{"bver", &version}, {"bt", &b.time}, {"bv", &b.value}, {"t", &t}} {
		if p := numberLabel(v, part.label, part.into); p != nil {
			return record{}, p
		}
	}
	if version > senMLVersion {
		return record{}, wrong(roof.BadPayload, "SenML version %v is not known here; %d is", version, senMLVersion)
	}
	for _, part := range []struct {
		label string
		into  *string
	}{{"bu", &b.unit}, {"u", &unit}, {"bn", &b.name}, {"n", &name}} {
		if u, ok := v.get(part.label); ok {
			if u.kind != textKind {
				return record{}, wrong(roof.BadPayload, "the SenML label %s is %s; it must be text", part.label, u.kind)
			}
			*part.into = u.text
		}
	}
	if unit == "" {
		unit = b.unit
	}
	known, ok := senMLUnits[unit]
	number, has := v.get("v")
	if !ok || !has {
		return record{unit: unit, name: b.name + name}, nil
	}
	if number.kind != numberKind {
		return record{}, wrong(roof.BadValue, "the SenML value is %s; it must be a number", number.kind)
	}
	x, p := parseNumber(number.text, "the SenML value")
	if p != nil {
		return record{}, p
	}
	if b.value != 0 {
		x = Tidy(b.value + x)
	}
	return record{ours: true, quantity: known.quantity, value: known.unit.Convert(x), time: b.time + t,
		name: b.name + name}, nil
}

func numberLabel(v value, label string, into *float64) *problem {
	n, ok := v.get(label)
	if !ok {
		return nil
	}
	if n.kind != numberKind {
		return wrong(roof.BadPayload, "the SenML label %s is %s; it must be a number", label, n.kind)
	}
	x, p := parseNumber(n.text, label)
	if p != nil {
		return wrong(roof.BadPayload, "%s", p.detail)
	}
	*into = x
	return nil
}

// timedSeconds gives a reading a SenML time in seconds.
func (d *decoding) timedSeconds(r roof.Reading, seconds float64) (roof.Reading, *problem) {
	if math.Abs(seconds) > 9e9 { // the year 2255 and, relative, more than a Duration's use
		return r, wrong(roof.BadTime, "the SenML time %v is not in seconds", seconds)
	}
	if seconds < relativeBelow {
		r, p := d.timed(r, time.Time{}, false)
		r.At = r.At.Add(time.Duration(math.Round(seconds*1000)) * time.Millisecond)
		return r, p
	}
	return d.timed(r, time.UnixMilli(int64(math.Round(seconds*1000))).UTC(), true)
}

// joinKey is what readings of one message are joined by.
type joinKey struct {
	logger string
	atMS   int64
}

// clashes reports whether the message told the reading's quantity of that logger and
// time already.
func (d *decoding) clashes(r roof.Reading) bool {
	i, ok := d.joined[joinKey{r.Logger, r.At.UnixMilli()}]
	return ok && overlap(d.readings[i].Values, r.Values)
}

// join adds a reading to the last of the message that has the same logger and
// time, if that has none of its quantities, or else as one of its own.
func (d *decoding) join(r roof.Reading) {
	key := joinKey{r.Logger, r.At.UnixMilli()}
	if i, ok := d.joined[key]; ok && !overlap(d.readings[i].Values, r.Values) {
		add(&d.readings[i].Values, r.Values)
		return
	}
	if d.joined == nil {
		d.joined = map[joinKey]int{}
	}
	d.joined[key] = len(d.readings)
	d.readings = append(d.readings, r)
}
