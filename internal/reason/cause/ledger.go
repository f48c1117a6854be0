package cause

import (
	"fmt"
	"math"
	"slices"
)

// LineKind says what a line of the ledger is.
type LineKind string

// The kinds, in the order of the ledger.
const (
	LineStart    LineKind = "start"    // before anything is measured or seen
	LineMeasured LineKind = "measured" // one figure
	LineSurvey   LineKind = "survey"   // one thing seen on site
	LineLimit    LineKind = "limit"    // what the limit on a kind of figure cuts off
	LineDivision LineKind = "division" // how a state is divided among the causes it can be
	LineMixing   LineKind = "mixing"   // other states that count for either cause
	LineDoubt    LineKind = "doubt"    // what is kept for roofs with something that the table does not know
	LineCap      LineKind = "cap"      // the cap on roofs that the table does not know
	LineRounding LineKind = "rounding" // what the lines lost by being rounded
)

// Line is one line of the ledger.
type Line struct {
	Kind LineKind `json:"kind"`
	Evidence
	// Weights are by rival, in nats: above zero the line speaks for the ledger's
	// cause, below for the rival.
	Weights []float64 `json:"weights" doc:"one for each of against; 0.7 doubles the odds, below zero for the other"`
}

// Ledger sets the leading cause against every other, the runner-up first, so that
// a reader can add up how the shares came about: each column of weights sums to
// the logarithm of the ratio of the two shares.
type Ledger struct {
	Cause   Cause     `json:"cause"`
	Against []Cause   `json:"against" doc:"the runner-up first"`
	Lines   []Line    `json:"lines"`
	Sums    []float64 `json:"sums" doc:"ln(share of cause / share of against)"`
}

// Column is the place of a cause in the weights: of a rival its own, of the
// leading cause the runner-up's. ok is false where there is none.
func (l *Ledger) Column(c Cause) (column int, ok bool) {
	if l == nil {
		return 0, false
	}
	if c == l.Cause {
		return 0, len(l.Against) > 0
	}
	column = slices.Index(l.Against, c)
	return column, column >= 0
}

// division says how states are divided among the causes that they can be.
type division struct {
	mixing
	ceiling float64 // share of a shut, moist loft that counts for ceiling_leakage
}

// mixing is the part of a state of two faults that counts for one of them; the
// rest counts for the other.
type mixing struct{ void, air float64 } // of VC for the void, of WU for a shut, moist loft

// split is the share of a shut, moist loft that counts for a cause.
func (d division) split(c Cause, st state) float64 {
	switch {
	case st != stateU && st != stateWU:
	case c == CeilingLeakage:
		return d.ceiling
	case c == BlockedVentilation:
		return 1 - d.ceiling
	}
	return 1
}

// part is the part of a state of two faults that counts for one of them.
func (d division) part(c Cause, st state) float64 {
	switch {
	case st == stateVC && c == UnventedBattenVoid:
		return d.void
	case st == stateVC:
		return 1 - d.void
	case st == stateWU && c == WaterIngress:
		return 1 - d.air
	case st == stateWU:
		return d.air
	}
	return 1
}

var statesOf = map[Cause][]state{CeilingLeakage: {stateU, stateVC, stateWU}, BlockedVentilation: {stateU, stateWU},
	UnventedBattenVoid: {stateV, stateVC}, WaterIngress: {stateW, stateWU}, NightSkyCooling: {stateS},
	ConstructionMoist: {stateC}, NoneFound: {stateN}}

// gives says how much of each state counts for a cause.
func (d division) gives(c Cause) (g [states]float64) {
	for _, st := range statesOf[c] {
		g[st] = d.split(c, st) * d.part(c, st)
	}
	return g
}

// stands is the state by which a cause has most of its share.
func (a *assessment) stands(c Cause) state {
	g := a.division.gives(c)
	best := stateU
	for st := range states {
		if g[st]*a.post[st] > g[best]*a.post[best] {
			best = st
		}
	}
	return best
}

