package payload

import (
	"regexp"
	"slices"
	"strings"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
)

// formOf tells by which form a payload can be read, and what stands in it; of a
// gateway's message that holds an advertisement also where.
func formOf(body []byte) (form Form, data string, root value, ok bool) {
	switch first := firstByte(body); {
	case first == '{' || first == '[':
		root, err := parseJSON(body)
		if err != nil {
			return "", "", value{}, false
		}
		if elements, err := splitArray(body); first == '[' && err == nil && isSenML(elements) {
			return SenMLForm, "", root, true
		}
		if form, at, ok := frameIn(root); ok {
			return form, at, root, true
		}
		return JSONForm, "", root, true
	case isCBORArray(body):
		if elements, bad := senMLOfCBOR(body); bad == nil && isSenML(elements) {
			root = value{kind: arrayKind}
			for _, e := range elements {
				root.items = append(root.items, e.value)
			}
			return SenMLForm, "", root, true
		}
		root, err := parseCBOR(body)
		return CBORForm, "", root, err == nil
	case body[0] >= 0xa0 && body[0] <= 0xbf: // a CBOR map
		root, err := parseCBOR(body)
		return CBORForm, "", root, err == nil
	}
	text := value{kind: textKind, text: string(body)}
	if _, ok := numeric(text); ok || absentWords[strings.ToLower(strings.TrimSpace(string(body)))] {
		return NumberForm, "", text, true
	}
	if form, ok := frameOf(body); ok {
		return form, "", text, true
	}
	// t=4.3 h=92 would be a line of line protocol too, but not one with its own name.
	if root, ok = linesOf(body); ok && !strings.Contains(root.items[0].items[0].text, "=") {
		return LineForm, "", root, true
	}
	root, ok = textOf(body, decimalComma.Match(body))
	return TextForm, "", root, ok
}

// decimalComma finds a number with a decimal comma where none has a point.
var decimalComma = regexp.MustCompile(`^[^.]*\d,\d{1,3}(?:[^\d,.][^.]*)?$`)

// frameIn finds a text that is an advertisement, in a payload that has no
// quantities of its own.
func frameIn(root value) (form Form, at string, ok bool) {
	all := leaves(root, maxLeaves)
	if slices.ContainsFunc(all, func(l leaf) bool { _, like := quantityLike(l); return like }) {
		return "", "", false
	}
	for _, l := range all {
		if l.kind != textKind || len(l.text) < 8 {
			continue
		}
		if form, ok := frameOf([]byte(l.text)); ok {
			return form, l.pointer, true
		}
	}
	return "", "", false
}

// frameOf tells which advertisement a payload or text is.
func frameOf(body []byte) (Form, bool) {
	data, err := frameBytes(body, true)
	if err != nil {
		return "", false
	}
	if _, bad := rawV2(data); bad == nil {
		return RAWv2Form, true
	}
	frame, bad := bthome(data)
	if bad != nil || len(data) < 4 {
		return "", false
	}
	_, temperature := frame.get("temperature")
	_, humidity := frame.get("humidity")
	return BTHomeForm, temperature || humidity
}

// linesOf reads line protocol whose every line is one.
func linesOf(body []byte) (value, bool) {
	root := value{kind: arrayKind}
	for dec := lineprotocol.NewDecoderWithBytes(body); dec.Next(); {
		one, err := lineOf(dec)
		if err != nil {
			return value{}, false
		}
		root.items = append(root.items, one)
	}
	return root, len(root.items) > 0
}

// senMLProbes finds records of one time and unit, which are of several probes, and
// tells them apart by what their names begin with.
func (f *family) senMLProbes() (out []Probe) {
	units := map[string][]string{} // names by unit, in their order
	for _, one := range f.all {
		var b base
		for _, e := range one.root.items {
			rec, bad := b.record(e)
			if bad != nil || !rec.ours || rec.name == "" {
				continue
			}
			key := rec.quantity.String()
			if !slices.Contains(units[key], rec.name) {
				units[key] = append(units[key], rec.name)
			}
		}
	}
	most := units["temp_c"]
	for i, name := range most {
		if i == 0 {
			continue
		}
		shared := sharedText(most)
		end := strings.IndexAny(name[shared:], ":/._-")
		prefix := name
		if end >= 0 {
			prefix = name[:shared+end+1]
		}
		suffix := "-" + nameFrom(strings.Trim(prefix[min(shared, len(prefix)):], ":/._-"))
		if slices.ContainsFunc(out, func(p Probe) bool { return p.Suffix == suffix || p.Names == prefix }) {
			continue
		}
		out = append(out, Probe{Suffix: suffix, Names: prefix})
	}
	return out
}

// sharedText is the length of what all texts begin with.
func sharedText(all []string) int {
	n := len(all[0])
	for _, s := range all[1:] {
		same := 0
		for same < min(n, len(s)) && s[same] == all[0][same] {
			same++
		}
		n = same
	}
	return n
}
