package payload

import (
	"slices"
	"strings"
)

// The keys by which an element says what its value is of, which value it is, and in
// which unit; common practice.
var (
	kindKeys = []string{"type", "name", "kind", "quantity", "measurement", "parameter", "metric", "sensor", "key", "id",
		"n", "k"}
	valueKeys = []string{"value", "val", "v", "reading", "state"}
	unitKeys  = []string{"unit", "units", "uom", "u"}
)

// typed is an array whose elements name what they measure, as {"type":"temperature",
// "value":4.2,"unit":"°C"}.
type typed struct {
	each, kind, value, unit string
}

// typedArray finds such an array; false where there is none.
func (f *family) typedArray() (t typed, ok bool) {
	for _, one := range f.all {
		for _, l := range one.leaves {
			steps := strings.Split(l.pointer, "/")
			if len(steps) < 3 || l.value.kind != textKind || !nameOfWords(words(l.text)).ok {
				continue
			}
			list := strings.Join(steps[:len(steps)-2], "/")
			at, _ := parsePointer(list)
			array, there := at.of(one.root, one.root)
			if !there || array.kind != arrayKind || !slices.Contains(kindKeys, strings.ToLower(steps[len(steps)-1])) {
				continue
			}
			t = typed{each: "#" + list, kind: "/" + steps[len(steps)-1]}
			for _, item := range array.items {
				for i, name := range item.names {
					switch lower := strings.ToLower(name); {
					case slices.Contains(valueKeys, lower) && item.items[i].kind != textKind || slices.Contains(valueKeys, lower) &&
						t.value == "":
						t.value = "/" + escapeToken(name)
					case slices.Contains(unitKeys, lower) && t.unit == "":
						t.unit = "/" + escapeToken(name)
					}
				}
			}
			if t.value != "" {
				return t, true
			}
		}
	}
	return t, false
}

// flat are the leaves that the message would have with a key for each thing measured,
// each number with its unit behind it.
func (t typed) flat(m cameMessage) (out []leaf) {
	at, _ := parsePointer(t.each)
	list, _ := at.of(m.root, m.root)
	get := func(item value, pointer string) (value, bool) {
		p, _ := parsePointer(pointer)
		return p.of(item, item)
	}
	for _, item := range list.items {
		kind, ok := get(item, t.kind)
		v, there := get(item, t.value)
		if !ok || !there || kind.kind != textKind || v.kind == objectKind || v.kind == arrayKind {
			continue
		}
		if unit, ok := get(item, t.unit); ok && t.unit != "" && unitWords[strings.ToLower(unit.text)] != "" &&
			v.kind != nullKind {
			v.text, v.kind = v.text+" "+unit.text, textKind
		}
		out = append(out, leaf{"/" + escapeToken(kind.text), v})
	}
	return out
}

// point turns a field by such a key into one of the array's elements.
func (t typed) point(f *Field, asText bool) {
	token, _ := parsePointer(f.Pointer)
	f.Where = []Condition{{t.kind, token.tokens[0]}}
	f.Pointer, f.Suffix, f.Text = t.value, "", asText
}

// byTypes proposes the fields and probes of a typed array; false where it has none.
func (f *family) byTypes(m *Mapping) (keys []*gathered, ok bool) {
	t, ok := f.typedArray()
	if !ok {
		return nil, false
	}
	var all [][]leaf
	for _, one := range f.all {
		all = append(all, t.flat(one))
	}
	if keys = gather(all); !probes(m, keys) {
		return nil, false
	}
	m.Each = t.each
	asText := false
	at, _ := parsePointer(t.value)
	for _, one := range f.all {
		list, _ := parsePointer(t.each)
		array, _ := list.of(one.root, one.root)
		for _, item := range array.items {
			v, there := at.of(item, item)
			asText = asText || there && v.kind == textKind
		}
	}
	for i := range m.Fields {
		t.point(&m.Fields[i], asText)
	}
	for _, p := range m.Probes {
		for i := range p.Fields {
			t.point(&p.Fields[i], asText)
		}
	}
	return keys, true
}
