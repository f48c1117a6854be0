package csvreadings

import (
	"bufio"
	"bytes"
	"errors"
	"io"
)

// MaxLine is the longest row in bytes that is read; a longer one costs itself
// only, and no memory.
const MaxLine = 16 << 10

// Lines reads a text line by line in bounded memory.
type Lines struct {
	At int // number of the line read last, from 1
	in *bufio.Reader
}

// NewLines starts before the first line.
func NewLines(r io.Reader) *Lines { return &Lines{in: bufio.NewReaderSize(r, MaxLine+2)} }

// Next returns the next line without its end. A line that is too long comes
// back as tooLong with its first bytes; the reader stands behind it.
func (l *Lines) Next() (line []byte, tooLong bool, err error) {
	line, err = l.in.ReadSlice('\n')
	if len(line) == 0 && err != nil {
		return nil, false, err
	}
	l.At++
	if errors.Is(err, bufio.ErrBufferFull) {
		line, tooLong = bytes.Clone(line[:80]), true
		for errors.Is(err, bufio.ErrBufferFull) {
			_, err = l.in.ReadSlice('\n')
		}
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, false, err
	}
	line = bytes.TrimSuffix(line, []byte("\n"))
	return bytes.TrimSuffix(line, []byte("\r")), tooLong, nil
}
