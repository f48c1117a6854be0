package report

// The measures of a table, in points.
const (
	cellGap   = 9.0 // between columns
	cellPad   = 2.2 // above and below
	minColumn = 34.0
)

// gap stands after a column: more where a figure meets words.
func (t *Table) gap(i int) float64 {
	if t.IsNumeric(i) && !t.IsNumeric(i+1) {
		return cellGap + 7
	}
	return cellGap
}

// columns are the widths of a table's columns: as wide as their cells where all
// fits, else shared out, none narrower than its widest word as far as that can
// be had.
func (s *sheetOfPaper) columns(t *Table) []float64 {
	n := len(t.Head)
	least, want := make([]float64, n), make([]float64, n)
	see := func(i int, c Text, f face) {
		w, natural := s.typesetter.widest(c, f, smallSize)
		if t.IsNumeric(i) {
			w = natural // a figure stays on one line
		}
		least[i], want[i] = max(least[i], min(w, 130)), max(want[i], natural)
	}
	for i, h := range t.Head {
		w, natural := s.typesetter.widest(Text{{Words: h}}, boldFace, smallSize)
		least[i], want[i] = max(w, minColumn), min(natural, 80)
	}
	for _, r := range t.Rows {
		if r.Group {
			continue
		}
		for i, c := range r.Cells {
			if i < n {
				see(i, c, regular)
			}
		}
	}
	room := s.inner()
	for i := range n - 1 {
		room -= t.gap(i)
	}
	sum := func(xs []float64) (out float64) {
		for _, x := range xs {
			out += x
		}
		return out
	}
	for i := range want {
		want[i] = max(want[i], least[i]) + 0.5
	}
	if sum(want) <= room {
		return want
	}
	if l := sum(least); l > room {
		for i := range least {
			least[i] *= room / l
		}
		return least
	}
	// What is left goes to the columns that want more, in proportion to the root
	// of it, so that one long column does not starve the others.
	// Names of rows are read first: they get what they want up to a quarter.
	out := append([]float64{}, least...)
	if name := min(want[0], room/4); name > out[0] && sum(out)+name-out[0] <= room {
		out[0] = name
	}
	for range 8 {
		left := room - sum(out)
		weight := 0.0
		for i := range out {
			weight += max(want[i]-out[i], 0)
		}
		if left < 0.5 || weight <= 0 {
			break
		}
		for i := range out {
			out[i] = min(want[i], out[i]+left*max(want[i]-out[i], 0)/weight)
		}
	}
	return out
}

// setRow is a row's cells as lines.
func (s *sheetOfPaper) setRow(t *Table, cells []Text, cols []float64, f face) (lines [][]line, most int) {
	lines = make([][]line, len(cols))
	for i := range cols {
		if i < len(cells) {
			lines[i] = s.typesetter.set(cells[i], f, smallSize, cols[i])
			most = max(most, len(lines[i]))
		}
	}
	return lines, most
}

// put writes lines from..until of a row at the present height.
func (s *sheetOfPaper) put(t *Table, lines [][]line, cols []float64, from, until int) {
	step := smallSize * 1.28
	s.y += cellPad
	x := marginSide
	for i, w := range cols {
		for k := from; k < min(until, len(lines[i])); k++ {
			l := lines[i][k]
			at := x
			if t.IsNumeric(i) {
				at = x + w - l.wide
			}
			s.pieces(at, s.y+float64(k-from)*step+smallSize, smallSize, l)
		}
		x += w + t.gap(i)
	}
	s.y += float64(until-from)*step + cellPad
}

func (s *sheetOfPaper) rule(width float64, grey int, thick float64) {
	s.SetDrawColor(grey, grey, grey)
	s.SetLineWidth(thick)
	s.Line(marginSide, s.y, marginSide+width, s.y)
}

// together is how much of a table must not be parted from its head: a short one
// whole, of a longer one the first rows.
func (s *sheetOfPaper) together(t *Table, cols []float64) float64 {
	step := smallSize * 1.28
	tall := 0.0
	for i, r := range t.Rows {
		if r.Group {
			tall += step + 2*cellPad + 3
			continue
		}
		_, most := s.setRow(t, r.Cells, cols, regular)
		tall += float64(most)*step + 2*cellPad
		if most := s.bottom() - marginTop; tall > most*0.3 {
			if i < 3 {
				return min(tall, most*0.3)
			}
			return 3 * (step + 2*cellPad)
		}
	}
	return tall
}

// table sets a table; its head is said again on every page.
func (s *sheetOfPaper) table(t *Table) {
	cols := s.columns(t)
	wide := 0.0
	for i, w := range cols {
		if i > 0 {
			wide += t.gap(i - 1)
		}
		wide += w
	}
	heads := make([]Text, len(t.Head))
	for i, h := range t.Head {
		heads[i] = Text{{Words: h}}
	}
	headLines, headTall := s.setRow(t, heads, cols, boldFace)
	step := smallSize * 1.28
	headHigh := float64(headTall)*step + 2*cellPad
	s.y += 3
	caption := s.typesetter.set(say("%s", bold(t.Caption)), boldFace, smallSize+0.3, s.inner())
	if t.Caption == "" {
		caption = nil
	}
	s.room(float64(len(caption))*(smallSize*leading) + headHigh + s.together(t, cols))
	for _, l := range caption {
		s.pieces(marginSide, s.y+smallSize, smallSize+0.3, l)
		s.y += smallSize * leading
	}
	head := func() {
		s.put(t, headLines, cols, 0, headTall)
		s.rule(wide, 0, 0.7)
	}
	head()
	turn := func() {
		s.turn()
		head()
	}
	for k, r := range t.Rows {
		if r.Group {
			lines := s.typesetter.set(r.Cells[0], boldFace, smallSize, s.inner())
			need := float64(len(lines))*step + 2*cellPad + 3
			if k+1 < len(t.Rows) { // not alone at the foot of a page
				_, next := s.setRow(t, t.Rows[k+1].Cells, cols, regular)
				need += float64(min(next, 6))*step + 2*cellPad
			}
			if s.y+need > s.bottom() {
				turn()
			}
			s.y += 3
			for _, l := range lines {
				s.pieces(marginSide, s.y+cellPad+smallSize, smallSize, l)
				s.y += step
			}
			s.y += 2 * cellPad
			s.rule(wide, 120, 0.4)
			continue
		}
		lines, most := s.setRow(t, r.Cells, cols, regular)
		full := (s.bottom() - marginTop - headHigh) / step
		for from := 0; from < most || from == 0; {
			fit := int((s.bottom() - s.y - 2*cellPad) / step)
			if from == 0 && fit < most && float64(most) < full*0.6 || fit < 1 {
				turn() // a row of usual size stays whole
				fit = int((s.bottom() - s.y - 2*cellPad) / step)
			}
			until := min(most, from+max(fit, 1))
			s.put(t, lines, cols, from, until)
			from = until
			if most == 0 {
				break
			}
		}
		s.rule(wide, 190, 0.3)
	}
	s.y += 8
}
