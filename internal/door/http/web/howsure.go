package web

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"

	"dewcase/internal/door/drawing"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// sureBody is the page of how sure the hours are.
type sureBody struct {
	Surfaces []sureSurface
	Settle   []assessment.Settle
	Cautions []caution.Caution
}

type sureSurface struct {
	assessment.Surface
	Words, Sentence string
	Model           []words.ModelHours // by the fitted roof
	Doubts          []sureDoubts
	Bar             *sureBar // nil where there is no interval
}

// sureDoubts are whose errors the interval of one span comes from.
type sureDoubts struct {
	When string
	Of   []assessment.HowSure
}

func (s *sureSurface) doubts(when string, of []assessment.HowSure, shown bool) {
	of = slices.DeleteFunc(slices.Clone(of), func(x assessment.HowSure) bool { return x.Part <= 0 })
	if shown && len(of) > 0 {
		s.Doubts = append(s.Doubts, sureDoubts{when, of})
	}
}

func (p *Pages) howSure(w http.ResponseWriter, r *http.Request) {
	h, a, ok := p.asked(w, r, "sure")
	if !ok {
		return
	}
	b := sureBody{Settle: a.Settling(assessment.OfHours),
		Cautions: caution.For(a.SettleActivities(assessment.OfHours)...)}
	for i, s := range a.Surfaces {
		pos, _ := h.Case.Position(s.Surface)
		row := sureSurface{Surface: s, Words: words.Surface(h.Case, pos)}
		row.Sentence, row.Bar = sureSentence(s, row.Words, a.Hours(i).Hours()), barOf(s)
		row.Model = a.ModelHours(h.Case, i)
		row.doubts("", s.HowSure, len(s.Spans) == 0)
		for k, x := range s.Spans {
			row.doubts([]string{", before the repair", ", since the repair"}[k], x.HowSure, true)
		}
		b.Surfaces = append(b.Surfaces, row)
	}
	turn := drawing.Turn(h.Case, a)
	slices.SortStableFunc(b.Surfaces, func(x, y sureSurface) int {
		return turn(x.Surface.Surface) - turn(y.Surface.Surface)
	})
	p.render(w, r, http.StatusOK, "sure", page{Title: "How sure, " + h.Label, Case: h, Tab: "sure", Body: b})
}

// sureBar is the interval of the wet hours as shares of the hours observed, per
// cent.
type sureBar struct{ Low, Wide, Best, Words string }

func barOf(s assessment.Surface) *sureBar {
	if len(s.Spans) > 0 || s.HoursCondensing == nil || s.HoursCondensingLow == nil || s.HoursCondensingHigh == nil ||
		s.HoursObserved <= 0 {
		return nil
	}
	share := func(h float64) string { return fmt.Sprintf("%.2f%%", min(h/s.HoursObserved, 1)*100) }
	return &sureBar{Low: share(*s.HoursCondensingLow), Wide: share(*s.HoursCondensingHigh - *s.HoursCondensingLow),
		Best: share(*s.HoursCondensing),
		Words: fmt.Sprintf("%s h expected, %s to %s h the 95 %% interval, of %s h observed", words.Hours(*s.HoursCondensing),
			words.Hours(*s.HoursCondensingLow), words.Hours(*s.HoursCondensingHigh), words.Hours(s.HoursObserved))}
}

func sureSentence(s assessment.Surface, where string, spans []words.Text) string {
	switch {
	case s.HoursCondensing == nil:
		return "Wet hours " + where + " could not be counted."
	case s.HoursCondensingLow == nil || s.HoursCondensingHigh == nil:
		return fmt.Sprintf("%s wet hours %s; how sure cannot be said, because a logger’s accuracy is not in the case file.",
			words.Hours(*s.HoursCondensing), where)
	}
	if *s.HoursCondensingHigh < 0.05 {
		return "No wet hours " + where + ", and no error within the loggers’ accuracy would make any."
	}
	out := fmt.Sprintf("%s wet hours %s, and with the loggers’ accuracy anything from %s to %s (95 %%).",
		words.Hours(*s.HoursCondensing), where, words.Hours(*s.HoursCondensingLow), words.Hours(*s.HoursCondensingHigh))
	if len(spans) == 2 { // never added up
		out = words.Upper(where) + ": " + spans[0].String() + " " + spans[1].String()
	}
	when, doubts := "The", s.HowSure
	if n := len(s.Spans); n > 0 {
		when, doubts = "Since the repair, the", s.Spans[n-1].HowSure
	}
	if len(doubts) > 0 {
		x := slices.MaxFunc(doubts, func(x, y assessment.HowSure) int { return cmp.Compare(x.Part, y.Part) })
		out += fmt.Sprintf(" %s largest part of the doubt, %s %%, is the %s of %s.", when, words.Percent(x.Part),
			words.Quantity(x.Quantity), x.Logger)
	}
	return out
}
