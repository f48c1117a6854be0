package words

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Text is words with the figures between them.
type Text []Run

// Run is a stretch of words of one look.
type Run struct {
	Words string
	Bold  bool
	Mono  bool
	// From is where the figure stands in the assessment's JSON
	// (surfaces.0.hours_condensing), Scale what it was multiplied by; "" is no
	// figure of the assessment.
	From  string
	Scale float64
}

// String is the text without its looks.
func (t Text) String() string {
	var b strings.Builder
	for _, r := range t {
		b.WriteString(r.Words)
	}
	return b.String()
}

// Say builds a text: each %s of the pattern is the next part, a Run, a Text or a
// string.
func Say(pattern string, parts ...any) Text {
	var out Text
	plain := func(s string) {
		if s != "" {
			out = append(out, Run{Words: s})
		}
	}
	for _, p := range parts {
		before, after, found := strings.Cut(pattern, "%s")
		if !found {
			break
		}
		plain(before)
		pattern = after
		switch x := p.(type) {
		case Run:
			out = append(out, x)
		case Text:
			out = append(out, x...)
		case string:
			plain(x)
		}
	}
	plain(pattern)
	return out
}

// Bold and Mono are words of a look.
func Bold(s string) Run { return Run{Words: s, Bold: true} }
func Mono(s string) Run { return Run{Words: s, Mono: true} }

// Sentence makes a sentence of a clause: a capital first, a full stop last.
// Nothing between is touched.
func Sentence(clause string) string {
	s := strings.TrimSpace(clause)
	if s == "" {
		return ""
	}
	if !strings.HasSuffix(strings.TrimRight(s, "”)"), ".") && !strings.ContainsAny(s[len(s)-1:], "?!:") {
		s += "."
	}
	if first, _, _ := strings.Cut(s, " "); strings.ContainsAny(strings.TrimRight(first, ".,"), "_/") {
		return s // a key or a path is written as it is
	}
	return Upper(s)
}

var minusSign = regexp.MustCompile(`(^|[ (])-(\d)`)

// Typeset sets what was written with a keyboard's signs: a minus before a figure,
// and the apostrophe.
func Typeset(s string) string {
	return minusSign.ReplaceAllString(strings.ReplaceAll(s, "'", "’"), "${1}"+minus+"${2}")
}

// Upper begins a sentence; a quoted name keeps its quotation mark.
func Upper(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	switch {
	case size == 0:
		return s
	case first == '“':
		return s[:size] + Upper(s[size:])
	}
	return string(unicode.ToUpper(first)) + s[size:]
}

// join makes one paragraph of sentences.
func join(sentences []string) string { return strings.Join(sentences, " ") }

// List writes a list as people do: a, b and c.
func List(list []string) string {
	switch n := len(list); n {
	case 0:
		return ""
	case 1:
		return list[0]
	default:
		return strings.Join(list[:n-1], ", ") + " and " + list[n-1]
	}
}

// Key writes a key of the contract for a reader: no change shown.
func Key(key string) string { return strings.ReplaceAll(key, "_", " ") }
