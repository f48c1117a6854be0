package cause

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Options are what the finding needs beside the readings and the case.
type Options struct {
	// Unchanged reports that a repair's verdict is no_change_shown for every
	// surface it treats, so that the window may span it. Nil: none is.
	Unchanged func(repair roof.Event) bool
}

// Find says which cause the evidence supports. It never fails: what cannot be
// told is Undetermined with what would settle it. The same input gives the same
// answer.
func Find(set *series.Set, opt Options) Finding { return find(set, opt, &ours) }

func find(set *series.Set, opt Options, m *model) Finding {
	_, f := assess(set, opt, m)
	return f
}

func assess(set *series.Set, opt Options, m *model) (*assessment, Finding) {
	a, f := answer(set, opt, m)
	f.Ledger = a.ledger(f.Causes).printed()
	a.evidence(&f)
	a.notes(&f)
	a.next(&f)
	a.settle(&f, m)
	return a, f
}

// answer is the finding with its shares and reasons, without what is told of it.
func answer(set *series.Set, opt Options, m *model) (*assessment, Finding) {
	f := Finding{Finding: Undetermined, States: map[string]float64{}}
	if set == nil || set.Case == nil {
		set = &series.Set{Case: &roof.Case{Property: roof.Property{Zone: time.UTC}}}
	}
	from, until, w := span(set, opt)
	d := gathered{grid: grid{startMS: from, zone: set.Case.Property.Zone}, air: map[string]*air{},
		positions: set.Case.Positions}
	if until-from >= 2*hourMS {
		d = choose(gather(set, from, until))
	}
	a := &assessment{c: set.Case, set: set, d: d, g: d.grid}
	a.p = assign(d, set.Case.Roof.Underlay.Class == "none")
	a.f = extract(a.g, a.p)
	a.finite()
	a.weigh(m)
	a.window(&f)
	f.Window.SpansRepair, f.Window.Repair = w.SpansRepair, w.Repair
	if w.SpansRepair && w.Repair.IsZero() {
		f.Notes = append(f.Notes, "The stretch used spans a repair whose verdict is that no change is shown.")
	}
	a.decide(&f)
	return a, f
}

// weigh scores the figures and the survey by a table.
func (a *assessment) weigh(m *model) {
	a.survey = m.priors.read(a.c, a.g.startMS).trusted(m.trust)
	a.division = division{m.mixing, a.survey.ceilingShare}
	a.scores = m.score(a.f.value, a.f.se, math.Max(a.g.days(), 1))
	a.plain = posterior(a.scores, a.survey.prior)
	a.post = m.doubted(a.plain)
	a.alone, _ = division{m.mixing, 0.5}.shares(m.doubted(posterior(a.scores, [states]float64{})))
}

// assessment is one run of Find.
type assessment struct {
	c        *roof.Case
	set      *series.Set
	d        gathered
	g        grid
	p        places
	f        figures
	survey   survey
	scores   scores
	division division
	plain    [states]float64 // before the doubt
	post     [states]float64
	capWhy   []string

	nightOf    []int
	nights     int
	cold       int
	clear      int
	support    map[Cause]float64
	membership map[Cause]float64
	alone      map[Cause]float64 // support without the survey
}

// finite turns any figure that degenerate input drove out of range into a
// missing one.
func (a *assessment) finite() {
	for i := range a.f.value {
		if math.IsInf(a.f.value[i], 0) || math.Abs(a.f.value[i]) > 1e6 {
			a.f.value[i] = missing
		}
		if math.IsInf(a.f.se[i], 0) {
			a.f.se[i] = missing
		}
	}
}

