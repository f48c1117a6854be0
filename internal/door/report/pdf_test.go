package report

import (
	"bytes"
	"compress/zlib"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the golden text")

// paperText is what stands on the pages of a PDF, read back from its bytes: this
// reader knows no more of PDF than the writer uses.
type paperText struct {
	wide, tall float64
	pages      [][]placed
}

// placed is words at a place, in points from the bottom left.
type placed struct {
	x, y, size float64
	font, text string
}

var (
	streams  = regexp.MustCompile(`(?s)/Length \d+>>\s*stream\r?\n(.*?)\nendstream`)
	fontLine = regexp.MustCompile(`/(F[0-9a-f]+) ([0-9.]+) Tf`)
	textLine = regexp.MustCompile(`(?s)BT ([0-9.-]+) ([0-9.-]+) Td \((.*?[^\\]|)\) ?Tj ET`)
	mediaBox = regexp.MustCompile(`/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]`)
)

func readPDF(t testing.TB, data []byte) paperText {
	var out paperText
	box := mediaBox.FindSubmatch(data)
	require.NotNil(t, box)
	out.wide, _ = strconv.ParseFloat(string(box[1]), 64)
	out.tall, _ = strconv.ParseFloat(string(box[2]), 64)
	for _, m := range streams.FindAllSubmatch(data, -1) {
		z, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue
		}
		body, err := io.ReadAll(z)
		if err != nil || !bytes.Contains(body, []byte(" Td (")) {
			continue
		}
		var page []placed
		font, size := "", 0.0
		all := regexp.MustCompile(`(?s)`+fontLine.String()+`|`+textLine.String()).FindAllSubmatch(body, -1)
		for _, l := range all {
			if len(l[1]) > 0 {
				font = string(l[1])
				size, _ = strconv.ParseFloat(string(l[2]), 64)
				continue
			}
			x, _ := strconv.ParseFloat(string(l[3]), 64)
			y, _ := strconv.ParseFloat(string(l[4]), 64)
			page = append(page, placed{x, y, size, font, utf16be(l[5])})
		}
		out.pages = append(out.pages, page)
	}
	require.NotEmpty(t, out.pages)
	return out
}

// utf16be undoes the escapes of a PDF string and reads two bytes a sign.
func utf16be(b []byte) string {
	var raw []byte
	for i := 0; i < len(b); i++ {
		if b[i] == '\\' && i+1 < len(b) {
			i++
			switch b[i] {
			case 'r':
				raw = append(raw, '\r')
				continue
			case 'n':
				raw = append(raw, '\n')
				continue
			}
		}
		raw = append(raw, b[i])
	}
	var u []uint16
	for i := 0; i+1 < len(raw); i += 2 {
		u = append(u, uint16(raw[i])<<8|uint16(raw[i+1]))
	}
	return string(utf16.Decode(u))
}

// text is all of it, words that were broken over lines joined without a space.
func (p paperText) text() string {
	var b strings.Builder
	for _, page := range p.pages {
		for _, w := range page {
			b.WriteString(w.text)
		}
	}
	return b.String()
}

// inside holds that all words lie on the paper.
func (p paperText) inside(t testing.TB) {
	r, err := newTypesetter()
	require.NoError(t, err)
	for n, page := range p.pages {
		for _, w := range page {
			wide := r.width(boldFace, w.size, w.text) // the widest of the faces but one
			assert.True(t, w.x > 4 && w.x+wide*0.9 < p.wide-20 && w.y > 14 && w.y < p.tall-20,
				"page %d: %q at %.0f, %.0f leaves the paper", n+1, w.text, w.x, w.y)
		}
	}
}

func TestEveryPageHasItsFootWithItsNumber(t *testing.T) {
	for _, paper := range []Paper{A4, Letter} {
		d := document(t, source(t))
		var b bytes.Buffer
		require.NoError(t, d.WritePDF(&b, paper))
		p := readPDF(t, b.Bytes())
		assert.InDelta(t, paper.Wide, p.wide, 0.1)
		for n, page := range p.pages {
			all := ""
			for _, w := range page {
				all += w.text
			}
			assert.Contains(t, all, fmt.Sprintf("page %d of %d", n+1, len(p.pages)))
			for _, want := range []string{"elder-bank-3", "28 Oct 2026 to", "dewcase 1.2.3", "made 9 Dec 2026 08:30",
				"observed 85 %"} {
				assert.Contains(t, strings.ReplaceAll(all, "\u00A0", " "), want, "page %d", n+1)
			}
		}
		p.inside(t)
	}
}

