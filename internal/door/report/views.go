package report

import (
	"fmt"
	"net/url"
	"strings"

	"dewcase/internal/door/drawing"
	"dewcase/internal/roof"
)

// views are the charts that the case file keeps under names, drawn as they were
// kept: with their stretch, quantities, axes and marks.
func (b *builder) views(p *part) {
	if b.Curves == nil || !b.recorded() || len(b.Case.Views) == 0 {
		return
	}
	p.lead("Charts that were kept for this report.")
	for i, kept := range b.Case.Views {
		q, err := url.ParseQuery(kept.Query)
		from, err1 := roof.ParseTime(q.Get("from"))
		until, err2 := roof.ParseTime(q.Get("to"))
		v := drawing.ReadCurvesView(b.Case, q)
		if err != nil || err1 != nil || err2 != nil || !until.After(from) || len(v.Keys) == 0 {
			p.warn("The kept view %s cannot be drawn: its stretch or its quantities are not in the case any more.", kept.Name)
			continue
		}
		data, err := b.Curves(v.Keys, from, until, drawing.CurveStep(b.Case, until.Sub(from)),
			drawing.Changes(b.Answer.Repairs)...)
		if err != nil {
			p.warn("The kept view %s cannot be drawn: %s.", kept.Name, err.Error())
			continue
		}
		c := v.Chart(b.Case, data, from, until)
		var names []string
		for at := range c.Panels {
			for k := range c.Panels[at].Curves {
				curve := &c.Panels[at].Curves[k]
				curve.Tag = fmt.Sprint(len(names) + 1)
				names = append(names, curve.Tag+" "+curve.Name+", "+c.Panels[at].Unit)
			}
		}
		c.ID = "report-view-" + string(rune('a'+i%26))
		p.figure("view-"+string(rune('a'+i%26)), c.Scene(), GapLegend,
			say("%s: %s. %s to %s, times in %s; lines are means of "+
				"each step, the band their least and greatest.", kept.Name, strings.Join(names, "; "),
				local(from, b.zone, timeLayout), local(until, b.zone, timeLayout), b.zone.String()))
	}
}
