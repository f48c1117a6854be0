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
