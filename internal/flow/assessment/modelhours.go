package assessment

import (
	"fmt"

	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// takeModelHours puts the wet hours by the fitted roof beside the counted ones, of
// every surface that has any.
func (a *Assessment) takeModelHours(set *series.Set, results []repair.Result) {
	for i := range a.Surfaces {
		s := &a.Surfaces[i]
		pos, _ := set.Case.Position(s.Surface)
		if s.HoursObserved == 0 {
			continue
		}
		m := repair.Hours(set, pos, results)
		if m.Hours == nil {
			s.Notes = append(s.Notes, m.Why)
			continue
		}
		s.HoursModel, s.HoursModelLow, s.HoursModelHigh = fitted(m.Hours, s.HoursObserved)
		if len(s.Spans) == 2 && m.Before != nil {
			b, n := &s.Spans[0], &s.Spans[1]
			b.HoursModel, b.HoursModelLow, b.HoursModelHigh = fitted(m.Before, b.HoursObserved)
			n.HoursModel, n.HoursModelLow, n.HoursModelHigh = fitted(m.Since, n.HoursObserved)
		}
	}
}

// fitted scales modelled hours from the half hours that were observed to the time
// that was.
func fitted(m *repair.ModelHours, observedH float64) (best, low, high *float64) {
	f := observedH / m.ObservedH
	return rounded(m.WetH * f), rounded(m.LowH * f), rounded(min(m.HighH*f, observedH))
}

// ModelHours is what is said of the wet hours by the fitted roof at a surface: of
// the whole record, or before the latest repair and since.
func (a Assessment) ModelHours(c *roof.Case, i int) []words.ModelHours {
	s := a.Surfaces[i]
	where, path := words.SurfaceOf(c, s.Surface), fmt.Sprintf("surfaces.%d.", i)
	said := func(at, when string, best, low, high, countedLow, countedHigh *float64,
		how []HowSure) words.ModelHours {
		m := words.ModelHours{At: at, Where: where, When: when, WetH: *best, LowH: *low, HighH: *high,
			CountedLowH: countedLow, CountedHighH: countedHigh}
		if len(how) > 0 {
			m.Logger, m.Quantity, m.CheckBy = how[0].Logger, words.Quantity(how[0].Quantity), checkWords[how[0].Quantity]
		}
		return m
	}
	if len(s.Spans) == 0 {
		if s.HoursModel == nil {
			return nil
		}
		return []words.ModelHours{said(path, "", s.HoursModel, s.HoursModelLow, s.HoursModelHigh,
			s.HoursCondensingLow, s.HoursCondensingHigh, s.HowSure)}
	}
	var out []words.ModelHours
	for k, x := range s.Spans {
		if x.HoursModel != nil {
			out = append(out, said(fmt.Sprintf("%sspans.%d.", path, k), []string{words.BeforeIt, words.SinceIt}[k],
				x.HoursModel, x.HoursModelLow, x.HoursModelHigh, x.HoursCondensingLow, x.HoursCondensingHigh, x.HowSure))
		}
	}
	return out
}
