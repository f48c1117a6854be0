package picture

import (
	"fmt"
	"io"
	"strconv"
	"strings"
)

// WriteSVG writes the scene as an SVG element for a page whose style sheet
// knows the classes. It carries no style attribute and no script, so that it
// passes a strict content security policy.
func (s *Scene) WriteSVG(w io.Writer) error {
	var b strings.Builder
	b.Grow(4096)
	id := xmlID(s.ID)
	size := fmt.Sprintf(`class="pic" width="100%%" height="%s"`, px(s.HeightPx))
	if s.Fixed {
		size = fmt.Sprintf(`class="pic fixed" viewBox="0 0 %s %s"`, px(s.Span), px(s.HeightPx))
	}
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" id="%s" role="img" aria-labelledby="%s-t %s-d" %s>`, id, id,
		id, size)
	fmt.Fprintf(&b, `<title id="%s-t">%s</title><desc id="%s-d">%s</desc>`, id, escape(s.Title), id, escape(s.Desc))
	s.textures(&b, id)
	for i := 0; i < len(s.Items); {
		it := s.Items[i]
		if it.Kind != Area && it.Kind != Line {
			s.fixed(&b, id, it)
			i++
			continue
		}
		if s.Fixed {
			s.stretched(&b, id, it)
			i++
			continue
		}
		top, bottom := s.panel(it)
		fmt.Fprintf(&b, `<svg class="st" x="0" y="%s" width="100%%" height="%s" viewBox="0 %s %s %s" preserveAspectRatio="none">`,
			px(top), px(bottom-top), px(top), px(s.Span), px(bottom-top))
		for ; i < len(s.Items); i++ {
			next := s.Items[i]
			t, bo := s.panel(next)
			if next.Kind != Area && next.Kind != Line || t != top || bo != bottom {
				break
			}
			s.stretched(&b, id, next)
		}
		b.WriteString(`</svg>`)
	}
	b.WriteString(`</svg>`)
	_, err := io.WriteString(w, b.String())
	if err != nil {
		return fmt.Errorf("writing the picture %s: %w", s.ID, err)
	}
	return nil
}

func (s *Scene) panel(it Item) (top, bottom float64) {
	if it.Top == 0 && it.Bottom == 0 {
		return 0, s.HeightPx
	}
	return it.Top, it.Bottom
}

// patterns are the textures' fillings, by the letter that ends their id.
var patterns = [...]struct{ letter, size, turned, shapes string }{
	Hatch: {"h", "5", ` patternTransform="rotate(45)"`,
		`<rect class="t-gap" width="5" height="5"/><path class="t-hatch" d="M0 0V5"/>`},
	Stripe: {"f", "4", "", `<rect class="t-ice" width="4" height="4"/><rect class="t-stripe" width="4" height="2"/>`},
	Dots:   {"n", "4", "", `<rect class="t-dot" width="1" height="1"/>`},
}

// textures defines the fillings that the scene uses.
func (s *Scene) textures(b *strings.Builder, id string) {
	var used [len(patterns)]bool
	for _, it := range s.Items {
		used[it.Texture] = true
	}
	defs := ""
	for t, p := range patterns {
		if used[t] && p.letter != "" {
			defs += fmt.Sprintf(`<pattern id="%s-%s" width="%s" height="%s" patternUnits="userSpaceOnUse"%s>%s</pattern>`,
				id, p.letter, p.size, p.size, p.turned, p.shapes)
		}
	}
	if defs != "" {
		b.WriteString("<defs>" + defs + "</defs>")
	}
}

func fill(id string, t Texture) string {
	if letter := patterns[t].letter; letter != "" {
		return ` fill="url(#` + id + "-" + letter + `)"`
	}
	return ""
}

func (s *Scene) stretched(b *strings.Builder, id string, it Item) {
	fmt.Fprintf(b, `<path class="%s"%s`, escape(it.Class), fill(id, it.Texture))
	if it.Kind == Line {
		b.WriteString(` fill="none" vector-effect="non-scaling-stroke"`)
	}
	b.WriteString(` d="`)
	for _, c := range it.Courses {
		course(b, c, it.Kind == Area)
	}
	b.WriteString(`"/>`)
}

// course writes one outline; boxes, of which a winter sheet has thousands, in
// the short form.
func course(b *strings.Builder, c []Point, closed bool) {
	if len(c) == 0 {
		return
	}
	b.WriteString("M" + px(c[0].X) + " " + px(c[0].Y))
	prev := c[0]
	for _, p := range c[1:] {
		switch {
		case p.Y == prev.Y:
			b.WriteString("H" + px(p.X))
		case p.X == prev.X:
			b.WriteString("V" + px(p.Y))
		default:
			b.WriteString("L" + px(p.X) + " " + px(p.Y))
		}
		prev = p
	}
	if closed {
		b.WriteString("Z")
	}
}

func (s *Scene) fixed(b *strings.Builder, id string, it Item) {
	share := func(x float64) string {
		if s.Fixed {
			return px(x)
		}
		if s.Span == 0 {
			return "0%"
		}
		return num(x/s.Span*100, 3) + "%"
	}
	switch it.Kind {
	case Box:
		fmt.Fprintf(b, `<rect class="%s"%s x="%s" y="%s" width="%s" height="%s"/>`, escape(it.Class), fill(id, it.Texture),
			share(it.X), px(it.Y), share(it.X2-it.X), px(it.Y2-it.Y))
	case Rule:
		fmt.Fprintf(b, `<line class="%s" x1="%s" x2="%s" y1="%s" y2="%s"/>`, escape(it.Class), share(it.X), share(it.X),
			px(it.Y), px(it.Y2))
	case Level:
		fmt.Fprintf(b, `<line class="%s" x1="%s" x2="%s" y1="%s" y2="%s"/>`, escape(it.Class), share(it.X), share(it.X2),
			px(it.Y), px(it.Y))
	case Label:
		anchor := [...]string{Start: "", Middle: ` text-anchor="middle"`, End: ` text-anchor="end"`}[it.Anchor]
		dx := ""
		if it.DX != 0 {
			dx = ` dx="` + px(it.DX) + `"`
		}
		fmt.Fprintf(b, `<text class="%s" x="%s" y="%s"%s%s>%s</text>`, escape(it.Class), share(it.X), px(it.Y), dx, anchor,
			escape(it.Text))
	}
}

func px(x float64) string { return num(x, 2) }

func num(x float64, decimals int) string {
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" || s == "" {
		return "0"
	}
	return s
}

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;", "'", "&#39;")

func escape(s string) string {
	return escaper.Replace(strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' && r != '\t' || r == 0xFFFE || r == 0xFFFF {
			return ' ' // not allowed in XML
		}
		return r
	}, s))
}

func xmlID(s string) string {
	return "p-" + strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' {
			return r
		}
		return '-'
	}, s)
}
