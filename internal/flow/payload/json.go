package payload

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/go-json-experiment/json/jsontext"
)

// maxDepth bounds the nesting that is read; no form known here has ten levels.
const maxDepth = 32

// kind is what a JSON value is.
type kind uint8

const (
	nullKind kind = iota
	boolKind
	numberKind
	textKind
	objectKind
	arrayKind
)

func (k kind) String() string {
	return [...]string{"null", "true or false", "a number", "text", "an object", "an array"}[k]
}

// value is a JSON value. Numbers keep their text, so that no digit is lost
// before it is known what they are.
type value struct {
	kind  kind
	text  string   // of numbers, texts, true and false
	names []string // of an object, as many as items
	items []value  // of an object or array
}

func (v value) get(name string) (value, bool) {
	for i, n := range v.names {
		if n == name {
			return v.items[i], true
		}
	}
	return value{}, false
}

var (
	errDeep     = fmt.Errorf("it is nested deeper than %d levels", maxDepth)
	errTrailing = errors.New("there is more after the value")
	errEmpty    = errors.New("it is empty")
)

// parseJSON reads exactly one value by RFC 8259 and, for what that leaves
// open, I-JSON (RFC 7493): names are unique, text is UTF-8.
func parseJSON(data []byte) (value, error) {
	dec := jsontext.NewDecoder(bytes.NewBuffer(data))
	v, err := readValue(dec, 0)
	if err != nil {
		if errors.Is(err, io.EOF) {
			return value{}, errEmpty
		}
		return value{}, plainly(err)
	}
	if _, err := dec.ReadToken(); !errors.Is(err, io.EOF) {
		return value{}, errTrailing
	}
	return v, nil
}

func readValue(dec *jsontext.Decoder, depth int) (value, error) {
	if depth > maxDepth {
		return value{}, errDeep
	}
	token, err := dec.ReadToken()
	if err != nil {
		return value{}, err
	}
	switch token.Kind() {
	case 'n':
		return value{kind: nullKind}, nil
	case 't', 'f':
		return value{kind: boolKind, text: token.String()}, nil
	case '0':
		return value{kind: numberKind, text: token.String()}, nil
	case '"':
		return value{kind: textKind, text: token.String()}, nil
	case '[':
		v := value{kind: arrayKind}
		for dec.PeekKind() != ']' {
			item, err := readValue(dec, depth+1)
			if err != nil {
				return value{}, err
			}
			v.items = append(v.items, item)
		}
		_, err := dec.ReadToken()
		return v, err
	}
	v := value{kind: objectKind}
	for dec.PeekKind() != '}' {
		name, err := dec.ReadToken()
		if err != nil {
			return value{}, err
		}
		v.names = append(v.names, name.String())
		item, err := readValue(dec, depth+1)
		if err != nil {
			return value{}, err
		}
		v.items = append(v.items, item)
	}
	_, err = dec.ReadToken()
	return v, err
}

// rawValue is one element of an array, with why it cannot be read.
type rawValue struct {
	raw   []byte
	value value
	err   error
}

// splitArray takes an array apart, so that an element with a fault of its own
// (a name twice, bytes that are not UTF-8, nesting without end) costs only
// itself. An error means that the whole is not JSON.
func splitArray(data []byte) ([]rawValue, error) {
	dec := jsontext.NewDecoder(bytes.NewBuffer(data), jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))
	if _, err := dec.ReadToken(); err != nil {
		return nil, plainly(err)
	}
	var out []rawValue
	for dec.PeekKind() != ']' {
		raw, err := dec.ReadValue()
		if err != nil {
			return nil, plainly(err)
		}
		e := rawValue{raw: slices.Clone(raw)}
		e.value, e.err = parseJSON(e.raw)
		out = append(out, e)
	}
	if _, err := dec.ReadToken(); err != nil {
		return nil, plainly(err)
	}
	if _, err := dec.ReadToken(); !errors.Is(err, io.EOF) {
		return nil, errTrailing
	}
	return out, nil
}

// plainly takes the library's name off its error.
func plainly(err error) error { return errors.New(strings.TrimPrefix(err.Error(), "jsontext: ")) }

func firstByte(data []byte) byte {
	if data = bytes.TrimLeft(data, " \t\n\r"); len(data) > 0 {
		return data[0]
	}
	return 0
}
