package report

import (
	"fmt"
	"slices"

	"dewcase/internal/words"
)

// exchanges is what the work changed of the exchange of air: told before whether
// it helped, and never instead of it. What was told of another surface in the same
// words is not told again.
func (b *builder) exchanges(p *part, i int, told []string) []string {
	said := b.Answer.Exchanges(i)
	if len(said) == 0 {
		return told
	}
	all := ""
	for _, x := range said {
		all += fmt.Sprintf("%s %s %s\n", x.Sentence(), x.FactorText(), x.IntervalText())
	}
	if slices.Contains(told, all) {
		p.para("What the work changed of the exchange of air is told above; it is the same here.")
		return told
	}
	t := &Table{Caption: "What the work changed: exchange or flow, after over before; it says nothing of wet hours",
		Head:    []string{"What", "Verdict", "Times", "95 %", "Sure since night", "Credited to the work"},
		Numeric: []bool{false, false, true, true, true, false}}
	for _, x := range said {
		p.para("%s %s", bold(words.Upper(x.Figure())+":"), x.Sentence())
		since, kind := "–", x.Kind.String()
		if x.Since > 0 {
			since = fmt.Sprint(x.Since)
		}
		if x.Noticed {
			kind = "noticed, not caused"
		}
		t.Rows = append(t.Rows, Row{Cells: []Text{say("%s", words.Upper(x.Figure())), say("%s", kind), x.FactorText(),
			x.IntervalText(), say("%s", since), say("%s", yes(x.Credited))}})
	}
	p.table(t)
	return append(told, all)
}
