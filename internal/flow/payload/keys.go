package payload

import (
	"strconv"
	"strings"

	"dewcase/internal/roof"
)

// maxKeysTold bounds the keys that a reject names.
const maxKeysTold = 12

// leaf is a value of a payload that holds no others, and where it stands.
type leaf struct {
	pointer string
	value
}

// like is a leaf that looks like a quantity.
type like struct {
	leaf
	quantity roof.Quantity
}

// leaves lists what a payload holds, in its order, at most max.
func leaves(v value, max int) (out []leaf) {
	var walk func(at string, v value)
	walk = func(at string, v value) {
		v = opened(v)
		if v.kind != objectKind && v.kind != arrayKind {
			if len(out) < max {
				out = append(out, leaf{at, v})
			}
			return
		}
		for i, item := range v.items {
			if len(out) >= max {
				return
			}
			step := strconv.Itoa(i)
			if v.kind == objectKind {
				step = escapeToken(v.names[i])
			}
			walk(at+"/"+step, item)
		}
	}
	walk("", v)
	return out
}

// escapeToken writes a name as a step of a JSON Pointer (RFC 6901, section 3).
func escapeToken(name string) string {
	return strings.ReplaceAll(strings.ReplaceAll(name, "~", "~0"), "/", "~1")
}

// came names what a payload held, for a reject.
func came(v value) string {
	all := leaves(v, maxKeysTold+1)
	if len(all) == 0 {
		return "the payload holds no values"
	}
	names := make([]string, 0, len(all))
	for _, l := range all[:min(len(all), maxKeysTold)] {
		if l.pointer == "" {
			return "the payload is " + l.kind.String()
		}
		names = append(names, printable(l.pointer, 60))
	}
	if len(all) > maxKeysTold {
		names = append(names, "...")
	}
	return "what came is " + strings.Join(names, ", ")
}
