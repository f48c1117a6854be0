package cause

import (
	"math"
	"math/rand/v2"
	"slices"

	"dewcase/internal/roof"
)

// Settler is a set of further loggers, or a look, with what it would do for the
// name of the cause.
type Settler struct {
	Places []roof.Place // loggers there; nil: a look
	Look   Look
	// Now and Then are the chances that a cause is named and is among the true
	// ones: as it stands, and had that been there over the same nights. Wrong is the
	// chance that a cause would be named then that is not.
	Now, Then, Wrong float64
}

// Look is something that a look at the house would enter in the survey.
type Look string

// The looks that turn an answer.
const (
	LookOpenings Look = "openings_mm.loft_eaves"
	LookUnderlay Look = "underlay.class"
	LookCovering Look = "covering.air"
	LookHandover Look = "completed"
)

// Constants of the expectation.
const (
	settleDraws = 200
	worthFit    = 0.1 // least gain of a chance that is told
	kitDays     = 90  // of a winter, for a kit that is not fitted yet
)

// madeOf are the places whose loggers each figure is made of.
var madeOf = func() (of [features][]roof.Place) {
	const o, i, l, v, c, u = roof.OutdoorAir, roof.IndoorAir, roof.LoftAir, roof.BattenVoidAir, roof.CoveringUnderside,
		roof.UnderlayUnderside
	for f, p := range map[feature][]roof.Place{
		fEl: {l, o}, fLflux: {l, o, i}, fSrc: {l, i, o}, fLHu: {u, l, o}, fRH90: {l}, fElB: {l, v, o}, fWo: {l, o, i},
		fSb: {l, o, i}, fHeat: {l, u, i}, fWiZ: {l, i, o}, fVo: {v, o, l}, fLHc: {c, v, o}, fWhere: {c, v, u, l, o},
		fUc: {c, o}, fRt: {l, o}, fDecay: {l, o}, fDecayI: {i, o},
	} {
		of[f] = p
	}
	return of
}()

// logged stands for a logger that is not there.
var logged = &air{tempC: []float64{0}, vapourPa: []float64{600}}

// supposing is the assessment with loggers at further places, whose figures are
// yet to be drawn.
func (a *assessment) supposing(at []roof.Place) *assessment {
	b := *a
	for _, place := range at {
		*map[roof.Place]**air{roof.OutdoorAir: &b.p.outdoor, roof.IndoorAir: &b.p.indoor, roof.LoftAir: &b.p.loft,
			roof.BattenVoidAir: &b.p.void, roof.CoveringUnderside: &b.p.covering,
			roof.UnderlayUnderside: &b.p.underlay}[place] = logged
	}
	if slices.Contains(at, roof.OutdoorAir) && b.cold == 0 {
		b.cold = b.nightsSupposed()
	}
	return &b
}

// nightsSupposed is a cold night in two, where no outdoor logger counted them.
func (a *assessment) nightsSupposed() int { return int(a.g.days() / 2) }

// name is the finding by the rules of decide.
func (a *assessment) name() Cause {
	f := Finding{Finding: Undetermined}
	for _, place := range wanted {
		if !a.p.of(place).empty() {
			f.Window.Places = append(f.Window.Places, place)
		}
	}
	a.decide(&f)
	return f.Finding
}

// rightly is the chance that a cause is among the true ones in a state.
func (d division) rightly(c Cause, st state) float64 {
	if !slices.Contains(statesOf[c], st) {
		return 0
	}
	return d.split(c, st)
}

// chances are those that a true or another cause is named once the figures of
// further loggers are there. The figures are drawn, state by state as likely as it
// is now, from what the table says of the state, and the whole answer is made anew
// with each draw.
func (a *assessment) chances(m *model, at []roof.Place) (right, wrong float64) {
	b := a.supposing(at)
	var fresh []feature
	for f := range features {
		if !known(a.f.value[f]) && !slices.ContainsFunc(madeOf[f], func(p roof.Place) bool { return b.p.of(p).empty() }) {
			fresh = append(fresh, f)
		}
	}
	if len(fresh) == 0 {
		return 0, 0
	}
	r := rand.New(rand.NewPCG(20, 26))
	days := math.Max(a.g.days(), 1)
	for range settleDraws {
		st := pick(r, a.post)
		b.f.value = a.f.value
		common := [groups]float64{}
		for g := range groups {
			common[g] = r.NormFloat64()
		}
		wide := student(r)
		for _, f := range fresh {
			b.f.value[f] = m.drawn(r, f, st, days, common[m.row[f].group], wide)
		}
		b.weigh(m)
		if c := b.name(); c != Undetermined {
			p := a.division.rightly(c, st)
			right, wrong = right+p/settleDraws, wrong+(1-p)/settleDraws
		}
	}
	return right, wrong
}

func pick(r *rand.Rand, p [states]float64) state {
	u := r.Float64()
	for st := range states {
		if u -= p[st]; u < 0 {
			return st
		}
	}
	return states - 1
}

// student is what makes a normal variate one of Student's with 4 degrees of
// freedom.
func student(r *rand.Rand) float64 {
	sum := 0.0
	for range int(studentDoF) {
		n := r.NormFloat64()
		sum += n * n
	}
	return math.Sqrt(studentDoF / sum)
}

// drawn is a figure as a state gives it. Figures of a kind repeat each other, which
// the weights of the table allow for: half of their variance is common.
func (m *model) drawn(r *rand.Rand, f feature, st state, days, common, wide float64) float64 {
	if q := shutVoid(f, st); q > 0 && r.Float64() < q {
		st = stateV
	}
	of := m.row[f].state[st]
	return of.loc + of.scale*m.widened(f, days)*wide*(common+r.NormFloat64())/math.Sqrt2
}