// span is the stretch of the record that may be used: up to the first repair
// that is not shown to have changed nothing.
func span(set *series.Set, opt Options) (from, until int64, w Window) {
	from, until = set.FromMS, set.UntilMS
	if len(set.Courses) == 0 || until <= from {
		return from, from, w
	}
	for _, r := range set.Case.Repairs() {
		at := r.At.Add(-r.Uncertain).UnixMilli()
		if at <= from || at >= until {
			continue
		}
		if opt.Unchanged != nil && opt.Unchanged(r) {
			w.SpansRepair = true
			continue
		}
		w.Repair = r.At
		return from, at, w
	}
	return from, until, w
}

// window counts cold and clear nights and lists what was there.
func (a *assessment) window(f *Finding) {
	a.nightOf, a.nights = a.g.nights()
	low := make([]float64, a.nights)
	fall := make([]int, a.nights)
	for i := range low {
		low[i] = math.Inf(1)
	}
	logged, surface := !a.p.outdoor.empty(), !a.p.covering.empty()
	for k, n := range a.nightOf {
		if logged && known(a.p.outdoor.tempC[k]) {
			low[n] = math.Min(low[n], a.p.outdoor.tempC[k])
			if surface && a.p.outdoor.tempC[k]-a.p.covering.tempC[k] > evidence.ClearNightK {
				fall[n]++
			}
		}
	}
	for n := range low {
		if low[n] < coldNightC {
			a.cold++
		}
		if fall[n] >= evidence.ClearNightHours {
			a.clear++
		}
	}
	f.Window = Window{FromMS: a.g.fromMS(), UntilMS: a.g.untilMS(), Days: a.g.days(), ColdNights: a.cold,
		ClearNights: a.clear}
	for _, place := range wanted {
		if a.p.of(place).empty() {
			f.Window.Missing = append(f.Window.Missing, place)
		} else {
			f.Window.Places = append(f.Window.Places, place)
		}
	}
	for i := range features {
		if v := a.f.value[i]; known(v) {
			fig := Figure{Feature: about(i).id, Group: groupNames[about(i).group], Value: v}
			if u := a.f.se[i]; known(u) {
				fig.U = &u
			}
			f.Figures = append(f.Figures, fig)
		}
	}
	for st := range states {
		f.States[stateNames[st]] = a.post[st]
	}
	if n := a.f.airHour; known(n) {
		f.AirChanges = &[3]float64{n, n / 2, n * 2}
	}
}

// needs lists the places a cause needs, section 7.
func (a *assessment) needs(c Cause) []roof.Place {
	under := a.c.Roof.Underlay.Class
	switch c {
	case UnventedBattenVoid, NightSkyCooling, NoneFound:
		if under == "none" {
			return []roof.Place{roof.OutdoorAir, roof.LoftAir, roof.CoveringUnderside}
		}
		return []roof.Place{roof.OutdoorAir, roof.LoftAir, roof.BattenVoidAir, roof.CoveringUnderside}
	}
	out := []roof.Place{roof.OutdoorAir, roof.IndoorAir, roof.LoftAir}
	switch under {
	case "HR":
	case "none":
		out = append(out, roof.CoveringUnderside)
	default:
		out = append(out, roof.BattenVoidAir, roof.CoveringUnderside)
	}
	return out
}

func (a *assessment) lacks(c Cause) []roof.Place {
	var out []roof.Place
	for _, place := range a.needs(c) {
		if a.p.of(place).empty() {
			out = append(out, place)
		}
	}
	return out
}

// caps says why the table does not know this roof or season.
func (a *assessment) caps() []string {
	var why []string
	b := a.c.Roof
	if b.Insulation == "rafter" {
		why = append(why, "the insulation lies along the rafters")
	}
	if b.PitchDeg != nil && *b.PitchDeg < lowPitchDeg {
		why = append(why, fmt.Sprintf("a pitch of %.0f degrees is flatter than the roofs behind the method (17 to 47)",
			*b.PitchDeg))
	}
	if b.PitchDeg != nil && *b.PitchDeg > 60 {
		why = append(why, fmt.Sprintf("a pitch of %.0f degrees is steeper than the roofs behind the method (17 to 47)",
			*b.PitchDeg))
	}
	if b.Underlay.Class == "none" {
		why = append(why, "there is no underlay: the loft's air meets the covering itself")
	}
	if known(a.f.outC) && a.f.outC > 12 {
		why = append(why, fmt.Sprintf("outdoors averaged %s °C: the method was made for winters", words.Whole(a.f.outC)))
	}
	return why
}

