package payload

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"dewcase/internal/roof"
)

// Unit is what a number is measured in; it is said and never guessed.
type Unit string

// The units a mapping can name.
const (
	Celsius       Unit = "C"
	Fahrenheit    Unit = "F"
	Kelvin        Unit = "K"
	Percent       Unit = "percent"
	Fraction      Unit = "fraction"
	Millimetre    Unit = "mm"
	MetreSecond   Unit = "m/s"
	KilometreHour Unit = "km/h"
	WattMetre2    Unit = "W/m2"
)

// unitsOf lists the units of a quantity; where there is one only, it need not
// be said.
func unitsOf(q roof.Quantity) []Unit {
	switch q {
	case roof.TempC:
		return []Unit{Celsius, Fahrenheit, Kelvin}
	case roof.RHPct, roof.BatteryPct, roof.WoodPct:
		return []Unit{Percent, Fraction}
	case roof.RainMM:
		return []Unit{Millimetre}
	case roof.WindMS:
		return []Unit{MetreSecond, KilometreHour}
	}
	return []Unit{WattMetre2}
}

// Convert turns a number in the unit into the unit of our quantity. The
// definitions are exact: 0 C = 273.15 K, 1 F step = 5/9 K, 32 F = 0 C (BIPM SI
// brochure, section 2.3.1; NIST SP 811, appendix B.8).
func (u Unit) Convert(x float64) float64 {
	switch u {
	case Fahrenheit:
		return Tidy((x - 32) * 5 / 9)
	case Kelvin:
		return Tidy(x - 273.15)
	case Fraction:
		return Tidy(x * 100)
	case KilometreHour:
		return Tidy(x / 3.6)
	}
	return x
}

// Tidy takes the binary dust off a converted decimal number, so that 277.46 K
// is 4.31 C and 0.928 is 92.8 %. It rounds to 9 decimals; no sensor has six.
func Tidy(x float64) float64 {
	if y := math.Round(x*1e9) / 1e9; math.Abs(x) < 1e6 {
		return y
	}
	return x
}

// absentWords are what bridges send as text where there is no value; seen on
// home-automation buses (common practice).
var absentWords = map[string]bool{"": true, "unavailable": true, "unknown": true, "none": true, "null": true,
	"n/a": true}

// number reads a value as the field says; measured is false for what stands for
// no value.
func (f *field) number(v value) (x float64, measured bool, p *problem) {
	name := f.Quantity.String()
	text := v.text
	switch v.kind {
	case nullKind:
		return 0, false, nil
	case numberKind:
	case textKind:
		if !f.Text && f.Decimal != "," {
			return 0, false, wrong(roof.BadValue,
				"%s is the text %.40q; if numbers come as text here, say text: yes in the mapping", name, text)
		}
		text = strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), strings.TrimSpace(f.Suffix)))
		if absentWords[strings.ToLower(text)] {
			return 0, false, nil
		}
	default:
		return 0, false, wrong(roof.BadValue, "%s is %s; a number is needed", name, v.kind)
	}
	if slices.Contains(f.Invalid, text) {
		return 0, false, nil
	}
	if v.kind == textKind {
		plain, ok := plainDecimal(text, f.Decimal)
		if !ok {
			return 0, false, notDecimal(name, text)
		}
		text = plain
	}
	x, p = parseNumber(text, name)
	if p != nil {
		return 0, false, p
	}
	if slices.ContainsFunc(f.Invalid, func(word string) bool {
		y, err := strconv.ParseFloat(word, 64)
		return err == nil && x == y
	}) {
		return 0, false, nil
	}
	if f.Scale != 0 && f.Scale != 1 {
		x = Tidy(x * f.Scale)
	}
	return f.Unit.Convert(x), true, nil
}

func notDecimal(name, text string) *problem {
	switch strings.ToLower(strings.TrimLeft(text, "+-")) {
	case "nan", "inf", "infinity":
		return wrong(roof.NotFinite, "%s %.40q is not a finite number", name, text)
	}
	return wrong(roof.BadValue, "%s %.40q is not a plain decimal number", name, text)
}

// plainDecimal checks a number written as text and gives it a decimal point.
// What strconv takes besides (NaN, hexadecimal, underscores) is refused, and so
// are thousands.
func plainDecimal(s, decimal string) (string, bool) {
	if decimal == "," {
		if strings.ContainsRune(s, '.') || strings.Count(s, ",") > 1 {
			return "", false
		}
		s = strings.ReplaceAll(s, ",", ".")
	}
	digits, points := 0, 0
	for i, c := range []byte(s) {
		switch {
		case c >= '0' && c <= '9':
			digits++
		case c == '.' && points == 0:
			points++
		case (c == '-' || c == '+') && (i == 0 || s[i-1]|0x20 == 'e'):
		case c|0x20 == 'e' && digits > 0 && i+1 < len(s):
			points = 1
		default:
			return "", false
		}
	}
	return s, digits > 0
}
