package cause

import (
	"cmp"
	"math"
	"slices"
	"time"

	"dewcase/internal/roof"
)

// seenAs is one thing that a look may find, and how often it is so: the share at
// which what is not known is worth nothing to any state.
type seenAs struct {
	share float64
	enter func(c *roof.Case, start time.Time)
}

// looks are what a look may find. The shares follow from the survey's log-priors,
// in which an unknown item counts 0 (an unknown handover nearly as an old one).
var looks = []struct {
	look    Look
	unknown func(a *assessment) bool
	found   []seenAs
}{
	{LookOpenings, func(a *assessment) bool { return !a.survey.openingsKnown }, []seenAs{
		{0.65, openEaves(25)}, {0.35, openEaves(0)}}},
	{LookUnderlay, func(a *assessment) bool { return a.c.Roof.Underlay.Class == "" }, []seenAs{
		{0.45, func(c *roof.Case, _ time.Time) { c.Roof.Underlay.Class = "HR" }},
		{0.55, func(c *roof.Case, _ time.Time) { c.Roof.Underlay.Class = "LR" }}}},
	{LookCovering, func(a *assessment) bool { return a.c.Roof.Covering.Air == "" }, []seenAs{
		{0.45, func(c *roof.Case, _ time.Time) { c.Roof.Covering.Air = "open" }},
		{0.55, func(c *roof.Case, _ time.Time) { c.Roof.Covering.Air = "closed" }}}},
	{LookHandover, func(a *assessment) bool { return a.c.Property.Completed == nil }, []seenAs{
		{0.02, handedOver(6)}, {0.98, handedOver(240)}}},
}

func openEaves(mm float64) func(*roof.Case, time.Time) {
	return func(c *roof.Case, _ time.Time) {
		pitch := 30.0
		if c.Roof.PitchDeg == nil {
			c.Roof.PitchDeg = &pitch
		}
		c.Roof.Openings.LoftEavesMM = &mm
	}
}

func handedOver(monthsAgo int) func(*roof.Case, time.Time) {
	return func(c *roof.Case, start time.Time) {
		t := start.AddDate(0, -monthsAgo, 0)
		c.Property.Completed = &t
	}
}

// afterLook are the chances that a true or another cause is named once something
// is seen: every finding as likely as its share and the states as they stand make
// it.
func (a *assessment) afterLook(m *model, found []seenAs) (right, wrong float64) {
	sum := 0.0
	for _, f := range found {
		b, c := *a, *a.c
		f.enter(&c, time.UnixMilli(a.g.startMS))
		b.c = &c
		b.weigh(m)
		w := 0.0
		for st := range states {
			w += f.share * a.plain[st] * math.Exp(b.survey.prior[st]-a.survey.prior[st])
		}
		sum += w
		if named := b.name(); named != Undetermined {
			right, wrong = right+w*b.membership[named], wrong+w*(1-b.membership[named])
		}
	}
	return right / sum, wrong / sum
}

// settle lists what would bring the name of the cause nearest, most gain first:
// each missing logger, all that the leading cause lacks together, and each look.
// A finding that is firm needs none, and of a roof that was worked on since nothing
// can be logged or seen as it was.
func (a *assessment) settle(f *Finding, m *model) {
	if f.Firm || !f.Window.Repair.IsZero() || a.g.days() < shortestDays || len(f.Window.Places) == 0 {
		return
	}
	now := 0.0
	if f.Finding != Undetermined {
		now = a.membership[f.Finding]
	}
	take := func(s Settler) bool {
		if s.Now = now; s.Then-s.Now >= worthFit {
			f.Settle = append(f.Settle, s)
			return true
		}
		return false
	}
	single := 0.0
	for _, place := range f.Window.Missing {
		if s := a.fitted(m, place); take(s) {
			single = max(single, s.Then)
		}
	}
	if lacks := a.lacks(f.Leading); len(lacks) > 1 {
		if s := a.fitted(m, lacks...); s.Then-single >= worthFit {
			take(s)
		}
	}
	for _, l := range looks {
		if l.unknown(a) {
			right, wrong := a.afterLook(m, l.found)
			take(Settler{Look: l.look, Then: right, Wrong: wrong})
		}
	}
	slices.SortStableFunc(f.Settle, func(x, y Settler) int { return cmp.Compare(y.Then, x.Then) })
}

func (a *assessment) fitted(m *model, at ...roof.Place) Settler {
	s := Settler{Places: at}
	s.Then, s.Wrong = a.chances(m, at)
	return s
}

// Kits are sets of loggers for a house that has none, from what the survey says:
// the chance that the cause is named rightly after 90 days of a winter, the
// smallest set first. The chances are the method's own expectation.
func Kits(c *roof.Case) []Settler {
	a := unread(c)
	basic := []roof.Place{roof.OutdoorAir, roof.LoftAir, roof.IndoorAir}
	void := []roof.Place{roof.OutdoorAir, roof.LoftAir, roof.BattenVoidAir, roof.CoveringUnderside}
	full := []roof.Place{roof.OutdoorAir, roof.IndoorAir, roof.LoftAir, roof.BattenVoidAir, roof.CoveringUnderside}
	return []Settler{a.fitted(&ours, basic...), a.fitted(&ours, void...), a.fitted(&ours, full...),
		a.fitted(&ours, wanted...)}
}

// Beside is the same of the loggers at some places, and of a further one beside
// them: each that raises the chance, most gain first, and all that are missing where
// no single one does. Now is the chance without it.
func Beside(c *roof.Case, at []roof.Place) (now Settler, further []Settler) {
	a := unread(c)
	now = a.fitted(&ours, at...)
	var missing []roof.Place
	for _, p := range wanted {
		if !slices.Contains(at, p) {
			missing = append(missing, p)
		}
	}
	try := func(places ...roof.Place) bool {
		s := a.fitted(&ours, slices.Concat(at, places)...)
		s.Places, s.Now = places, now.Then
		if s.Then-s.Now < worthFit {
			return false
		}
		further = append(further, s)
		return true
	}
	for _, p := range missing {
		try(p)
	}
	slices.SortStableFunc(further, func(x, y Settler) int { return cmp.Compare(y.Then, x.Then) })
	if len(missing) > 1 {
		try(missing...)
	}
	return now, further
}

// unread is the assessment of a house without readings, after 90 days of a winter.
func unread(c *roof.Case) *assessment {
	a := &assessment{c: c, g: grid{n: kitDays * 24}, cold: kitDays / 2}
	for f := range features {
		a.f.value[f], a.f.se[f] = missing, missing
	}
	a.f.outC = missing
	a.weigh(&ours)
	return a
}
