package payload

import (
	"errors"
	"net/url"
	"strconv"
	"strings"
)

// pointer is a JSON Pointer (RFC 6901).
type pointer struct {
	tokens []string
	root   bool // written as a fragment (section 6): from the whole document, not from an element of it
}

var errPointer = errors.New("not a JSON Pointer by RFC 6901, such as /env/temp/c")

// parsePointer reads a pointer in its plain form or, with a # in front, in its
// form as a URI fragment.
func parsePointer(s string) (pointer, error) {
	p := pointer{}
	if strings.HasPrefix(s, "#") {
		unescaped, err := url.PathUnescape(s[1:])
		if err != nil {
			return p, errPointer
		}
		s, p.root = unescaped, true
	}
	if s == "" {
		return p, nil
	}
	if s[0] != '/' {
		return p, errPointer
	}
	for _, token := range strings.Split(s[1:], "/") {
		for i := 0; i < len(token); i++ {
			if token[i] == '~' && (i+1 == len(token) || token[i+1] != '0' && token[i+1] != '1') {
				return p, errPointer
			}
		}
		p.tokens = append(p.tokens, strings.ReplaceAll(strings.ReplaceAll(token, "~1", "/"), "~0", "~"))
	}
	return p, nil
}

// allOf resolves a pointer in which a * stands for every element of an array or
// every member of an object.
func (p pointer) allOf(root, element value) (out []listed) {
	for i, token := range p.tokens {
		if token != "*" {
			continue
		}
		around, ok := pointer{tokens: p.tokens[:i], root: p.root}.of(root, element)
		if around = opened(around); !ok || around.kind != arrayKind && around.kind != objectKind {
			return nil
		}
		for n, item := range around.items {
			step, member := strconv.Itoa(n), ""
			if around.kind == objectKind {
				step, member = escapeToken(around.names[n]), around.names[n]
			}
			path := steps(p.tokens[:i]) + "/" + step
			for _, one := range (pointer{tokens: p.tokens[i+1:]}).allOf(item, item) {
				one.path = path + one.path
				if one.member == "" {
					one.member = member
				}
				out = append(out, one)
			}
		}
		return out
	}
	if v, ok := p.of(root, element); ok {
		return []listed{{opened(v), steps(p.tokens), ""}}
	}
	return nil
}

// steps writes tokens as a pointer.
func steps(tokens []string) string {
	if len(tokens) == 0 {
		return ""
	}
	return "/" + strings.Join(escaped(tokens), "/")
}

// listed is one of the lists that a pointer with * leads to.
type listed struct {
	value
	path   string // where it stands
	member string // of an object, which a * stood for
}

// opened is what a text holds that is JSON of its own, else the value itself.
func opened(v value) value {
	if v.kind != textKind || len(v.text) < 2 || firstByte([]byte(v.text)) != '{' && firstByte([]byte(v.text)) != '[' {
		return v
	}
	if inner, err := parseJSON([]byte(v.text)); err == nil {
		return inner
	}
	return v
}

// of resolves the pointer in an element of a document. An array index has no
// leading zero and no sign (section 4); what is not there is not found.
func (p pointer) of(root, element value) (value, bool) {
	v := element
	if p.root {
		v = root
	}
	for _, token := range p.tokens {
		switch v = opened(v); v.kind {
		case objectKind:
			item, ok := v.get(token)
			if !ok {
				return value{}, false
			}
			v = item
		case arrayKind:
			i, err := strconv.ParseUint(token, 10, 31)
			if err != nil || token != strconv.FormatUint(i, 10) || int(i) >= len(v.items) {
				return value{}, false
			}
			v = v.items[i]
		default:
			return value{}, false
		}
	}
	return v, true
}
