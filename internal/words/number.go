package words

import (
	"fmt"
	"math"
	"strings"
)

// Missing stands where a figure could not be had.
const Missing = "not known"

// minus is the true minus sign, U+2212.
const minus = "−"

// Int writes a number of things: 12,340.
func Int(n int) string { return signed(float64(n), 0) }

// Fixed writes a figure with a true minus sign and its thousands apart. What
// rounds to nothing and is not nothing is "under 0.01": nothing is printed as
// 0.00.
func Fixed(x float64, decimals int) string {
	s := signed(x, decimals)
	switch {
	case x == 0:
		return "0"
	case decimals > 0 && strings.Trim(s, "0.") == "":
		return "under " + fmt.Sprintf("%.*f", decimals, math.Pow10(-decimals))
	}
	return s
}

// Give writes an accuracy: ±0.3 K; unit begins with its space.
func Give(x float64, decimals int, unit string) string {
	s := signed(math.Abs(x), decimals)
	if strings.Trim(s, "0.") == "" {
		return "± under " + fmt.Sprintf("%.*f", decimals, math.Pow10(-decimals)) + unit
	}
	return "±" + s + unit
}

// Plus is Fixed with the sign of a figure above zero written too.
func Plus(x float64, decimals int) string {
	s := Fixed(x, decimals)
	if x > 0 && !strings.HasPrefix(s, "under") && strings.Trim(s, "0.") != "" {
		return "+" + s
	}
	return s
}

// Signed writes a difference or a temperature with one decimal, where nothing is
// as good a value as any other.
func Signed(x float64) string { return signed(x, 1) }

// Whole writes a figure without decimals.
func Whole(x float64) string { return signed(x, 0) }

// signed writes every figure of the program: sign, thousands, decimals.
func signed(x float64, decimals int) string {
	s := fmt.Sprintf("%.*f", decimals, math.Abs(x))
	whole, _, _ := strings.Cut(s, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if x < 0 && strings.Trim(s, "0.") != "" {
		return minus + s
	}
	return s
}

// Figure writes a figure of any size to about two places.
func Figure(x float64) string {
	switch a := math.Abs(x); {
	case a >= 10 || a == 0:
		return Fixed(x, 0)
	case a >= 1:
		return Fixed(x, 1)
	case a >= 0.1:
		return Fixed(x, 2)
	}
	return Fixed(x, 3)
}

// Size writes a length, a pitch or a layer's sd without its unit, to three places
// and without noughts at the end: 5, 7.5, 1,250.
func Size(x float64) string {
	decimals := 0
	for limit := 100.0; decimals < 4 && math.Abs(x) < limit; limit /= 10 {
		decimals++
	}
	s := signed(x, decimals)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// Hours writes hours without their unit: one decimal, none from 100 h up.
func Hours(h float64) string {
	if math.Abs(h) >= 99.95 {
		return Fixed(h, 0)
	}
	return Fixed(h, 1)
}

// Percent writes a share of 1 in per cent, without the sign: no decimals, unless
// it would be rounded to nothing or to all.
func Percent(share float64) string {
	switch p := share * 100; {
	case p > 99.5 && p < 100:
		return "over 99"
	case p > 0 && p < 1:
		return Fixed(p, 1)
	default:
		return Whole(p)
	}
}

// Share writes a share of 1 as so many of a hundred.
func Share(share float64) string { return Of100(share) + " of 100" }

// Of100 is the share alone, where "of 100" is said beside it.
func Of100(share float64) string {
	switch {
	case share > 0 && share < 0.005:
		return "under 1"
	case share < 1 && share > 0.995:
		return "over 99"
	}
	return Whole(100 * share)
}

// Interval writes two whole figures: 39 to 93. The unit is said once, after it.
func Interval(lo, hi float64) string { return Whole(lo) + " to " + Whole(hi) }

// HoursInterval writes two figures of hours: 310 to 1,750.
func HoursInterval(lo, hi float64) string { return Hours(lo) + " to " + Hours(hi) }

// Count writes a number of things: 1 night, 2 nights.
func Count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return Int(n) + " " + one + "s"
}

// Way says which way a figure went.
type Way int

// The three ways. Under ChangePct either way a figure did not change.
const (
	Same Way = iota
	Fell
	Rose
)

// ChangePct is the smallest change, in per cent, that is called one: a figure
// that would be printed as "by 0 %" did not change.
const ChangePct = 0.5

// WayOf is the way of a fall in per cent; below zero it is a rise.
func WayOf(fallPct float64) Way {
	switch {
	case fallPct >= ChangePct:
		return Fell
	case fallPct <= -ChangePct:
		return Rose
	}
	return Same
}

// String names the way in the past tense.
func (w Way) String() string { return [...]string{"did not change", "fell", "rose"}[w] }
