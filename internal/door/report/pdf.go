package report

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// Paper is the size of a page, in points.
type Paper struct {
	Name       string
	Wide, Tall float64
}

// The papers: A4 (ISO 216) and US Letter.
var (
	A4     = Paper{"a4", 595.28, 841.89}
	Letter = Paper{"letter", 612, 792}
)

// PaperNamed finds a paper; ok is false where it is not known.
func PaperNamed(name string) (Paper, bool) {
	switch strings.ToLower(name) {
	case "", A4.Name:
		return A4, true
	case Letter.Name:
		return Letter, true
	}
	return A4, false
}

func paperOf(name string) Paper {
	p, _ := PaperNamed(name)
	return p
}

// The measures of a page, in points.
const (
	marginSide = 50.0
	marginTop  = 48.0
	marginFoot = 58.0
	textSize   = 9.5
	smallSize  = 8.2
	leading    = 1.38 // line height over type size
)

// sheetOfPaper writes blocks below each other, page by page. Its first pass
// learns on which pages the parts stand and how many there are.
type sheetOfPaper struct {
	*fpdf.Fpdf
	typesetter *typesetter
	paper      Paper
	y          float64
	d          *Document
	pages      int            // in all, as the first pass found
	at         map[string]int // page of each part, likewise
	links      map[string]int
}

// WritePDF writes the report on paper. The same document makes the same bytes.
func (d *Document) WritePDF(w io.Writer, paper Paper) error {
	r, err := newTypesetter()
	if err != nil {
		return err
	}
	at, pages := map[string]int{}, 0
	var s *sheetOfPaper
	for range 2 {
		s = newSheet(d, r, paper)
		s.at, s.pages = at, pages
		s.document()
		if s.Err() {
			return fmt.Errorf("writing the report of %s as PDF: %w", d.House, s.Error())
		}
		at, pages = s.at, s.PageNo()
	}
	if err := s.Output(w); err != nil {
		return fmt.Errorf("writing the report of %s as PDF: %w", d.House, err)
	}
	return nil
}

func newSheet(d *Document, r *typesetter, paper Paper) *sheetOfPaper {
	p := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: paper.Wide, Ht: paper.Tall}})
	p.SetAutoPageBreak(false, 0)
	p.SetMargins(0, 0, 0)
	p.SetCellMargin(0)
	for i, b := range faceFiles {
		// A copy each time: cutting the type down to the signs used writes into
		// the bytes it was given, which would change every report after the first.
		p.AddUTF8FontFromBytes(faceNames[i], "", slices.Clone(b))
	}
	p.SetCatalogSort(true)
	p.SetCreationDate(d.made)
	p.SetModificationDate(d.made)
	p.SetTitle(d.Title, true)
	p.SetSubject("Report of case "+d.House+", "+d.Foot.Span, true)
	p.SetCreator(d.Foot.Version, true)
	p.SetProducer(d.Foot.Version, true)
	p.SetLang("en-GB")
	return &sheetOfPaper{Fpdf: p, typesetter: r, paper: paper, d: d, links: map[string]int{}}
}

func (s *sheetOfPaper) inner() float64  { return s.paper.Wide - 2*marginSide }
func (s *sheetOfPaper) bottom() float64 { return s.paper.Tall - marginFoot }

// turn begins a page, with its foot.
func (s *sheetOfPaper) turn() {
	s.AddPage()
	s.y = marginTop
	y := s.paper.Tall - marginFoot + 18
	s.SetDrawColor(120, 120, 120)
	s.SetLineWidth(0.5)
	s.Line(marginSide, y, s.paper.Wide-marginSide, y)
	page := fmt.Sprintf("page %d of %d", s.PageNo(), max(s.pages, s.PageNo()))
	wide := s.typesetter.width(regular, 7.5, page)
	s.ink(60)
	s.words(s.paper.Wide-marginSide-wide, y+11, regular, 7.5, page)
	for i, l := range s.typesetter.set(Text{{Words: s.d.Foot.Line()}}, regular, 7.5, s.inner()-wide-14) {
		if i == 2 {
			break
		}
		s.pieces(marginSide, y+11+float64(i)*9.5, 7.5, l)
	}
	s.ink(0)
}

// room turns the page unless so much is left of it.
func (s *sheetOfPaper) room(tall float64) {
	if s.y+tall > s.bottom() {
		s.turn()
	}
}

func (s *sheetOfPaper) ink(grey int) { s.SetTextColor(grey, grey, grey) }

func (s *sheetOfPaper) words(x, y float64, f face, size float64, text string) {
	s.SetFont(faceNames[f], "", size)
	s.Text(x, y, text)
}

func (s *sheetOfPaper) pieces(x, y, size float64, l line) {
	for _, p := range l.pieces {
		if p.words != "" {
			s.words(x+p.x, y, p.face, size, p.words)
		}
	}
}

// flow sets a text from x to the width given, over pages where it must.
func (s *sheetOfPaper) flow(t Text, f face, size, x, width float64) {
	lines := s.typesetter.set(t, f, size, width)
	step := size * leading
	if n := len(lines); n > 1 && n <= 3 { // a short paragraph stays together
		s.room(float64(n) * step)
	}
	for _, l := range lines {
		s.room(step)
		s.pieces(x, s.y+size, size, l)
		s.y += step
	}
}

func (s *sheetOfPaper) document() {
	d := s.d
	s.turn()
	s.flow(say("%s", bold(d.Title)), boldFace, 17, marginSide, s.inner())
	s.y += 6
	if d.Demo {
		s.boxed(Text{bold("Demonstration: the house, its people and its winter are invented.")})
	}
	for _, f := range d.Facts {
		lines := s.typesetter.set(f.Is, regular, smallSize, s.inner()-76)
		s.room(float64(len(lines)) * smallSize * leading)
		s.ink(70)
		s.words(marginSide, s.y+smallSize, regular, smallSize, f.Name)
		s.ink(0)
		s.flow(f.Is, regular, smallSize, marginSide+76, s.inner()-76)
		s.y += 1.5
	}
	s.y += 8
	s.answer()
	s.contents()
	for _, p := range d.Parts {
		s.part(p)
	}
}

// answer stands in a frame, which a page's end may cut.
func (s *sheetOfPaper) answer() {
	const pad = 9.0
	s.room(70)
	top, first := s.y, s.PageNo()
	s.y += pad
	s.flow(say("%s", bold("The answer")), boldFace, 12, marginSide+pad, s.inner()-2*pad)
	s.y += 2
	for _, t := range s.d.Answer {
		s.flow(t, regular, 10, marginSide+pad, s.inner()-2*pad)
		s.y += 4
	}
	s.y += pad - 4
	s.SetDrawColor(0, 0, 0)
	s.SetLineWidth(1.2)
	if s.PageNo() == first {
		s.Rect(marginSide, top, s.inner(), s.y-top, "D")
	} else {
		s.Line(marginSide, s.y, s.paper.Wide-marginSide, s.y)
	}
	s.y += 12
}

func (s *sheetOfPaper) contents() {
	s.room(float64(len(s.d.Parts))*13 + 16)
	s.flow(say("%s", bold("Contents")), boldFace, textSize, marginSide, s.inner())
	for _, p := range s.d.Parts {
		s.links[p.ID] = s.AddLink()
		s.room(13)
		s.words(marginSide, s.y+textSize, regular, textSize, p.Number+". "+p.Title)
		page := fmt.Sprint(s.at[p.ID])
		s.words(marginSide+s.inner()-s.typesetter.width(regular, textSize, page), s.y+textSize, regular, textSize, page)
		s.Link(marginSide, s.y, s.inner(), 13, s.links[p.ID])
		s.y += 13
	}
}

func (s *sheetOfPaper) part(p Part) {
	s.turn()
	if s.at == nil {
		s.at = map[string]int{}
	}
	s.at[p.ID] = s.PageNo()
	s.SetLink(s.links[p.ID], s.y, s.PageNo())
	s.Bookmark(p.Number+". "+p.Title, 0, s.y)
	s.SetDrawColor(0, 0, 0)
	s.SetLineWidth(0.8)
	s.Line(marginSide, s.y, s.paper.Wide-marginSide, s.y)
	s.y += 6
	s.flow(say("%s", bold(p.Number+". "+p.Title)), boldFace, 13, marginSide, s.inner())
	s.y += 4
	for i, b := range p.Blocks {
		if b.Kind == Heading {
			s.room(s.least(p.Blocks[i:]))
		}
		s.block(b)
	}
}

// least is how much of these blocks must stand on one page, so that no heading
// stands alone at its foot.
func (s *sheetOfPaper) least(blocks []Block) float64 {
	tall := 0.0
	for _, b := range blocks {
		if b.Kind == Heading || b.Kind == Lead {
			tall += float64(len(s.typesetter.set(b.Text, boldFace, 10.5, s.inner())))*10.5*leading + 12
			continue
		}
		switch b.Kind {
		case Grid:
			tall += 4*smallSize*leading + s.together(b.Table, s.columns(b.Table))
		case Figure:
			tall += 0.8*b.Scene.HeightPx*pxPt + 40
		default:
			tall += 2 * textSize * leading
		}
		break
	}
	return min(tall, (s.bottom()-marginTop)*0.7)
}

func (s *sheetOfPaper) block(b Block) {
	switch b.Kind {
	case Lead:
		s.flow(b.Text, boldFace, 10, marginSide, s.inner())
		s.y += 5
	case Para:
		s.flow(b.Text, regular, textSize, marginSide, s.inner())
		s.y += 5
	case Quiet:
		s.ink(60)
		s.flow(b.Text, regular, smallSize, marginSide, s.inner())
		s.ink(0)
		s.y += 5
	case Warn:
		s.boxed(b.Text)
	case Heading:
		s.y += 7
		s.flow(b.Text, boldFace, 10.5, marginSide, s.inner())
		s.y += 3
	case Bullets, Steps:
		for i, t := range b.Items {
			mark := "•"
			if b.Kind == Steps {
				mark = fmt.Sprintf("%d.", i+1)
			}
			lines := len(s.typesetter.set(t, regular, textSize, s.inner()-14))
			s.room(float64(min(lines, 3)) * textSize * leading)
			s.words(marginSide+2, s.y+textSize, regular, textSize, mark)
			s.flow(t, regular, textSize, marginSide+14, s.inner()-14)
			s.y += 2.5
		}
		s.y += 3
	case Grid:
		s.table(b.Table)
	case Figure:
		s.figure(b)
	}
}

// boxed sets what must not be overlooked, with a bar beside it.
func (s *sheetOfPaper) boxed(t Text) {
	const in = 9.0
	s.y += 2
	for _, l := range s.typesetter.set(t, regular, textSize, s.inner()-in) {
		step := textSize * leading
		s.room(step)
		s.SetFillColor(0, 0, 0)
		s.Rect(marginSide, s.y, 2.2, step+0.2, "F")
		s.pieces(marginSide+in, s.y+textSize, textSize, l)
		s.y += step
	}
	s.y += 6
}
