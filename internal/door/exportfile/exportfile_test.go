package exportfile

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"dewcase/internal/flow/exports"
)

func laid(t testing.TB, data []byte) *os.File {
	t.Helper()
	name := filepath.Join(t.TempDir(), "export")
	require.NoError(t, os.WriteFile(name, data, 0o600))
	f, err := os.Open(name)
	require.NoError(t, err)
	t.Cleanup(func() { _ = f.Close() })
	return f
}

func all(t testing.TB, text exports.Text) string {
	t.Helper()
	r, err := text.Open()
	require.NoError(t, err)
	out, err := io.ReadAll(r)
	require.NoError(t, err)
	require.NoError(t, r.Close())
	return strings.TrimPrefix(string(out), "\ufeff")
}

func TestEveryEncodingGivesTheSameText(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		enc  encoding.Encoding
	}{
		"UTF-8":                   {"Zeit;Temperatur (°C)\n", encoding.Nop},
		"UTF-8 with mark":         {"Zeit;Temperatur (°C)\n", unicode.UTF8BOM},
		"UTF-16 little, marked":   {"Zeit;Temperatur (°C)\n", unicode.UTF16(unicode.LittleEndian, unicode.UseBOM)},
		"UTF-16 big, marked":      {"Zeit;Temperatur (°C)\n", unicode.UTF16(unicode.BigEndian, unicode.UseBOM)},
		"UTF-16 little, unmarked": {"Zeit;Temperatur (°C)\n", unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM)},
		"UTF-16 big, unmarked":    {"Zeit;Temperatur (°C)\n", unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM)},
		"Windows-1252":            {"Heure;Température (°C);Humidité (%)\n", charmap.Windows1252},
		"Windows-1250":            {"Czas;Temperatura (°C);Wilgotność (%)\n", charmap.Windows1250},
		"Windows-1251":            {"Время;Температура (°C);Влажность (%)\n", charmap.Windows1251},
	} {
		t.Run(name, func(t *testing.T) {
			data, err := c.enc.NewEncoder().Bytes([]byte(c.text))
			require.NoError(t, err)
			f, err := Open("x.csv", laid(t, data))
			require.NoError(t, err)
			require.Len(t, f.Texts, 1)
			assert.Equal(t, c.text, all(t, f.Texts[0]))
			assert.NoError(t, f.Close())
		})
	}
}

func TestALetterOnTheBorderOfTwoReadsIsNoForeignEncoding(t *testing.T) {
	for shift := range 4 {
		text := strings.Repeat("a", shift) + strings.Repeat("€", 200<<10)
		ok, err := isUTF8(strings.NewReader(text))
		require.NoError(t, err)
		assert.True(t, ok, shift)
		ok, err = isUTF8(strings.NewReader(text + "\xe4"))
		require.NoError(t, err)
		assert.False(t, ok, shift)
	}
}

func TestWhatIsNoTextIsRefusedInPlainWords(t *testing.T) {
	for name, c := range map[string]struct{ data, says string }{
		"nothing":      {"", "the file is empty"},
		"blanks":       {" \r\n\r\n", "the file is empty"},
		"old workbook": {"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "save it as .xlsx without a password, or as CSV"},
		"broken zip":   {"PK\x03\x04 and nothing else", "it is no workbook"},
		"another zip":  {string(zipped(t, map[string]string{"photo.jpg": "x"})), "the workbook cannot be read"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Open("x.csv", laid(t, []byte(c.data)))
			require.ErrorContains(t, err, c.says)
			assert.Contains(t, err.Error(), "x.csv:1: file: ")
		})
	}
}

// zipped packs parts as tight as it goes.
func zipped(t testing.TB, parts map[string]string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) {
		return flate.NewWriter(w, flate.BestCompression)
	})
	for name, content := range parts {
		w, err := z.Create(name)
		require.NoError(t, err)
		_, err = io.WriteString(w, content)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return b.Bytes()
}

