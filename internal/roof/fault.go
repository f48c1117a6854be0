package roof

import (
	"fmt"
	"strings"
)

// Fault is one thing wrong with a file that a person wrote, in words that say
// how to put it right.
type Fault struct {
	File    string
	Line    int    // from 1
	Key     string // dotted path such as loggers[0].fitted[1].position, or a column
	Problem string // what is wrong
	Remedy  string // what would be right; may be empty
}

// Error renders the fault on one line: FILE:LINE: KEY: what is wrong and what
// would be right.
func (f Fault) Error() string {
	text := f.Problem
	if f.Remedy != "" {
		text += "; " + f.Remedy
	}
	return oneLine(fmt.Sprintf("%s:%d: %s: %s", f.File, max(f.Line, 1), f.Key, text))
}

// Faults are all the faults of one input, in line order.
type Faults []Fault

// Error renders the faults one a line, at most FaultLines of them.
func (fs Faults) Error() string { return strings.Join(fs.Lines(FaultLines), "\n") }

// FaultLines is how many faults are shown before only their number is.
const FaultLines = 100

// Lines renders at most limit faults, then one line that counts the others.
func (fs Faults) Lines(limit int) []string {
	out := make([]string, 0, min(len(fs), limit)+1)
	for i, f := range fs {
		if i == limit {
			out = append(out, fmt.Sprintf("and %d more faults (%d in all)", len(fs)-limit, len(fs)))
			break
		}
		out = append(out, f.Error())
	}
	return out
}

// Err is the faults as an error, nil when there are none.
func (fs Faults) Err() error {
	if len(fs) == 0 {
		return nil
	}
	return fs
}

// oneLine keeps control characters of whatever a person or a logger wrote out
// of a terminal and a log.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == '\u0085' || r == '\u2028' || r == '\u2029' {
			return ' '
		}
		return r
	}, s)
}
