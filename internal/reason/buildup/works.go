package buildup

import (
	"fmt"
	"strings"
	"time"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// works says of each work what it changed of the survey, which is from before
// it, or that nobody has said.
func (k *check) works(c *roof.Case, at time.Time) {
	for _, e := range c.Works(at) {
		f := Finding{ID: "work", Element: "work", Verdict: Remark, Source: "case file",
			What: "Work of " + e.At.In(c.Property.Zone).Format("2 January 2006") + ": " + strings.TrimRight(e.What, ".") + "."}
		var since, open []string
		for _, s := range []struct {
			where string
			mm    *float64
		}{{"loft at the eaves", e.Opened.LoftEavesMM}, {"loft at the ridge", e.Opened.LoftRidgeMM},
			{"void at the eaves", e.Opened.VoidEavesMM}, {"void at the ridge", e.Opened.VoidRidgeMM}} {
			if s.mm != nil {
				since = append(since, fmt.Sprintf("%s open %s mm", s.where, words.Size(*s.mm)))
			}
		}
		if e.Battens != "" {
			since = append(since, strings.Replace(e.Battens+" battens", "counter ", "counter-", 1))
		}
		switch e.Sealed {
		case roof.Yes:
			since = append(since, "ceiling sealed")
		case roof.No:
			since = append(since, "ceiling not sealed")
		}
		for _, ch := range c.Alters(e) {
			if unsaid(e, ch) {
				open = append(open, strings.ReplaceAll(string(ch), "_", " "))
			}
		}
		f.Why = "The survey is from before it."
		if len(since) > 0 {
			f.Why = "Since then: " + strings.Join(since, ", ") + "."
		}
		if len(open) > 0 {
			how := "It may have changed "
			if len(e.Changes) > 0 {
				how = "It declares a change of "
			}
			f.Verdict = Ask
			f.Why += " " + how + strings.Join(open, ", ") + " and does not say what is there now."
			f.Cure = "Look, and write it into the case file at that event (keys opened_mm, battens, sealed)."
		}
		k.add(f)
	}
}

// unsaid reports a change of the roof that an event gives no figure for.
func unsaid(e roof.Event, ch roof.Change) bool {
	switch ch {
	case roof.LoftVentilation:
		return e.Opened.LoftEavesMM == nil && e.Opened.LoftRidgeMM == nil
	case roof.VoidVentilation:
		return e.Opened.VoidEavesMM == nil && e.Opened.VoidRidgeMM == nil && e.Battens == ""
	case roof.CeilingChange:
		return e.Sealed == roof.Unknown
	}
	return ch == roof.UnderlayChange
}
