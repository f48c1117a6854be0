package payload

import (
	"cmp"
	"encoding/hex"
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"

	"github.com/fxamacker/cbor/v2"

	"dewcase/internal/roof"
)

// cborMode reads CBOR (RFC 8949) within bounds: nesting as of JSON, names unique.
var cborMode = func() cbor.DecMode {
	mode, err := cbor.DecOptions{DupMapKey: cbor.DupMapKeyEnforcedAPF, MaxNestedLevels: maxDepth,
		MaxArrayElements: 1 << 17, MaxMapPairs: 1 << 17, TimeTagToAny: cbor.TimeTagToRFC3339Nano}.DecMode()
	if err != nil {
		panic(err) // the options are constants
	}
	return mode
}()

// senMLLabels are SenML's labels as CBOR writes them (RFC 8428, section 6).
var senMLLabels = map[string]string{"-6": "bs", "-5": "bv", "-4": "bu", "-3": "bt", "-2": "bn", "-1": "bver", "0": "n",
	"1": "u", "2": "v", "3": "vs", "4": "vb", "5": "s", "6": "t", "7": "ut", "8": "vd"}

// isCBORArray reports whether a payload begins as a CBOR array, which no text does.
func isCBORArray(body []byte) bool {
	return len(body) > 0 && body[0] >= 0x80 && body[0] <= 0x9f
}

// parseCBOR reads exactly one value.
func parseCBOR(data []byte) (value, error) {
	var any any
	if err := cborMode.Unmarshal(data, &any); err != nil {
		return value{}, errors.New(strings.TrimPrefix(printable(err.Error(), 200), "cbor: "))
	}
	return cborValue(any, 0)
}

// cborValue lays a value out as one of JSON: whole numbers as names become text,
// names are in their order, bytes are hexadecimal text.
func cborValue(x any, depth int) (value, error) {
	if depth > maxDepth {
		return value{}, errDeep
	}
	switch x := x.(type) {
	case nil:
		return value{kind: nullKind}, nil
	case bool:
		return value{kind: boolKind, text: strconv.FormatBool(x)}, nil
	case uint64:
		return value{kind: numberKind, text: strconv.FormatUint(x, 10)}, nil
	case int64:
		return value{kind: numberKind, text: strconv.FormatInt(x, 10)}, nil
	case float64:
		return value{kind: numberKind, text: strconv.FormatFloat(x, 'g', -1, 64)}, nil
	case big.Int:
		return value{kind: numberKind, text: x.String()[:min(len(x.String()), 400)]}, nil
	case string:
		return value{kind: textKind, text: x}, nil
	case []byte:
		return value{kind: textKind, text: hex.EncodeToString(x)}, nil
	case cbor.Tag:
		return cborTag(x, depth)
	case []any:
		v := value{kind: arrayKind}
		for _, item := range x {
			one, err := cborValue(item, depth+1)
			if err != nil {
				return value{}, err
			}
			v.items = append(v.items, one)
		}
		return v, nil
	case map[any]any:
		return cborMap(x, depth)
	}
	return value{kind: nullKind}, nil // undefined and other simple values say nothing
}

func cborMap(x map[any]any, depth int) (value, error) {
	type member struct {
		name string
		item value
	}
	var all []member
	for k, item := range x {
		key, err := cborValue(k, depth+1)
		if err != nil {
			return value{}, err
		}
		if key.kind != textKind && key.kind != numberKind {
			return value{}, fmt.Errorf("a name in it is %s", key.kind)
		}
		one, err := cborValue(item, depth+1)
		if err != nil {
			return value{}, err
		}
		all = append(all, member{key.text, one})
	}
	slices.SortFunc(all, func(a, b member) int { return cmp.Compare(a.name, b.name) })
	v := value{kind: objectKind}
	for i, m := range all {
		if i > 0 && m.name == all[i-1].name {
			return value{}, fmt.Errorf("the name %.40q is there as text and as a number", m.name)
		}
		v.names, v.items = append(v.names, m.name), append(v.items, m.item)
	}
	return v, nil
}

// cborTag reads a decimal fraction (tag 4, RFC 8949 section 3.4.4), which SenML may
// write numbers as; of other tags the content.
func cborTag(t cbor.Tag, depth int) (value, error) {
	v, err := cborValue(t.Content, depth+1)
	if err != nil || t.Number != 4 {
		return v, err
	}
	if v.kind != arrayKind || len(v.items) != 2 || v.items[0].kind != numberKind || v.items[1].kind != numberKind {
		return value{}, fmt.Errorf("a decimal fraction in it is not an exponent and a mantissa")
	}
	return value{kind: numberKind, text: v.items[1].text + "e" + v.items[0].text}, nil
}

// senMLOfCBOR takes a SenML pack in CBOR apart, with the labels as JSON writes them.
func senMLOfCBOR(body []byte) ([]rawValue, *problem) {
	pack, err := parseCBOR(body)
	if err != nil {
		return nil, wrong(roof.BadPayload, "not CBOR as it must be: %v", err)
	}
	if pack.kind != arrayKind {
		return nil, wrong(roof.BadPayload, "the CBOR is %s; a SenML pack is an array", pack.kind)
	}
	out := make([]rawValue, len(pack.items))
	for i, rec := range pack.items {
		for j, name := range rec.names {
			if label, ok := senMLLabels[name]; ok {
				rec.names[j] = label
			}
		}
		out[i] = rawValue{raw: body, value: rec}
	}
	return out, nil
}