func TestEachChapterBeginsAPageAndLeadsOn(t *testing.T) {
	d := document(t, source(t))
	p := readPDF(t, pdf(t, d))
	page := html(t, d)
	for i, part := range d.Parts {
		title := part.Number + ". " + part.Title
		begins := 0
		for n, of := range p.pages {
			for _, w := range of[:min(len(of), 8)] { // the foot comes first
				if n > 0 && w.size == 13 && strings.HasPrefix(title, strings.TrimSpace(w.text)) {
					begins = n + 1
					assert.Greater(t, w.y, A4.Tall-90, "%s stands at the top", title)
				}
			}
		}
		assert.Positive(t, begins, "%s begins a page", title)
		assert.Contains(t, page, `<a href="#`+part.ID+`">`+part.Title+`</a></li>`)
		if i > 0 {
			assert.Contains(t, page, `<a href="#`+part.ID+`">Next: `+title+`</a>`)
		}
	}
	assert.Equal(t, len(d.Parts), strings.Count(page, `<a href="#contents">Contents</a>`))
}

func TestBothFormsSayTheSame(t *testing.T) {
	d := document(t, source(t))
	squeeze := func(s string) string {
		return strings.Map(func(r rune) rune {
			if r == ' ' || r == '\u00A0' {
				return -1
			}
			return r
		}, s)
	}
	paper := squeeze(readPDF(t, pdf(t, d)).text())
	words := 0
	everyText(d, func(x Text) {
		for _, w := range strings.Fields(x.String()) {
			words++
			assert.Contains(t, paper, squeeze(w), "%q of %q is not on paper", w, x.String())
		}
	})
	assert.Greater(t, words, 2000)
}

func TestAReadersToolFindsTheWordsOnPaper(t *testing.T) {
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Log("pdftotext is not installed: the reader of this test file stands alone")
		return
	}
	file := filepath.Join(t.TempDir(), "report.pdf")
	require.NoError(t, os.WriteFile(file, pdf(t, document(t, source(t))), 0o600))
	out, err := exec.Command(tool, "-layout", file, "-").Output()
	require.NoError(t, err)
	for _, want := range []string{"Moisture in the roof of 3 Elder Bank", "The answer",
		"11. Annex: how each figure is made", "page 1 of"} {
		assert.Contains(t, string(out), want)
	}
}

// The setting of every kind of block, with words that break, rows that are
// longer than a page and heads that are said again.
func TestTheSettingOfAPageIsAsAgreed(t *testing.T) {
	long := say("%s ends", strings.Repeat("unbreakable", 30))
	d := &Document{Title: "A title", House: "house", Facts: []Fact{{"Property", say("here")}},
		Answer: []Text{say("Yes, %s.", Run{Words: "42", From: "a", Scale: 1})},
		Foot:   Foot{"Case", "span", "observed 90 %", "dewcase 1", "made now"}, made: madeAt}
	p := &part{Part{ID: "one", Number: "1", Title: "One"}}
	p.lead("A lead.")
	p.para("A paragraph %s.", bold("with a bold stretch that is long enough to be broken over two lines of the paper "+
		"it stands on"))
	p.quiet("Quiet.")
	p.warn("Mind this.")
	p.head("A heading")
	p.list(Bullets, []Text{say("first"), long})
	p.list(Steps, []Text{say("step")})
	t1 := &Table{Caption: "Rows", Head: []string{"Name", "Figure", "Words"}, Numeric: []bool{false, true}}
	t1.Rows = append(t1.Rows, Row{Cells: []Text{say("A group")}, Group: true})
	for i := range 60 {
		t1.Rows = append(t1.Rows, cells(fmt.Sprint("row ", i), fmt.Sprint(i*i), "words"))
	}
	t1.Rows = append(t1.Rows, cells("giant", "1", strings.TrimSpace(strings.Repeat("many words ", 2500))))
	p.table(t1)
	d.Parts = []Part{p.Part}
	got := readPDF(t, pdf(t, d))
	got.inside(t)
	var b strings.Builder
	for n, page := range got.pages {
		fmt.Fprintf(&b, "page %d\n", n+1)
		for _, w := range page {
			fmt.Fprintf(&b, "%.1f %.1f %.1f %s\n", w.x, w.y, w.size, w.text)
		}
	}
	file := filepath.Join("testdata", "setting.txt")
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(file, []byte(b.String()), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), b.String())
	heads := 0
	for _, page := range got.pages {
		for _, w := range page {
			if w.text == "Figure" {
				heads++
			}
		}
	}
	assert.Equal(t, len(got.pages)-1, heads, "the table's head is said again on every page of the chapter")
}

func BenchmarkPDF(b *testing.B) {
	d := document(b, source(b))
	for b.Loop() {
		require.NoError(b, d.WritePDF(io.Discard, A4))
	}
}

func BenchmarkHTML(b *testing.B) {
	d := document(b, source(b))
	for b.Loop() {
		require.NoError(b, d.WriteHTML(io.Discard, Frame{}))
	}
}

var lookDir = flag.String("look", "", "write the invented house's report into this folder, to be looked at")

func TestTheReportCanBeLookedAt(t *testing.T) {
	d := document(t, source(t))
	dir := *lookDir
	if dir == "" {
		dir = t.TempDir()
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "report.pdf"), pdf(t, d), 0o600))
	var b bytes.Buffer
	require.NoError(t, d.WriteHTML(&b, Frame{Inline: "/* none */"}))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "report.html"), b.Bytes(), 0o600))
}
