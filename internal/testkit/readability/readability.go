// Package readability measures how hard a text is to read, for tests of
// household texts.
package readability

import (
	"regexp"
	"strings"
	"unicode"
)

var ends = regexp.MustCompile(`[.!?:;]+(\s|$)`)

// Sentences cuts a text at full stops, question marks, colons and semicolons.
func Sentences(text string) (out []string) {
	for _, s := range ends.Split(text, -1) {
		if s = strings.TrimSpace(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// Grade is the Flesch-Kincaid grade level (Kincaid et al. 1975):
//
//	0.39 words/sentences + 11.8 syllables/words - 15.59
//
// Grade 7 is read at about twelve years. Syllables are counted as groups of
// vowels, silent e left out: good to about one in ten for English. Figures count
// as one syllable.
func Grade(text string) float64 {
	sentences := Sentences(text)
	words, syllables := 0, 0
	for _, s := range sentences {
		for _, w := range strings.FieldsFunc(s,
			func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '\'' && r != '’' }) {
			words++
			syllables += Syllables(w)
		}
	}
	if words == 0 {
		return 0
	}
	return 0.39*float64(words)/float64(len(sentences)) + 11.8*float64(syllables)/float64(words) - 15.59
}

// Syllables counts the groups of vowels of an English word.
func Syllables(word string) int {
	w := strings.ToLower(word)
	n, before := 0, false
	for _, r := range w {
		v := strings.ContainsRune("aeiouy", r)
		if v && !before {
			n++
		}
		before = v
	}
	if strings.HasSuffix(w, "e") && !strings.HasSuffix(w, "le") && n > 1 || strings.HasSuffix(w, "ed") &&
		!strings.HasSuffix(w, "ted") && !strings.HasSuffix(w, "ded") && n > 1 {
		n--
	}
	return max(n, 1)
}
