package repair

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"dewcase/internal/reason/leak"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Options tune the work, not the answer's meaning; the zero value is what the
// program uses.
type Options struct {
	Draws         int  // of the interval; 0 is DefaultDraws
	NoSensitivity bool // leave out the sensitivity list and the drawing
	// Witness is asked about ceiling work; nil asks nobody.
	Witness Witness
}

// DefaultDraws is how many draws an interval rests on.
const DefaultDraws = 240

// Assess answers for every repair of the case and every surface that it treats,
// in the order of the repairs and then of the case file. It never fails: what
// cannot be judged is too_early, and Needs says what would settle it.
func Assess(set *series.Set, opts Options) []Result {
	if set == nil || set.Case == nil {
		return nil
	}
	if opts.Draws == 0 {
		opts.Draws = DefaultDraws
	}
	a := &assessor{set: set, opts: opts, cache: newLayCache(), repairs: set.Case.Repairs()}
	slices.SortStableFunc(a.repairs, func(x, y roof.Event) int { return x.At.Compare(y.At) })
	var out []Result
	for i := range a.repairs {
		out = append(out, a.repair(i)...)
	}
	return out
}

// repair answers for one repair: for each surface by itself first, then for those
// that one change of the loft treats together.
func (a *assessor) repair(i int) []Result {
	surfaces, named := treatedSurfaces(a.set.Case, a.repairs[i])
	rows := make([]*row, len(surfaces))
	for k, s := range surfaces {
		rows[k] = a.one(i, s)
	}
	h := a.together(rows)
	mended := a.mended(a.repairs[i])
	out := make([]Result, len(rows))
	for k, w := range rows {
		if w.j != nil {
			a.finish(w, i)
		}
		r := &w.Result
		r.takeLeak(mended)
		if len(a.repairs[i].Treats) > 0 && !named {
			r.Notes = append(r.Notes, "the repair is said to treat "+strings.Join(a.repairs[i].Treats, ", ")+
				", which is neither a surface nor the air that meets one: every surface that is not untouched is judged (key "+
				"treats)")
		}
		if r.NightsBefore+r.NightsAfter == 0 {
			a.countNights(r, i, surfaces[k])
		}
	}
	if h != nil {
		house := h.verdict()
		for _, w := range h.rows {
			w.House = house
		}
	}
	for k, w := range rows {
		out[k] = w.Result
	}
	return out
}

// Judged are the surfaces that a repair answers for.
func Judged(c *roof.Case, e roof.Event) []roof.Position {
	surfaces, _ := treatedSurfaces(c, e)
	return surfaces
}

// Unjudged are the case's repairs that no surface can answer for, so that
// Assess has nothing to say of them.
func Unjudged(c *roof.Case) []roof.Event {
	var out []roof.Event
	for _, e := range c.Repairs() {
		if len(Judged(c, e)) == 0 {
			out = append(out, e)
		}
	}
	return out
}

type assessor struct {
	set     *series.Set
	opts    Options
	cache   *layCache
	repairs []roof.Event
}

// treatedSurfaces are the surfaces a repair answers for: those it names and
// those whose air it names; every one but the untouched when it names none of
// either, and then said is false.
func treatedSurfaces(c *roof.Case, e roof.Event) (surfaces []roof.Position, said bool) {
	var named, all []roof.Position
	for _, p := range c.Surfaces() {
		if treated(e, p.ID) || p.Meets != "" && treated(e, p.Meets) {
			named = append(named, p)
		}
		if !c.IsUntouched(p) {
			all = append(all, p)
		}
	}
	if len(named) > 0 {
		return named, true
	}
	return all, false
}

// credit decides which changes a repair is credited with.
func credit(c *roof.Case, e roof.Event) Credit {
	cr := Credit{Declared: len(e.Changes) > 0}
	for _, ch := range c.Alters(e) {
		switch ch {
		case roof.LoftVentilation:
			cr.LoftVentilation = true
		case roof.CeilingChange:
			cr.Ceiling = true
		case roof.VoidVentilation:
			cr.VoidVentilation = true
		default:
			cr.NotModelled = append(cr.NotModelled, ch)
		}
	}
	cr.Text = creditText(cr)
	return cr
}

func (c Credit) modelled() [3]bool { return [3]bool{c.LoftVentilation, c.Ceiling, c.VoidVentilation} }
func (c Credit) any() bool         { return c.LoftVentilation || c.Ceiling || c.VoidVentilation }

