package mould

import (
	"fmt"
	"math"

	"dewcase/internal/physics/spell"
)

// Limit is the index that ANSI/ASHRAE 160-2016 asks a design to stay under
// (from memory: mould index below 3.0).
const Limit = 3.0

// Verdict is what a record can say about a criterion.
type Verdict string

// The verdicts.
const (
	Pass      Verdict = "pass"
	Fail      Verdict = "fail"
	CannotSay Verdict = "cannot_say" // too little was observed
)

// Point is the index at a time.
type Point struct {
	AtMS  int64
	Index float64
}

// Result is one surface's record against the model.
type Result struct {
	Class       Class
	Course      []Point // at the end of each spell
	Peak        float64
	End         float64
	ObservedH   float64
	UnobservedH float64

	// ASHRAE160 is the criterion of ANSI/ASHRAE 160-2016: the index, run with
	// the standard's own slow decline, stays below 3.
	ASHRAE160     Verdict
	ASHRAE160Peak float64
	Notes         []string
}

// Run takes a surface's spells through the model, from a clean surface. Growth
// in a spell is solved in closed form, so hourly spells and one long one agree.
// In a gap the index stands still and the dry spell is interrupted: neither
// growth nor decline is invented.
func Run(spells []spell.Spell, class Class) (*Result, error) {
	p, err := ParametersOf(class)
	if err != nil {
		return nil, err
	}
	if err := spell.Check(spells); err != nil {
		return nil, fmt.Errorf("running the mould index: %w", err)
	}
	r := &Result{Class: class, Course: make([]Point, 0, len(spells))}
	standard := p
	standard.Decline = ashraeDecline
	own, std := state{p: p}, state{p: standard}
	for i, s := range spells {
		if i > 0 && s.FromMS > spells[i-1].UntilMS {
			r.UnobservedH += float64(s.FromMS-spells[i-1].UntilMS) / 3.6e6
			own.dryH, std.dryH = 0, 0
		}
		own.step(s)
		std.step(s)
		r.ObservedH += s.Hours()
		r.Course = append(r.Course, Point{s.UntilMS, own.index})
		r.Peak = math.Max(r.Peak, own.index)
		r.ASHRAE160Peak = math.Max(r.ASHRAE160Peak, std.index)
	}
	r.End = own.index
	r.judge()
	return r, nil
}

type state struct {
	p     Parameters
	index float64
	dryH  float64 // length of the dry spell so far
}

// step takes one spell.
func (m *state) step(s spell.Spell) {
	if s.TempC > 0 && s.RHPct >= m.p.CriticalRHPct(s.TempC) {
		m.dryH = 0
		m.index = m.p.Grow(m.index, s.Hours()/24, s.TempC, s.RHPct)
		return
	}
	end := m.dryH + s.Hours()
	m.index = math.Max(0, m.index-Declined(m.dryH, end, m.p.Decline))
	m.dryH = end
}

func (r *Result) judge() {
	r.ASHRAE160 = CannotSay
	if r.ASHRAE160Peak >= Limit {
		r.ASHRAE160 = Fail
	} else if r.ObservedH >= 24*7 && r.ObservedH >= 0.8*(r.ObservedH+r.UnobservedH) {
		r.ASHRAE160 = Pass
	}
	if r.UnobservedH > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("%.0f h were not observed; the index stands still there", r.UnobservedH))
	}
	if r.ASHRAE160 == Pass && r.ObservedH < 300*24 {
		r.Notes = append(r.Notes, "a pass holds for the record; the standard asks for whole years")
	}
}
