package payload

import (
	"strconv"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"dewcase/internal/roof"
)

// maxBadLines bounds the rejects of one message.
const maxBadLines = 20

// line decodes line protocol, as agents that gather metrics write it: each line is
// an element {measurement, tags, fields, time}, whose time is ns since 1970 unless
// the mapping says otherwise. A line that cannot be read costs only itself.
func (d *Decoder) line(m *decoding, p *mapping, c captured) bool {
	root := value{kind: arrayKind}
	bad := 0
	for dec := lineprotocol.NewDecoderWithBytes(m.Payload); dec.Next(); {
		one, err := lineOf(dec)
		if err == nil {
			root.items = append(root.items, one)
		} else if bad++; bad <= maxBadLines {
			m.reject(wrong(roof.BadPayload, "not line protocol as it must be: %.200s", err), m.Payload)
		}
	}
	if len(root.items) == 0 {
		if bad == 0 {
			m.reject(wrong(roof.BadPayload, "there is no line of line protocol in it"), m.Payload)
		}
		return true
	}
	elements := make([]element, 0, len(root.items))
	for i, one := range root.items {
		if hold(p.where, one, one) && present(p.present, one) {
			elements = append(elements, element{value: one, name: strconv.Itoa(i)})
		}
	}
	return len(elements) > 0 && d.read(m, p, c, root, elements) || bad > 0
}

// lineOf reads one line whole, so that the next begins where it ends.
func lineOf(dec *lineprotocol.Decoder) (value, error) {
	name, err := dec.Measurement()
	if err != nil {
		return value{}, err
	}
	out := value{kind: objectKind, names: []string{"measurement", "tags", "fields"},
		items: []value{{kind: textKind, text: string(name)}, {kind: objectKind}, {kind: objectKind}}}
	for {
		key, x, err := dec.NextTag()
		if err != nil {
			return value{}, err
		}
		if key == nil {
			break
		}
		tags := &out.items[1]
		tags.names, tags.items = append(tags.names, string(key)), append(tags.items, value{kind: textKind, text: string(x)})
	}
	for {
		key, x, err := dec.NextField()
		if err != nil {
			return value{}, err
		}
		if key == nil {
			break
		}
		fields := &out.items[2]
		fields.names, fields.items = append(fields.names, string(key)), append(fields.items, lineValue(x))
	}
	at, err := dec.TimeBytes()
	if err != nil {
		return value{}, err
	}
	if len(at) > 0 {
		out.names, out.items = append(out.names, "time"), append(out.items, value{kind: numberKind, text: string(at)})
	}
	return out, nil
}

func lineValue(x lineprotocol.Value) value {
	switch x.Kind() {
	case lineprotocol.Float:
		return value{kind: numberKind, text: strconv.FormatFloat(x.FloatV(), 'g', -1, 64)}
	case lineprotocol.Int:
		return value{kind: numberKind, text: strconv.FormatInt(x.IntV(), 10)}
	case lineprotocol.Uint:
		return value{kind: numberKind, text: strconv.FormatUint(x.UintV(), 10)}
	case lineprotocol.Bool:
		return value{kind: boolKind, text: strconv.FormatBool(x.BoolV())}
	}
	return value{kind: textKind, text: x.StringV()}
}
