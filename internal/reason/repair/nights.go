package repair

import "dewcase/internal/roof"

// countNights counts the nights on either side of a repair that was not judged,
// by the rule of one that was: whoever waits for a verdict wants to know how far
// the record has come, and a night observed is never none.
func (a *assessor) countNights(r *Result, i int, surface roof.Position) {
	if a.set.FromMS == a.set.UntilMS {
		return
	}
	e := a.repairs[i]
	fromMS, untilMS, _ := a.window(i, surface)
	s, err := newSite(a.set, e, surface.ID, fromMS, untilMS, a.cache)
	if err != nil {
		return // Needs says what is missing
	}
	tm := defaultTerms(r.Credit.modelled())
	doubt := int(e.Uncertain.Milliseconds() / stepMS)
	// The repair may lie outside the record, so its half hour is counted and
	// not looked up.
	repair := int((e.At.UnixMilli() - s.fromMS) / stepMS)
	t := &trial{s: s, terms: tm, end: s.n, repair: repair, lastBefore: repair - doubt, firstAfter: repair + doubt +
		tm.lockNights*48}
	t.pickNights()
	r.NightsBefore, r.NightsAfter = len(t.validB), len(t.validA)
}