// mended is the answer on a leak, nil where the repair is not said to have stopped
// one.
func (a *assessor) mended(e roof.Event) *leak.Result {
	if !slices.Contains(a.set.Case.Alters(e), roof.WaterEntry) {
		return nil
	}
	r := leak.Judge(a.set, e)
	return &r
}

// takeLeak puts the answer on a leak beside the verdict on the hours. Where the
// repair changed nothing else, it is the verdict.
func (r *Result) takeLeak(l *leak.Result) {
	r.Leak = l
	if r.OfLeak() {
		r.Verdict, r.Reason, r.Needs = Verdict(l.Verdict), l.Reason, l.Needs
	}
}

// OfLeak reports that the verdict is that on a leak, not on hours.
func (r *Result) OfLeak() bool {
	other := func(c roof.Change) bool { return c != roof.WaterEntry }
	return r.Leak != nil && !r.Credit.any() && !slices.ContainsFunc(r.Credit.NotModelled, other)
}

// window is what one repair is judged on, bounded by its neighbours.
func (a *assessor) window(i int, surface roof.Position) (fromMS, untilMS int64, notes []string) {
	e := a.repairs[i]
	const day = int64(24 * 3600 * 1000)
	at := e.At.UnixMilli()
	fromMS, untilMS = max(a.set.FromMS, min(at, a.set.UntilMS)-maxNightsBefore*day),
		min(a.set.UntilMS, max(at, a.set.FromMS)+maxNightsAfter*day)
	for k, o := range a.repairs {
		if k == i || !a.disturbs(o, surface) {
			continue
		}
		doubt := o.Uncertain.Milliseconds()
		switch oa := o.At.UnixMilli(); {
		case oa+day/2 < at:
			if f := oa + doubt + 4*day; f > fromMS {
				fromMS = f
				notes = append(notes, fmt.Sprintf("an earlier repair (%s, %q) also changed this roof: only the nights since "+
					"then count as before", day0(a.set.Case, o.At), o.What))
			}
		case oa-day/2 > at:
			if u := oa - doubt; u < untilMS {
				untilMS = u
				notes = append(notes, fmt.Sprintf("a later repair (%s, %q) changed this roof again: only the nights up to it "+
					"count as after", day0(a.set.Case, o.At), o.What))
			}
		default:
			notes = append(notes, fmt.Sprintf("another repair was done at the same time (%q): their effects cannot be told "+
				"apart", o.What))
		}
	}
	return fromMS, untilMS, notes
}

// disturbs reports whether another repair changes what this surface's answer
// rests on; work on the other slope's void alone does not.
func (a *assessor) disturbs(o roof.Event, surface roof.Position) bool {
	if len(o.Treats) == 0 {
		return true
	}
	for _, id := range o.Treats {
		if id == surface.ID || id == surface.Meets {
			return true
		}
		if p, ok := a.set.Case.Position(id); ok &&
			(p.Place == roof.LoftAir || p.Place == roof.UnderlayUnderside || p.Place == roof.Timber ||
				p.Place == roof.IndoorAir) {
			return true
		}
	}
	for _, ch := range o.Changes {
		if ch == roof.LoftVentilation || ch == roof.CeilingChange {
			return true
		}
	}
	return false
}

// row is the answer for one repair and one surface, with the looks behind it; j is
// nil where there is nothing to look at.
type row struct {
	Result
	evenings
	findings        findings
	fromMS, untilMS int64
}

