package csvreadings

import (
	"bytes"
	"errors"
	"strconv"
	"unicode/utf8"
)

var (
	errOpenQuote  = errors.New("a quote is opened and not closed on the line")
	errAfterQuote = errors.New("there is text after a closing quote")
	errStrayQuote = errors.New("there is a quote inside a cell that is not quoted")
	errNotUTF8    = errors.New("it is not UTF-8 text")
	errNumber     = errors.New("is not a plain decimal number")
)

// ErrNotFinite is the error for a number that is written but is none, such as NaN.
var ErrNotFinite = errors.New("is not a finite number")

// Split cuts one line into cells at a separator, appending to cells. A quoted
// cell may hold separators and doubled quotes but not a line break: a quote left
// open costs its own line and no other. What it returns may point into line.
func Split(line []byte, separator byte, cells [][]byte) ([][]byte, error) {
	if !utf8.Valid(line) {
		return cells, errNotUTF8
	}
	if bytes.IndexByte(line, '"') < 0 {
		return splitPlain(line, separator, cells), nil
	}
	for {
		if len(line) > 0 && line[0] == '"' {
			cell, rest, err := unquote(line[1:], separator)
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
		i := bytes.IndexByte(line, separator)
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

// splitPlain cuts a line without quotes, as most are.
func splitPlain(line []byte, separator byte, cells [][]byte) [][]byte {
	start := 0
	for i, c := range line {
		if c == separator {
			cells = append(cells, trimmed(line[start:i:i]))
			start = i + 1
		}
	}
	return append(cells, trimmed(line[start:]))
}

// trimmed cuts blanks and tabs off both ends, which are rarely there.
func trimmed(cell []byte) []byte {
	if n := len(cell); n > 0 && (cell[0] <= ' ' || cell[n-1] <= ' ') {
		return bytes.Trim(cell, " \t")
	}
	return cell
}

// unquote reads from behind an opening quote; rest is nil at the line's end.
func unquote(line []byte, separator byte) (cell, rest []byte, err error) {
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
		case line[0] == separator:
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

// Number reads a plain decimal number: a sign, digits with a decimal point, an
// exponent. What ParseFloat takes besides (NaN, Inf, hexadecimal, underscores)
// and what spreadsheets write besides (a decimal comma, thousands) is refused.
func Number(cell []byte) (float64, error) {
	if x, ok := shortDecimal(cell); ok {
		return x, nil
	}
	for _, c := range cell {
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c|0x20 != 'e' {
			switch string(bytes.ToLower(bytes.TrimLeft(cell, "+-"))) {
			case "nan", "inf", "infinity":
				return 0, ErrNotFinite
			}
			return 0, errNumber
		}
	}
	x, err := strconv.ParseFloat(string(cell), 64)
	switch {
	case errors.Is(err, strconv.ErrRange):
		return 0, ErrNotFinite
	case err != nil:
		return 0, errNumber
	}
	return x, nil
}

// shortDecimal reads what nearly every cell holds: a sign, up to 15 digits and a
// point. Both the digits and the power of ten are exact then, so that one
// division gives the nearest number, as ParseFloat would (W. D. Clinger, How to
// read floating point numbers accurately, 1990). Anything else is left to it.
func shortDecimal(cell []byte) (float64, bool) {
	i, n := 0, len(cell)
	if n > 0 && (cell[0] == '-' || cell[0] == '+') {
		i = 1
	}
	if n-i > 16 {
		return 0, false
	}
	whole, digits, point := int64(0), 0, -1
	for ; i < n; i++ {
		c := cell[i] - '0'
		switch {
		case c <= 9:
			whole = whole*10 + int64(c)
			digits++
		case cell[i] == '.' && point < 0:
			point = digits
		default:
			return 0, false
		}
	}
	if digits == 0 || digits > 15 {
		return 0, false
	}
	x := float64(whole)
	if point >= 0 {
		x /= tens[digits-point]
	}
	if cell[0] == '-' {
		x = -x
	}
	return x, true
}

// tens are the powers of ten up to 15 digits, all exact.
var tens = [16]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}
