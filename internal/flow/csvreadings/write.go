package csvreadings

import (
	"bufio"
	"fmt"
	"io"
	"iter"
	"strconv"

	"dewcase/internal/roof"
)

// Header is the first line that Write writes.
const Header = "time,logger,temp_c,rh_pct,battery_pct,rain_mm,wood_pct,wind_ms,sun_w_m2"

// Write writes readings as a file that Read reads back to the same values:
// numbers in their shortest exact form, times in UTC to the millisecond. It
// returns how many it wrote.
//
// Nothing here is guarded against being taken for a formula by a spreadsheet.
// The cells are numbers, times and names of A-Z a-z 0-9 . _ -, so none can
// start with = + @ or a tab; a name may start with -, and quoting or prefixing
// it would make it another logger's when the file is read back, while a formula
// needs brackets or quotes to do harm and those no name can have.
func Write(w io.Writer, readings iter.Seq2[roof.Reading, error]) (int, error) {
	out := bufio.NewWriterSize(w, 64<<10)
	n := 0
	if _, err := out.WriteString(Header + "\n"); err != nil {
		return 0, fmt.Errorf("writing readings: %w", err)
	}
	line := make([]byte, 0, 256)
	for r, err := range readings {
		if err != nil {
			return n, fmt.Errorf("writing readings, after %d: %w", n, err)
		}
		line = appendRow(line[:0], r)
		if _, err := out.Write(line); err != nil {
			return n, fmt.Errorf("writing readings, after %d: %w", n, err)
		}
		n++
	}
	if err := out.Flush(); err != nil {
		return n, fmt.Errorf("writing readings: %w", err)
	}
	return n, nil
}

func appendRow(line []byte, r roof.Reading) []byte {
	line = r.At.UTC().AppendFormat(line, "2006-01-02T15:04:05.999Z07:00")
	line = append(line, ',')
	line = append(line, r.Logger...)
	for q := range roof.Quantity(roof.QuantityCount) {
		line = append(line, ',')
		if x, ok := r.Values.Get(q); ok {
			line = strconv.AppendFloat(line, x, 'g', -1, 64)
		}
	}
	return append(line, '\n')
}
