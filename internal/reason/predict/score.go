package predict

import (
	"math"
	"slices"
	"time"

	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Done is the candidate that a repair carried out, empty where it was none of
// them, or several at once that were not tried together; why says so then.
func Done(c *roof.Case, e roof.Event) (w Work, why words.NoScoreKind) {
	alters := slices.Clone(c.Alters(e))
	slices.Sort(alters)
	alters = slices.Compact(alters)
	switch {
	case slices.Equal(alters, []roof.Change{roof.VoidVentilation}):
		return VoidVented, words.Scored
	case len(e.Changes) == 0:
		return "", words.NotDeclared
	case slices.Equal(alters, []roof.Change{roof.LoftVentilation}):
		return LoftVented, words.Scored
	case slices.Equal(alters, []roof.Change{roof.CeilingChange}):
		return CeilingSealed, words.Scored
	case slices.Equal(alters, []roof.Change{roof.CeilingChange, roof.LoftVentilation}):
		return VentsAndCeiling, words.Scored
	}
	return "", words.NotACandidate
}

// Opened is the plan with what the repair is said to have opened.
func (p Plan) Opened(o roof.Openings) Plan {
	for _, x := range []struct {
		to   *float64
		from *float64
	}{{&p.VoidEavesMM, o.VoidEavesMM}, {&p.VoidRidgeMM, o.VoidRidgeMM}, {&p.LoftEavesMM, o.LoftEavesMM},
		{&p.LoftRidgeMM, o.LoftRidgeMM}} {
		if x.from != nil {
			*x.to = *x.from
		}
	}
	return p
}

// BeforeWork is the record that the last evening before a repair had: since the
// work before it that is not known to have changed nothing.
func BeforeWork(set *series.Set, e roof.Event, unchanged func(roof.Event) bool) Era {
	at := e.At.Add(-e.Uncertain).UnixMilli()
	till := *set
	till.UntilMS = min(set.UntilMS, max(at, set.FromMS))
	if x, ok := Since(&till, func(o roof.Event) bool { return !o.At.Before(e.At) || unchanged(o) }); ok {
		return x
	}
	return eraOf(set.Case, set.FromMS, till.UntilMS)
}

// Score is a prediction run on through the nights after the work: the very
// parameters, draws and strengths of the last evening before it, in the air and
// the temperatures that were then measured.
type Score struct {
	Work    Work
	Surface string
	Plan    Plan
	Nights  int // after the work, that count
	AtRisk  Range
	Wet     *Range // nil where it is not predicted
}

// Score runs a surface's prediction on through the nights after a repair; why is
// what is in the way.
func (h *House) Score(set *series.Set, e roof.Event, surface string, p Plan) (s Score, why words.NoScoreKind) {
	w, why := Done(h.Case, e)
	if why != words.Scored {
		return s, why
	}
	k := slices.IndexFunc(h.Surfaces, func(f *Fitted) bool { return f.Position.ID == surface })
	if k < 0 {
		return s, words.NotPredicted
	}
	f := h.Surfaces[k]
	if f.Refused.Kind != words.Predicted || f.without(w).Kind != words.Predicted {
		return s, words.NotPredicted
	}
	p = p.Opened(e.Opened)
	until := min(set.UntilMS, e.At.Add(mostNights*24*time.Hour).UnixMilli())
	for _, o := range h.Case.Repairs() { // the next work ends what this one did
		if at := o.At.Add(-o.Uncertain); at.After(e.At) {
			until = min(until, at.UnixMilli())
		}
	}
	r, ok := f.standing.After(set, e, until, moves())
	if !ok {
		return s, words.NoNightsAfter
	}
	draws := make([]*changes, len(r.Without))
	for i := range draws {
		draws[i] = lay(r.Without[i], r.With[i])
	}
	ranges, _ := f.state(draws, w, h.believe(f, p))
	s = Score{Work: w, Surface: surface, Plan: p, Nights: r.Nights, AtRisk: ranges[atRisk]}
	if w != VoidVented || !f.OnLoft {
		s.Wet = &ranges[wet]
	}
	return s, words.Scored
}

// Hit reports whether a fall in per cent, as a verdict gives it, lies within the
// 80 % interval.
func (r Range) Hit(fallPct float64) bool {
	l := math.Log(math.Max(1-fallPct/100, 1e-6))
	return math.Abs(l-r.Mean) <= reach80*r.Sigma
}