// one looks at one surface around one repair.
func (a *assessor) one(i int, surface roof.Position) *row {
	e := a.repairs[i]
	w := &row{}
	r := &w.Result
	*r = Result{At: e.At.UTC(), What: e.What, Surface: surface.ID, Air: surface.Meets, Verdict: TooEarly}
	r.Credit = credit(a.set.Case, e)
	r.Notes = []string{"the repair is " + r.Credit.Text}
	if !r.Credit.any() {
		r.Needs = words.Need{Kind: words.OtherEvidence}.String()
		r.Reason = "the work is said to have changed " + changesText(r.Credit.NotModelled) +
			", which the method has no model of"
		return w
	}
	if a.set.FromMS == a.set.UntilMS {
		r.Needs, r.Reason = words.Need{Kind: words.FittedLoggers}.String(), "no fitted logger has sent anything"
		return w
	}
	fromMS, untilMS, notes := a.window(i, surface)
	r.Notes = append(r.Notes, notes...)
	at := e.At.UnixMilli()
	switch {
	case at >= a.set.UntilMS:
		r.Needs = words.Need{Kind: words.ReadingsAfter, Day: day0(a.set.Case, time.UnixMilli(a.set.UntilMS))}.String()
	case at <= a.set.FromMS:
		r.Needs = words.Need{Kind: words.ReadingsBefore, Day: day0(a.set.Case, time.UnixMilli(a.set.FromMS))}.String()
		r.Reason = "the record begins after the repair; what is measured now can be set against outdoor air, but that " +
			"cannot show what the work changed"
	}
	if r.Needs != "" {
		if at <= a.set.FromMS {
			a.againstOutdoors(r, e, surface.ID)
		}
		if r.Reason == "" {
			r.Reason = "there is nothing yet to compare"
		}
		return w
	}
	j, err := a.judge(e, surface.ID, fromMS, untilMS, r.Credit)
	if err != nil {
		var no ignored
		if errors.As(err, &no) {
			r.Needs = no.needs
		} else {
			r.Needs = err.Error()
		}
		r.Reason, r.NoOutdoor = "a logger that the answer rests on is missing", errors.Is(err, errNoOutdoor)
		return w
	}
	r.Notes = append(r.Notes, j.household()...)
	w.evenings = evenings{j: j, ends: j.ends()}
	w.fromMS, w.untilMS = fromMS, untilMS
	w.findings = w.decide()
	return w
}

// finish fills in the answer once its verdict is found, and lets sensitivity and
// untouched places have their say.
func (a *assessor) finish(w *row, i int) {
	r, j, f := &w.Result, w.j, w.findings
	r.Verdict = f.verdict
	a.write(r, j, f)
	if len(f.looks) > 0 && f.looks[0].open {
		if f.firm && !a.opts.NoSensitivity {
			a.sensitivity(r, j, f.looks[0])
		}
		a.control(r, i, w.fromMS, w.untilMS, j, f)
	}
	r.conclude(j, f)
	if inside := insideOf(a.set); len(f.looks) > 0 && f.looks[0].fit != nil && inside[len(inside)-1] == i {
		surface, _ := a.set.Case.Position(r.Surface)
		m := a.hours(i, surface, j, f.looks[0])
		r.Modelled = &m
	}
}

// judge sets up what looks at one surface.
func (a *assessor) judge(e roof.Event, surfaceID string, fromMS, untilMS int64, cr Credit) (*judge, error) {
	s, err := newSite(a.set, e, surfaceID, fromMS, untilMS, a.cache)
	if err != nil {
		return nil, err
	}
	j := &judge{s: s, terms: defaultTerms(cr.modelled()), draws: a.opts.Draws, dice: throw(a.set.Case.ID, a.opts.Draws),
		witness: a.opts.Witness}
	if s.onLoft && !s.hasVoid {
		j.terms.credit[2] = false
		if !cr.LoftVentilation && !cr.Ceiling {
			return nil, ignored{"a logger in the batten void: the work is credited with a change of its ventilation only"}
		}
	}
	j.prepare()
	return j, nil
}

// prepare lays out what all looks share.
func (j *judge) prepare() {
	s := j.s
	j.m = s.measure()
	j.prepareDrivers()
	j.doubt = int(s.event.Uncertain.Milliseconds() / stepMS)
	j.swapNear = s.swappedNear()
	j.allow(s.declaredSwaps())
}

// prepareDrivers lays out what drives the model, from the site as it stands.
func (j *judge) prepareDrivers() {
	j.bins = make([]bin, j.s.n)
	j.s.drive(j.bins, j.s.measuredTemps(), 0, j.s.n, j.terms.wind)
	j.loftCols, j.airCols = j.s.temperatureColumns()
}

// ends are the bins of the noons at which the record was looked at.
func (j *judge) ends() []int {
	var out []int
	for _, n := range j.s.nights {
		if n.UntilMS <= j.s.untilMS() && n.until > j.s.repairBin {
			out = append(out, n.until)
		}
	}
	return out
}

// swappedNear reports whether a logger of this air, surface or the loft was
// exchanged within 7 days of the repair.
func (s *site) swappedNear() bool {
	at := s.event.At.UnixMilli()
	for _, c := range []*series.Course{s.surface, s.air, s.loftCourse} {
		if c == nil {
			continue
		}
		for i := 1; i < len(c.Stints); i++ {
			if d := c.Stints[i].FromMS - at; c.Stints[i].Logger != c.Stints[i-1].Logger && d > -swapNearMS && d < swapNearMS {
				return true
			}
		}
	}
	return false
}

// day0 is a date in the property's zone.
func day0(c *roof.Case, t time.Time) string { return words.Date(t, c.Property.Zone) }
