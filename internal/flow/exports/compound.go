package exports

import (
	"slices"
	"strings"
	"unicode"
)

// measuring are the roles whose words are found inside longer ones.
var measuring = []role{tempRole, rhRole, rainRole, windRole, sunRole, woodRole}

// inCompound are the words that others end with, as in Innentemperatur, the longest
// first; shorter ones end too many words by chance.
var inCompound = func() (out []string) {
	for _, v := range vocabulary {
		if v.role != tempRole && v.role != rhRole {
			continue
		}
		for w := range v.words {
			if len(w) >= 5 || w == "temp" {
				out = append(out, w)
			}
		}
	}
	slices.SortFunc(out, func(a, b string) int { return len(b) - len(a) })
	return out
}()

// sides are the short ends of names such as tempinf and humidityout.
var sides = map[string]string{"in": "indoor", "out": "outdoor", "indoor": "indoor", "outdoor": "outdoor"}

// parts cuts a name into words and numbers, in lower case. A word that nobody knows
// is taken apart where one of its parts is known: AirTemp, Temp1, Außentemperatur.
func parts(name string) (out []string) {
	for _, raw := range strings.FieldsFunc(name, func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	}) {
		out = append(out, takeApart(raw)...)
	}
	return out
}

func takeApart(raw string) []string {
	w := strings.ToLower(raw)
	if known(w) {
		return []string{w}
	}
	if cut := atSeams(raw); len(cut) > 1 && slices.ContainsFunc(cut, tells) {
		return cut
	}
	if rest, ok := strings.CutPrefix(w, "humidity"); ok && sides[rest] != "" {
		return []string{"humidity", sides[rest]}
	}
	if rest, ok := strings.CutPrefix(w, "temp"); ok {
		middle := strings.TrimRight(rest, "cf")
		unit := rest[len(middle):]
		side, named := sides[middle]
		if len(unit) == 1 && (middle == "" || named) {
			return slices.DeleteFunc([]string{"temp", side, unit}, func(s string) bool { return s == "" })
		}
	}
	for _, end := range inCompound {
		if rest, ok := strings.CutSuffix(w, end); ok && len(rest) > 1 {
			return []string{rest, end}
		}
	}
	return []string{w}
}

// atSeams cuts a word where lower case turns to upper case, and letters to digits.
func atSeams(raw string) (out []string) {
	var last rune
	start := 0
	for i, r := range raw {
		if i > 0 && (unicode.IsUpper(r) && unicode.IsLower(last) || unicode.IsDigit(r) && unicode.IsLetter(last)) {
			out = append(out, strings.ToLower(raw[start:i]))
			start = i
		}
		last = r
	}
	return append(out, strings.ToLower(raw[start:]))
}

func known(w string) bool {
	return otherWords[w] || filler[w] || unitWords[w] != "" ||
		slices.ContainsFunc(vocabulary, func(v roleWords) bool { return v.words[w] })
}

// tells reports whether a word says that a column measures something, or that it does
// not.
func tells(w string) bool {
	return otherWords[w] || slices.ContainsFunc(vocabulary, func(v roleWords) bool {
		return v.words[w] && slices.Contains(measuring, v.role)
	})
}