// endless is a workbook with a part of so many bytes: one packed block, written
// again and again.
func endless(t testing.TB, name, head, block string, size int64) []byte {
	t.Helper()
	packed := func(text string) []byte {
		var b bytes.Buffer
		w, err := flate.NewWriter(&b, flate.BestCompression)
		require.NoError(t, err)
		_, err = io.WriteString(w, text)
		require.NoError(t, err)
		require.NoError(t, w.Flush())
		return b.Bytes()
	}
	chunk := strings.Repeat(block, (1<<20)/len(block))
	times := int(size / int64(len(chunk)))
	body := append(packed(head), bytes.Repeat(packed(chunk), times)...)
	body = append(body, 1, 0, 0, 0xff, 0xff) // the last block, empty
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.CreateRaw(&zip.FileHeader{Name: name, Method: zip.Deflate, CompressedSize64: uint64(len(body)),
		UncompressedSize64: uint64(len(head) + times*len(chunk))})
	require.NoError(t, err)
	_, err = w.Write(body)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	return b.Bytes()
}

func TestAWorkbookThatUnpacksToGigabytesCostsBoundedMemory(t *testing.T) {
	const gigabytes = 2 << 30
	row := `<row><c t="inlineStr"><is><t>x</t></is></c></row>`
	for name, data := range map[string][]byte{
		"rows without end": endless(t, "xl/worksheets/sheet1.xml", "<worksheet><sheetData>", row, gigabytes),
		"one endless word": endless(t, "xl/worksheets/sheet1.xml", "<worksheet><sheetData><row><c>", "x", gigabytes),
		"one endless row":  endless(t, "xl/worksheets/sheet1.xml", "<worksheet><sheetData><row>", "<c/>", gigabytes),
		"shared words":     endless(t, "xl/sharedStrings.xml", "<sst>", "<si><t>x</t></si>", gigabytes),
		"a part of styles": endless(t, "xl/styles.xml", "<styleSheet>", "<xf/>", gigabytes),
	} {
		t.Run(name, func(t *testing.T) {
			require.Less(t, len(data), 16<<20)
			f := laid(t, data)
			data = nil
			debug.FreeOSMemory()
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, err := Open("bomb.xlsx", f)
			runtime.ReadMemStats(&after)
			require.Error(t, err)
			assert.Regexp(t, "over 400 MB|larger than any of readings", err.Error())
			assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(8<<20), "bytes allocated in all")
		})
	}
}

func TestASizeThatAWorkbookClaimsIsNotBelieved(t *testing.T) {
	data := endless(t, "xl/worksheets/sheet1.xml", "<worksheet>", "<row/>", 600<<20)
	at := bytes.LastIndex(data, []byte("PK\x01\x02"))
	copy(data[at+24:at+28], []byte{16, 0, 0, 0}) // the unpacked size in the directory
	_, err := Open("bomb.xlsx", laid(t, data))
	require.Error(t, err)
}

func TestEachSheetIsATextWithItsLines(t *testing.T) {
	book := excelize.NewFile()
	require.NoError(t, book.SetSheetRow("Sheet1", "A3", &[]any{"Time", "Temp\t(°C)", 4.31, true, "two\nlines", `a "b"`}))
	require.NoError(t, book.SetCellFloat("Sheet1", "A5", 46351.256944444445, -1, 64))
	_, err := book.NewSheet("Notes")
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, book.Write(&b))
	f, err := Open("x.xlsx", laid(t, b.Bytes()))
	require.NoError(t, err)
	defer func() { assert.NoError(t, f.Close()) }()
	require.Len(t, f.Texts, 2)
	assert.Equal(t, "\n\nTime\tTemp (°C)\t4.31\t1\ttwo lines\ta 'b'\n\n46351.2569444444\n", all(t, f.Texts[0]))
	assert.Equal(t, []string{"x.xlsx[Sheet1]", "x.xlsx[Notes]"}, []string{f.Texts[0].Name, f.Texts[1].Name})
	assert.Empty(t, all(t, f.Texts[1]))
}

// FuzzOpen: whatever a file holds, it is opened or refused, and its tables can
// be looked through.
func FuzzOpen(f *testing.F) {
	shapes, err := filepath.Glob("../../../testdata/exports/*/*.*")
	require.NoError(f, err)
	for _, s := range shapes {
		data, err := os.ReadFile(s)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Add(zipped(f, map[string]string{"xl/workbook.xml": "<workbook/>", "[Content_Types].xml": "<Types/>"}))
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := Open("x", laid(t, data))
		if err != nil {
			return
		}
		defer func() { _ = file.Close() }()
		_, err = exports.LookAll(file.Texts, func([]string) exports.Answers { return exports.Answers{Zone: "Europe/London"} },
			exports.House{})
		_ = fmt.Sprint(err)
	})
}
