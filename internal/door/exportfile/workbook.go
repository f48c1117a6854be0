package exportfile

import (
	"archive/zip"
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/xuri/excelize/v2"

	"dewcase/internal/flow/exports"
)

// The bounds of a workbook. A million rows of six columns unpack to some 250 MiB;
// everything but sheets and their words is small in any workbook of readings.
const (
	maxPacked   = 64 << 20
	maxUnpacked = 400 << 20
	maxOther    = 8 << 20   // of a part that is no sheet
	maxWords    = 64 << 20  // of the table of shared words
	inMemory    = 1 << 20   // of a part; a larger one is unpacked to disk
	maxRun      = 256 << 10 // between two tags, and in one tag
	maxRowBytes = 4 << 20
	maxParts    = 500
	maxSheets   = 32
)

// openWorkbook unpacks each sheet into a text of its own.
func openWorkbook(name string, in *os.File) (_ *File, err error) {
	info, err := in.Stat()
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	if info.Size() > maxPacked {
		return nil, fault(name, fmt.Sprintf("the workbook has over %d MB", maxPacked>>20), "save its sheets as CSV")
	}
	if err := bounded(in, info.Size()); err != nil {
		return nil, fault(name, err.Error(), "save its sheets as CSV")
	}
	defer func() {
		if r := recover(); r != nil { // a broken workbook must cost no more than itself
			err = fault(name, "the workbook cannot be read", "save its sheets as CSV")
		}
	}()
	book, err := excelize.OpenReader(io.NewSectionReader(in, 0, info.Size()), excelize.Options{RawCellValue: true,
		UnzipSizeLimit: maxUnpacked, UnzipXMLSizeLimit: inMemory})
	if err != nil {
		return nil, fault(name, fmt.Sprintf("the workbook cannot be read: %.200v", err), "save its sheets as CSV")
	}
	defer func() { _ = book.Close() }()
	props, err := book.GetWorkbookProps()
	date1904 := err == nil && props.Date1904 != nil && *props.Date1904
	out := &File{}
	sheets := book.GetSheetList()
	for _, sheet := range sheets[:min(len(sheets), maxSheets)] {
		text, err := out.unpack(book, sheet)
		if err != nil {
			return nil, errors.Join(fault(name, fmt.Sprintf("sheet %.60q cannot be read: %.200v", sheet, err),
				"save it as CSV"), out.Close())
		}
		named := name
		if len(sheets) > 1 {
			named += "[" + sheet + "]"
		}
		out.Texts = append(out.Texts, exports.Text{Name: named, Sheet: sheet, Cells: true, Date1904: date1904,
			Open: text})
	}
	return out, nil
}

// unpack writes a sheet as text with tabs, a line a row, into a nameless file.
func (f *File) unpack(book *excelize.File, sheet string) (func() (io.ReadCloser, error), error) {
	rows, err := book.Rows(sheet)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	tmp, err := os.CreateTemp("", "dewcase-sheet-*")
	if err != nil {
		return nil, err
	}
	_ = os.Remove(tmp.Name())
	f.kept = append(f.kept, tmp)
	w := bufio.NewWriterSize(tmp, 64<<10)
	for rows.Next() {
		cells, err := rows.Columns(excelize.Options{RawCellValue: true})
		if err != nil {
			return nil, err
		}
		for i, c := range cells {
			if i > 0 {
				_ = w.WriteByte('\t')
			}
			_, _ = w.WriteString(oneCell(c))
		}
		_ = w.WriteByte('\n')
	}
	if err := errors.Join(rows.Error(), w.Flush()); err != nil {
		return nil, err
	}
	return func() (io.ReadCloser, error) { return io.NopCloser(io.NewSectionReader(tmp, 0, 1<<62)), nil }, nil
}

// oneCell keeps a cell on its line and in its column.
func oneCell(s string) string {
	if strings.ContainsAny(s, "\t\r\n\"") {
		s = strings.NewReplacer("\t", " ", "\r", " ", "\n", " ", `"`, "'").Replace(s)
	}
	return strings.ToValidUTF8(s, "\uFFFD")
}

var (
	errNoWorkbook = errors.New("it is no workbook: its parts cannot be unpacked")
	errTooLarge   = fmt.Errorf("the workbook unpacks to over %d MB", maxUnpacked>>20)
	errPart       = errors.New("a part of the workbook is larger than any of readings")
)

// bounded unpacks every part of a workbook into nothing and stops at the bounds,
// whatever sizes it claims.
func bounded(in io.ReaderAt, size int64) error {
	z, err := zip.NewReader(in, size)
	if err != nil {
		return errNoWorkbook
	}
	if len(z.File) > maxParts {
		return errPart
	}
	left := int64(maxUnpacked)
	for _, part := range z.File {
		limit := int64(maxOther)
		sheet := strings.Contains(strings.ToLower(part.Name), "worksheets/")
		if sheet {
			limit = left
		} else if strings.HasSuffix(strings.ToLower(part.Name), "sharedstrings.xml") {
			limit = maxWords
		}
		if left < limit {
			limit = left
		}
		n, err := weigh(part, limit, sheet)
		if err != nil {
			return err
		}
		if left -= n; left <= 0 {
			return errTooLarge
		}
	}
	return nil
}

// weigh unpacks one part into nothing. It refuses one that is longer than the
// limit, or holds a word, a tag or a row that is.
func weigh(part *zip.File, limit int64, sheet bool) (n int64, err error) {
	r, err := part.Open()
	if err != nil {
		return 0, errNoWorkbook
	}
	defer func() { _ = r.Close() }()
	buf := make([]byte, 64<<10)
	run, row := 0, 0
	for {
		k, err := r.Read(buf)
		if n += int64(k); n > limit {
			if limit == maxOther || limit == maxWords {
				return n, errPart
			}
			return n, errTooLarge
		}
		for b := buf[:k]; len(b) > 0; {
			i := bytes.IndexAny(b, "<>")
			if i < 0 {
				run, row = run+len(b), row+len(b)
				break
			}
			run, row = run+i, row+i
			if run > maxRun || sheet && row > maxRowBytes {
				return n, errPart
			}
			if b[i] == '<' && bytes.HasPrefix(b[i+1:], []byte("row")) {
				row = 0
			}
			run, b = 0, b[i+1:]
		}
		if run > maxRun {
			return n, errPart
		}
		if errors.Is(err, io.EOF) {
			return n, nil
		}
		if err != nil {
			return n, errNoWorkbook
		}
	}
}