// ledger makes every line with its exact weights.
func (a *assessment) ledger(ranked []Support) *Ledger {
	if len(ranked) == 0 {
		return nil
	}
	l := &Ledger{Cause: ranked[0].Cause}
	own := a.stands(l.Cause)
	var rival []state
	for _, s := range ranked[1:] {
		l.Against = append(l.Against, s.Cause)
		rival = append(rival, a.stands(s.Cause))
		l.Sums = append(l.Sums, math.Log(ranked[0].Support/s.Support))
	}
	add := func(kind LineKind, e Evidence, weight func(i int, x, y state) float64) {
		line := Line{Kind: kind, Evidence: e}
		for i, y := range rival {
			line.Weights = append(line.Weights, weight(i, own, y))
		}
		l.Lines = append(l.Lines, line)
	}
	plain := func(format string, args ...any) Evidence { return Evidence{Text: fmt.Sprintf(format, args...)} }
	add(LineStart, plain("Start, before anything is measured or seen."), func(_ int, x, y state) float64 {
		d := a.survey.prior[x] - a.survey.prior[y]
		for _, s := range a.survey.lines {
			d -= s.moves[x] - s.moves[y]
		}
		return d
	})
	k := a.scores.factor
	for f := range features {
		if known(a.f.value[f]) {
			add(LineMeasured, a.sentence(f), func(_ int, x, y state) float64 {
				return k * (a.scores.own[f][x] - a.scores.own[f][y])
			})
		}
	}
	for _, s := range a.survey.lines {
		if s.moves == ([states]float64{}) {
			continue // divides a state only: see there
		}
		add(LineSurvey, a.seen(s.text), func(_ int, x, y state) float64 { return s.moves[x] - s.moves[y] })
	}
	add(LineLimit, plain("What the limit on each kind of figure cuts off: none may take more than %.1f (the course over "+
		"the winter %.1f) from a cause.", -k*groupFloor, -k*timeFloor), func(_ int, x, y state) float64 {
		d := 0.0
		for g := range groups {
			d += a.scores.group[g][x] - a.scores.group[g][y]
		}
		for f := range features {
			d -= a.scores.own[f][x] - a.scores.own[f][y]
		}
		return k * d
	})
	d := a.division
	add(LineDivision, a.seen(a.splitWords()), func(i int, x, y state) float64 {
		return math.Log(d.split(l.Cause, x) / d.split(l.Against[i], y))
	})
	add(LineDivision, plain("Of a house with two faults at once %.0f of 100 count for the void and the rest for the "+
		"ceiling, or %.0f for the loft's moist air and the rest for water coming in.", 100*d.void, 100*d.air),
		func(i int, x, y state) float64 { return math.Log(d.part(l.Cause, x) / d.part(l.Against[i], y)) })
	add(LineDoubt, plain("Kept back, because a roof may have something that the method does not know."),
		func(_ int, x, y state) float64 {
			return math.Log(a.post[x]/a.plain[x]) - math.Log(a.post[y]/a.plain[y])
		})
	whole, _ := d.shares(a.post)
	add(LineMixing, plain("Other states of the roof that count for either cause besides the likeliest."),
		func(i int, x, y state) float64 {
			c := l.Against[i]
			return math.Log(whole[l.Cause]/(d.gives(l.Cause)[x]*a.post[x])) - math.Log(whole[c]/(d.gives(c)[y]*a.post[y]))
		})
	if len(a.capWhy) > 0 {
		add(LineCap, plain("Support is held to %.1f at most on a roof that the method does not know.", cappedSupport),
			func(i int, _, _ state) float64 { return l.Sums[i] - math.Log(whole[l.Cause]/whole[l.Against[i]]) })
	}
	return l
}

// splitWords say how a shut, moist loft is divided between the two causes that
// loggers cannot tell apart.
func (a *assessment) splitWords() string {
	var why []string
	for _, s := range a.survey.lines {
		if s.splits {
			why = append(why, s.text)
		}
	}
	if len(why) == 0 {
		why = []string{"the loft's openings are not known"}
	}
	return fmt.Sprintf("a shut, moist loft counts %.0f of 100 for a leaking ceiling, the rest for openings that do not "+
		"work: %s", 100*a.survey.ceilingShare, joined(why))
}

// printed rounds every weight once, to hundredths, and gives what the lines lost
// by it a line of its own, so that what is printed adds up. Lines that weigh
// nothing against any rival are left out.
func (l *Ledger) printed() *Ledger {
	if l == nil {
		return nil
	}
	out := &Ledger{Cause: l.Cause, Against: l.Against, Lines: []Line{}}
	rest := make([]int, len(l.Sums)) // hundredths
	for i, s := range l.Sums {
		out.Sums = append(out.Sums, hundredth(s))
		rest[i] = int(math.Round(100 * s))
	}
	for _, line := range l.Lines {
		any := line.Kind == LineStart || line.Kind == LineMeasured
		exact := line.Weights
		line.Weights = make([]float64, len(exact))
		for i, w := range exact {
			line.Weights[i] = hundredth(w)
			rest[i] -= int(math.Round(100 * w))
			any = any || line.Weights[i] != 0
		}
		if any {
			out.Lines = append(out.Lines, line)
		}
	}
	rounding := Line{Kind: LineRounding, Evidence: Evidence{Text: "Rounding."}}
	for _, r := range rest {
		rounding.Weights = append(rounding.Weights, float64(r)/100)
	}
	if slices.ContainsFunc(rest, func(r int) bool { return r != 0 }) {
		out.Lines = append(out.Lines, rounding)
	}
	return out
}

func hundredth(x float64) float64 { return math.Round(100*x)/100 + 0 }

// speaks is the least weight, in nats, of a line named for or against a cause: a
// tenth more or less of the odds.
const (
	speaks   = 0.1
	maxLines = 4
)

// evidence lists, from the ledger, what speaks for and against each cause: the
// leading one against the first rival that the loggers can tell from it, every
// other against the leading one. Measured lines come first, largest first.
func (a *assessment) evidence(f *Finding) {
	for i := range f.Causes {
		s := &f.Causes[i]
		column, ok := f.Ledger.Column(s.Cause)
		if !ok {
			continue
		}
		sign := -1.0
		if i == 0 {
			sign = 1
			told := func(c Cause) bool { return a.stands(c) != a.stands(s.Cause) }
			column = max(slices.IndexFunc(f.Ledger.Against, told), 0)
		}
		var pro, con []Evidence
		for _, line := range f.Ledger.Lines {
			if line.Basis == "" {
				continue
			}
			e := line.Evidence
			e.Weight = sign * line.Weights[column]
			switch {
			case e.Weight >= speaks:
				pro = append(pro, e)
			case e.Weight <= -speaks:
				con = append(con, e)
			}
		}
		s.For, s.Against = largest(pro), largest(con)
	}
}

// largest are the measured lines that weigh most, then what was seen.
func largest(lines []Evidence) []Evidence {
	var measured, survey []Evidence
	for _, e := range lines {
		if e.Basis == "survey" {
			survey = append(survey, e)
		} else {
			measured = append(measured, e)
		}
	}
	for _, of := range [][]Evidence{measured, survey} {
		slices.SortStableFunc(of, func(x, y Evidence) int {
			switch d := math.Abs(y.Weight) - math.Abs(x.Weight); {
			case d > 0:
				return 1
			case d < 0:
				return -1
			}
			return 0
		})
	}
	return append(measured[:min(len(measured), maxLines)], survey...)
}
