package drawing

import (
	"regexp"
	"strings"

	"dewcase/internal/reason/cause"
	"dewcase/internal/words"
)

// A terminal's minus sign, degree and multiplication sign.
var (
	minus   = regexp.MustCompile(`(^|[\s(\[])-(\d)`)
	celsius = regexp.MustCompile(`(\d) C\b`)
	times   = regexp.MustCompile(` x (\d)`)
)

// plain puts what the analysis names by its keys into words.
var plain = strings.NewReplacer(
	"hours_condensing is the plain count and has no interval", "the wet hours are a plain count without an interval",
	"cannot draw the vapour picture: there is", "not compared: there is",
	"(eaves_clear)", "(eaves_clear in the case file)",
	"+-", "±",
)

// Prose makes a sentence of a line that the analysis wrote for a terminal: it
// begins with a capital and ends with a full stop, causes are in words, and
// signs are typographic.
func Prose(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return ""
	}
	for _, c := range cause.Named() {
		s = strings.ReplaceAll(s, string(c), "“"+c.Words()+"”")
	}
	s = plain.Replace(s)
	s = minus.ReplaceAllString(s, "$1−$2")
	s = celsius.ReplaceAllString(s, "$1 °C")
	s = times.ReplaceAllString(s, " × $1")
	if last := s[len(s)-1]; last != '.' && last != '?' && last != '!' && last != ':' {
		s += "."
	}
	if first, _, _ := strings.Cut(s, " "); strings.ContainsAny(first, "_/.") {
		return s // a name that is written as it is
	}
	return words.Upper(s)
}
