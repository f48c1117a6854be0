package csvreadings

import (
	"bytes"
	"errors"
	"math"
	"strconv"
	"unicode/utf8"
)

var (
	errOpenQuote  = errors.New("a quote is opened and not closed on the line")
	errAfterQuote = errors.New("there is text after a closing quote")
	errStrayQuote = errors.New("there is a quote inside a cell that is not quoted")
	errNotUTF8    = errors.New("it is not UTF-8 text")
	errNumber     = errors.New("is not a plain decimal number")
	errFinite     = errors.New("is not a finite number")
)

// split cuts one line into cells, appending to cells. A quoted cell may hold
// commas and doubled quotes but not a line break: a quote left open costs its
// own line and no other. What it returns may point into line.
func split(line []byte, cells [][]byte) ([][]byte, error) {
	ascii := true
	for _, c := range line {
		if c >= utf8.RuneSelf {
			ascii = false
			break
		}
	}
	if !ascii && !utf8.Valid(line) {
		return cells, errNotUTF8
	}
	for {
		if len(line) > 0 && line[0] == '"' {
			cell, rest, err := unquote(line[1:])
			if err != nil {
				return cells, err
			}
			cells = append(cells, cell)
			if rest == nil {
				return cells, nil
			}
			line = rest
			continue
		}
		i := bytes.IndexByte(line, ',')
		cell := line
		if i >= 0 {
			cell = line[:i]
		}
		if bytes.IndexByte(cell, '"') >= 0 {
			return cells, errStrayQuote
		}
		cells = append(cells, bytes.Trim(cell, " \t"))
		if i < 0 {
			return cells, nil
		}
		line = line[i+1:]
	}
}

// unquote reads from behind an opening quote; rest is nil at the line's end.
func unquote(line []byte) (cell, rest []byte, err error) {
	var joined []byte
	for {
		i := bytes.IndexByte(line, '"')
		if i < 0 {
			return nil, nil, errOpenQuote
		}
		cell = line[:i]
		if joined != nil {
			joined = append(joined, cell...)
			cell = joined
		}
		line = line[i+1:]
		switch {
		case len(line) == 0:
			return cell, nil, nil
		case line[0] == ',':
			return cell, line[1:], nil
		case line[0] != '"':
			return nil, nil, errAfterQuote
		}
		if joined == nil {
			joined = append(make([]byte, 0, 2*len(cell)+16), cell...)
		}
		joined = append(joined, '"')
		line = line[1:]
	}
}

var powersOfTen = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
	1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// number reads a plain decimal number: a sign, digits with a decimal point, an
// exponent. What ParseFloat takes besides (NaN, Inf, hexadecimal, underscores)
// and what spreadsheets write besides (a decimal comma, thousands) is refused.
//
// Up to 2^53 over a power of ten up to 10^22 both are exact, so one division
// rounds right (Clinger 1990); everything else goes to strconv.
func number(cell []byte) (float64, error) {
	i, negative := 0, false
	if i < len(cell) && (cell[i] == '-' || cell[i] == '+') {
		negative = cell[i] == '-'
		i++
	}
	var mantissa uint64
	digits, decimals, exact := 0, 0, true
	for ; i < len(cell) && isDigit(cell[i]); i++ {
		mantissa, exact = mantissa*10+uint64(cell[i]-'0'), exact && mantissa < 1<<53/10-1
		digits++
	}
	if i < len(cell) && cell[i] == '.' {
		for i++; i < len(cell) && isDigit(cell[i]); i++ {
			mantissa, exact = mantissa*10+uint64(cell[i]-'0'), exact && mantissa < 1<<53/10-1
			digits++
			decimals++
		}
	}
	if digits == 0 {
		return 0, notANumber(cell)
	}
	if i < len(cell) && cell[i]|0x20 == 'e' {
		i++
		if i < len(cell) && (cell[i] == '-' || cell[i] == '+') {
			i++
		}
		start := i
		for ; i < len(cell) && isDigit(cell[i]); i++ {
		}
		if i == start {
			return 0, errNumber
		}
		exact = false
	}
	if i != len(cell) {
		return 0, errNumber
	}
	if exact && decimals < len(powersOfTen) {
		x := float64(mantissa) / powersOfTen[decimals]
		if negative {
			x = -x
		}
		return x, nil
	}
	x, err := strconv.ParseFloat(string(cell), 64)
	if err != nil || math.IsInf(x, 0) {
		return 0, errFinite
	}
	return x, nil
}

func notANumber(cell []byte) error {
	switch string(bytes.ToLower(bytes.TrimLeft(cell, "+-"))) {
	case "nan", "inf", "infinity":
		return errFinite
	}
	return errNumber
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }
