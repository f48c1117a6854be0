package report

import (
	"fmt"
	"strings"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	fix "golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/norm"
)

// face is one of the three looks of type on paper.
type face uint8

const (
	regular face = iota
	boldFace
	monoFace
)

var faceNames = [...]string{regular: "go", boldFace: "gobold", monoFace: "gomono"}

var faceFiles = [...][]byte{regular: goregular.TTF, boldFace: gobold.TTF, monoFace: gomono.TTF}

// typesetter measures words and breaks text into lines. It reads the same font
// files that the PDF embeds. It is not safe for concurrent use.
type typesetter struct {
	fonts [3]*sfnt.Font
	wide  [3]map[rune]float64 // in em
	buf   sfnt.Buffer
}

var parsed = sync.OnceValues(func() (out [3]*sfnt.Font, err error) {
	for i, b := range faceFiles {
		if out[i], err = sfnt.Parse(b); err != nil {
			return out, fmt.Errorf("reading the type %s: %w", faceNames[i], err)
		}
	}
	return out, nil
})

func newTypesetter() (*typesetter, error) {
	fonts, err := parsed()
	if err != nil {
		return nil, err
	}
	r := &typesetter{fonts: fonts}
	for i := range r.wide {
		r.wide[i] = map[rune]float64{}
	}
	return r, nil
}

// em is the width of a sign in em; ok is false where the type does not have it.
func (r *typesetter) em(f face, c rune) (w float64, ok bool) {
	if w, ok := r.wide[f][c]; ok {
		return w, w >= 0
	}
	w = -1
	const units = 2048
	if i, err := r.fonts[f].GlyphIndex(&r.buf, c); err == nil && i != 0 {
		if a, err := r.fonts[f].GlyphAdvance(&r.buf, i, fix.I(units), font.HintingNone); err == nil {
			w = float64(a) / 64 / units
		}
	}
	r.wide[f][c] = w
	return w, w >= 0
}

func (r *typesetter) width(f face, size float64, s string) float64 {
	sum := 0.0
	for _, c := range s {
		if w, ok := r.em(f, c); ok {
			sum += w
		}
	}
	return sum * size
}

// printable writes what the type can print: composed letters, and the number of
// a sign that the type lacks in its place, so that nothing is lost unseen.
func (r *typesetter) printable(f face, s string) string {
	s = norm.NFC.String(s)
	plain := true
	for _, c := range s {
		if _, ok := r.em(f, c); !ok || c > 0xFFFF {
			plain = false
			break
		}
	}
	if plain {
		return s
	}
	var b strings.Builder
	for _, c := range s {
		switch _, ok := r.em(f, c); {
		case ok && c <= 0xFFFF:
			b.WriteRune(c)
		case c == '\u200B' || c == '\u200C' || c == '\u200D' || c == '\uFEFF':
			// no width and no ink
		case c == '\u2009' || c == '\u202F' || c == '\u2003' || c == '\u2002':
			b.WriteByte(' ')
		default:
			fmt.Fprintf(&b, "[U+%04X]", c)
		}
	}
	return b.String()
}

// piece is words of one face at a place of a line.
type piece struct {
	face  face
	x     float64
	words string
}

// line is one line of set type.
type line struct {
	pieces []piece
	wide   float64
}

// set breaks a text into lines no wider than width. A word that is longer than
// a line is broken where it must be.
func (r *typesetter) set(t Text, f face, size, width float64) []line {
	var out []line
	var cur line
	x := 0.0
	put := func(f face, words string, w float64) {
		if n := len(cur.pieces); n > 0 && cur.pieces[n-1].face == f {
			cur.pieces[n-1].words += words
		} else {
			cur.pieces = append(cur.pieces, piece{f, x, words})
		}
		x += w
	}
	flush := func() {
		if n := len(cur.pieces); n > 0 {
			p := &cur.pieces[n-1]
			cut := strings.TrimRight(p.words, " ")
			x -= r.width(p.face, size, p.words[len(cut):])
			p.words = cut
		}
		cur.wide = x
		out = append(out, cur)
		cur, x = line{}, 0
	}
	for _, w := range r.words(t, f, size) {
		// A word may be of several faces; it goes to the next line as a whole.
		if x > 0 && x+w.wide > width+0.01 {
			flush()
		}
		if w.wide > width {
			for _, p := range w.parts {
				for _, c := range p.words {
					cw := r.width(p.face, size, string(c))
					if x > 0 && x+cw > width+0.01 {
						flush()
					}
					put(p.face, string(c), cw)
				}
			}
		} else {
			for _, p := range w.parts {
				put(p.face, p.words, r.width(p.face, size, p.words))
			}
		}
		if w.space && x > 0 {
			put(w.parts[len(w.parts)-1].face, " ", r.width(w.parts[len(w.parts)-1].face, size, " "))
		}
	}
	if len(cur.pieces) > 0 || len(out) == 0 {
		flush()
	}
	return out
}

// word is what stands between two spaces.
type word struct {
	parts []piece
	wide  float64
	space bool // a space follows
}

func (r *typesetter) words(t Text, f face, size float64) []word {
	var out []word
	var cur word
	end := func(space bool) {
		if len(cur.parts) > 0 {
			cur.space = space
			out = append(out, cur)
		}
		cur = word{}
	}
	for _, run := range t {
		look := f
		switch {
		case run.Mono:
			look = monoFace
		case run.Bold:
			look = boldFace
		}
		s := r.printable(look, run.Words)
		for i, w := range strings.Split(s, " ") {
			if i > 0 {
				end(true)
			}
			if w != "" {
				cur.parts = append(cur.parts, piece{face: look, words: w})
				cur.wide += r.width(look, size, w)
			}
		}
	}
	end(false)
	return out
}

// widest is the widest word of a text, natural its width on one line.
func (r *typesetter) widest(t Text, f face, size float64) (widest, natural float64) {
	for _, w := range r.words(t, f, size) {
		widest = max(widest, w.wide)
		natural += w.wide
		if w.space {
			natural += r.width(f, size, " ")
		}
	}
	return widest, natural
}
