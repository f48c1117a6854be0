package payload

import (
	"net/url"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"dewcase/internal/roof"
)

// maxTextValues bounds the values that one text payload holds.
const maxTextValues = 60

// textKey is a name with the sign behind it: at the beginning, behind a separator
// (there it may be of several words) or behind a space.
var textKey = regexp.MustCompile(`(?:(?:^|[;,|&\n\t])[ ]*([\p{L}_][\p{L}\p{M}\p{N}_.\-/]*(?: [\p{L}_][\p{L}\p{M}\p{N}_.\-/]*){0,3})|` +
	` ([\p{L}_][\p{L}\p{M}\p{N}_.\-/]*))[ ]*[=:][ ]*`)

// textOf takes a text payload apart. One that names its values, such as t=4.3 h=92,
// Temp: 4.3 C; Hum: 92 % or a query string, becomes an object of texts; one that holds
// them in their order, such as 4.3;92, an array. comma says that it stands in numbers,
// so that it parts no values.
func textOf(body []byte, comma bool) (value, bool) {
	text := strings.TrimSpace(strings.ReplaceAll(string(body), "\r", ""))
	if !utf8.ValidString(text) || text == "" || len(text) > 4<<10 || strings.ContainsAny(text, "\x00<>{}") {
		return value{}, false
	}
	if strings.HasPrefix(text, `"`) && strings.HasSuffix(text, `"`) && strings.Count(text, `"`) == 2 {
		text = text[1 : len(text)-1]
	}
	if v, ok := textPairs(text); ok {
		return v, true
	}
	return textRow(text, comma)
}

func textPairs(text string) (value, bool) {
	at := textKey.FindAllStringSubmatchIndex(text, maxTextValues+1)
	if len(at) == 0 || len(at) > maxTextValues || at[0][0] != 0 {
		return value{}, false
	}
	query := strings.Contains(text, "&")
	out := value{kind: objectKind}
	for i, m := range at {
		name, end := "", len(text)
		if m[2] >= 0 {
			name = text[m[2]:m[3]]
		} else {
			name = text[m[4]:m[5]]
		}
		if i+1 < len(at) {
			end = at[i+1][0]
		}
		x := strings.Trim(text[m[1]:end], " ;,|&\n\t")
		if query {
			if plain, err := url.QueryUnescape(x); err == nil && utf8.ValidString(plain) {
				x = plain
			}
		}
		x = strings.Trim(x, `"`)
		if slices.Contains(out.names, name) {
			return value{}, false // of two of one name nobody knows which is meant
		}
		out.names, out.items = append(out.names, name), append(out.items, value{kind: textKind, text: x})
	}
	return out, true
}

func textRow(text string, comma bool) (value, bool) {
	var cells []string
	switch {
	case strings.ContainsAny(text, ";\t|"):
		cells = strings.FieldsFunc(text, func(r rune) bool { return r == ';' || r == '\t' || r == '|' })
	case !comma && strings.Contains(text, ","):
		cells = strings.Split(text, ",")
	default:
		cells = strings.Fields(text)
	}
	if len(cells) < 2 || len(cells) > maxTextValues {
		return value{}, false
	}
	out, numbers := value{kind: arrayKind}, 0
	for _, c := range cells {
		v := value{kind: textKind, text: strings.TrimSpace(c)}
		if _, ok := numeric(v); ok {
			numbers++
		}
		out.items = append(out.items, v)
	}
	return out, numbers >= 2
}

// text decodes text by pointers into what it was taken apart to.
func (d *Decoder) text(m *decoding, p *mapping, c captured) bool {
	comma := slices.ContainsFunc(allFields(p.Mapping), func(f Field) bool { return f.Decimal == "," })
	root, ok := textOf(m.Payload, comma)
	if !ok {
		m.reject(wrong(roof.BadPayload, "not text that names its values, such as t=4.3 h=92, or holds them in a row, such "+
			"as 4.3;92"), m.Payload)
		return true
	}
	return d.tree(m, p, c, root)
}
