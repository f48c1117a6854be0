// Package exportfile opens the files that loggers' programs write and gives the
// tables in them as UTF-8 text: text in UTF-8, UTF-16 or a code page of Windows,
// and the sheets of an .xlsx workbook. What a workbook unpacks to is bounded
// before any of it is kept.
package exportfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"dewcase/internal/flow/exports"
	"dewcase/internal/roof"
)

// File is an opened file. It must be closed.
type File struct {
	Texts []exports.Text
	kept  []*os.File
}

// Close drops what was unpacked; the file itself is the caller's.
func (f *File) Close() error {
	var errs []error
	for _, k := range f.kept {
		errs = append(errs, k.Close())
	}
	return errors.Join(errs...)
}

// Open finds the tables of a file. The name stands in what is said of it. An
// error that is roof.Faults says what is wrong with the file.
func Open(name string, in *os.File) (*File, error) {
	head := make([]byte, 64<<10)
	n, err := in.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	head = head[:n]
	switch {
	case len(bytes.TrimSpace(head)) == 0:
		return nil, fault(name, "the file is empty", "")
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		return openWorkbook(name, in)
	case bytes.HasPrefix(head, []byte("\xd0\xcf\x11\xe0")):
		return nil, fault(name, "it is a workbook of the form before 2007 (.xls), or one with a password",
			"save it as .xlsx without a password, or as CSV")
	}
	enc, err := encodingOf(in, head)
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	text := exports.Text{Name: name, Open: func() (io.ReadCloser, error) {
		r := io.Reader(io.NewSectionReader(in, 0, 1<<62))
		if enc != nil {
			r = enc.NewDecoder().Reader(r)
		}
		return io.NopCloser(r), nil
	}}
	return &File{Texts: []exports.Text{text}}, nil
}

func fault(name, problem, remedy string) error {
	return roof.Faults{{File: name, Line: 1, Key: "file", Problem: problem, Remedy: remedy}}
}

// codePages are those of Windows in the order in which they are tried; each has
// the degree sign in the same place, so that only words tell them apart.
var codePages = []*charmap.Charmap{charmap.Windows1252, charmap.Windows1250, charmap.Windows1251,
	charmap.Windows1254, charmap.Windows1257, charmap.Windows1253}

// encodingOf tells how a file's text is encoded; nil is UTF-8.
func encodingOf(in io.ReaderAt, head []byte) (encoding.Encoding, error) {
	switch {
	case bytes.HasPrefix(head, []byte("\xef\xbb\xbf")):
		return nil, nil
	case bytes.HasPrefix(head, []byte("\xff\xfe")), bytes.HasPrefix(head, []byte("\xfe\xff")):
		return unicode.UTF16(unicode.LittleEndian, unicode.UseBOM), nil
	case zeros(head, 1) > 0 && zeros(head, 0) == 0:
		return unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM), nil
	case zeros(head, 0) > 0 && zeros(head, 1) == 0:
		return unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM), nil
	}
	ok, err := isUTF8(in)
	if ok || err != nil {
		return nil, err
	}
	best, most := codePages[0], -1
	for _, page := range codePages {
		text, err := page.NewDecoder().Bytes(head)
		if err != nil {
			continue
		}
		if n := exports.KnownWords(string(text)); n > most {
			best, most = page, n
		}
	}
	return best, nil
}

// zeros counts NUL bytes at even or odd places.
func zeros(head []byte, from int) int {
	n := 0
	for i := from; i < len(head); i += 2 {
		if head[i] == 0 {
			n++
		}
	}
	return n
}

// isUTF8 reads a whole file to tell; it stops where it is not.
func isUTF8(in io.ReaderAt) (bool, error) {
	buf := make([]byte, 256<<10)
	have, at := 0, int64(0)
	for {
		n, err := in.ReadAt(buf[have:], at)
		at += int64(n)
		have += n
		end := errors.Is(err, io.EOF)
		if err != nil && !end {
			return false, err
		}
		part := buf[:have]
		rest := 0
		if !end { // a letter may be cut at the end
			for rest < utf8.UTFMax && rest < len(part) && !utf8.RuneStart(part[len(part)-1-rest]) {
				rest++
			}
			if rest < len(part) {
				rest++
			}
		}
		if !utf8.Valid(part[:len(part)-rest]) {
			return false, nil
		}
		if end {
			return true, nil
		}
		have = copy(buf, part[len(part)-rest:])
	}
}