// decide makes support, finding and the reasons against one (sections 6, 7).
func (a *assessment) decide(f *Finding) {
	a.support, a.membership = a.division.shares(a.post)
	if a.capWhy = a.caps(); len(a.capWhy) > 0 {
		capped(a.support, cappedSupport)
	}
	lead, best := leading(a.support)
	f.Leading = lead
	for _, c := range Named() {
		f.Causes = append(f.Causes, Support{Cause: c, Support: a.support[c], Membership: a.membership[c],
			FromReadings: a.alone[c]})
	}
	slices.SortStableFunc(f.Causes, func(x, y Support) int { return cmp.Compare(y.Support, x.Support) })
	reason := func(format string, args ...any) { f.Reasons = append(f.Reasons, fmt.Sprintf(format, args...)) }
	if a.g.n == 0 || len(f.Window.Places) == 0 {
		reason("no position has readings enough to go by")
	}
	if a.g.days() < shortestDays {
		reason("%.1f days of readings are too few: at least %d are needed", a.g.days(), shortestDays)
	} else if a.cold == 0 {
		if a.p.outdoor.empty() {
			reason("without outdoor air nothing is found")
		} else {
			reason("no night was colder than %.0f °C", coldNightC)
		}
	}
	lacks := a.lacks(lead)
	if len(lacks) > 0 {
		var missing []string
		for _, place := range lacks {
			missing = append(missing, placeWords[place])
		}
		reason("“%s” leads, but it cannot be named without readings of %s", lead.Words(), joined(missing))
	}
	if best < settledSupport || a.membership[lead] < settledMembership {
		reason("no cause has enough of the evidence; “%s” leads with %s", lead.Words(), words.Share(best))
	}
	if (a.p.void.empty() || a.p.covering.empty()) && best < fewPlacesSupport {
		reason("the void or the covering is not logged, so that %s is not enough", words.Share(best))
	}
	if len(lacks) == 0 && a.p.indoor.empty() && best < noHouseSupport {
		reason("the house's air is not logged, so that %s is not enough", words.Share(best))
	}
	if !a.survey.openingsKnown && (lead == CeilingLeakage || lead == BlockedVentilation) {
		reason("the loft's openings are not known, and only they tell a leaking ceiling from blocked openings")
	}
	if len(f.Reasons) > 0 {
		return
	}
	f.Finding = lead
	f.Strength = "probable"
	if best >= strongSupport {
		f.Strength, f.Firm = "strong", true
	}
	switch {
	case a.post[stateVC] >= mixedPosterior && lead == UnventedBattenVoid:
		f.With = CeilingLeakage
	case a.post[stateVC] >= mixedPosterior && lead == CeilingLeakage:
		f.With = UnventedBattenVoid
	case a.post[stateWU] >= mixedPosterior && lead != WaterIngress:
		f.With = WaterIngress
	case a.post[stateWU] >= mixedPosterior && a.survey.ceilingShare >= 0.5:
		f.With = CeilingLeakage
	case a.post[stateWU] >= mixedPosterior:
		f.With = BlockedVentilation
	}
	if f.With != "" {
		f.Mixed = "possibly together with " + f.With.Words()
	}
}

// joined lists words as a sentence does.
func joined(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

var placeWords = map[roof.Place]string{
	roof.OutdoorAir: "outdoor air", roof.IndoorAir: "indoor air", roof.LoftAir: "the loft",
	roof.BattenVoidAir:     "the batten void",
	roof.CoveringUnderside: "the underside of the covering", roof.UnderlayUnderside: "the underside of the underlay",
}
