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
	PeakMS      int64
	End         float64
	GrowthH     float64 // hours in which it could grow
	ObservedH   float64
	UnobservedH float64

	// ASHRAE160 is the criterion of ANSI/ASHRAE 160-2016: the index, run with
	// the standard's own slow decline, stays below 3.
	ASHRAE160     Verdict
	ASHRAE160Peak float64
	// Old30Day is the criterion of ANSI/ASHRAE 160-2009, addendum a, found too
	// strict in the field and replaced in 2016; given for comparison only: the
	// 30-day running mean of the surface's humidity stays under 80 % while that
	// of its temperature is between 5 and 40 C.
	Old30Day         Verdict
	Old30DayWorstPct float64 // highest such mean; 0 where no window qualified
	Old30DayWindows  int     // windows with enough observation
	LongestGapH      float64
	Notes            []string
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
	standard.Decline = ASHRAEDecline
	own, std := state{p: p}, state{p: standard}
	for i, s := range spells {
		if i > 0 && s.FromMS > spells[i-1].UntilMS {
			gap := float64(s.FromMS-spells[i-1].UntilMS) / 3.6e6
			r.UnobservedH += gap
			r.LongestGapH = math.Max(r.LongestGapH, gap)
			own.dryH, std.dryH = 0, 0
		}
		if own.step(s) {
			r.GrowthH += s.Hours()
		}
		std.step(s)
		r.ObservedH += s.Hours()
		r.Course = append(r.Course, Point{s.UntilMS, own.index})
		if own.index > r.Peak {
			r.Peak, r.PeakMS = own.index, s.UntilMS
		}
		r.ASHRAE160Peak = math.Max(r.ASHRAE160Peak, std.index)
	}
	r.End = own.index
	r.judge(spells)
	return r, nil
}

type state struct {
	p     Parameters
	index float64
	dryH  float64 // length of the dry spell so far
}

// step takes one spell and says whether mould could grow in it.
func (m *state) step(s spell.Spell) bool {
	if s.TempC > 0 && s.RHPct >= m.p.CriticalRHPct(s.TempC) {
		m.dryH = 0
		m.index = m.p.Grow(m.index, s.Hours()/24, s.TempC, s.RHPct)
		return true
	}
	end := m.dryH + s.Hours()
	m.index = math.Max(0, m.index-Declined(m.dryH, end, m.p.Decline))
	m.dryH = end
	return false
}

func (r *Result) judge(spells []spell.Spell) {
	r.ASHRAE160, r.Old30Day = CannotSay, CannotSay
	if r.ASHRAE160Peak >= Limit {
		r.ASHRAE160 = Fail
	} else if r.ObservedH >= 24*7 && r.ObservedH >= 0.8*(r.ObservedH+r.UnobservedH) {
		r.ASHRAE160 = Pass
	}
	r.thirtyDays(spells)
	switch {
	case r.Old30DayWindows == 0:
	case r.Old30DayWorstPct >= 80:
		r.Old30Day = Fail
	default:
		r.Old30Day = Pass
	}
	if r.UnobservedH > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("%.0f h were not observed; the index stands still there", r.UnobservedH))
	}
	if r.ASHRAE160 == Pass && r.ObservedH < 300*24 {
		r.Notes = append(r.Notes, "a pass holds for the record; the standard asks for whole years")
	}
}

// thirtyDays walks the running means of 30 days, each with at least 80 % of its
// hours observed.
func (r *Result) thirtyDays(spells []spell.Spell) {
	const window = 30 * 24 * 3600e3
	var hours, temp, rh float64
	first := 0
	for i, s := range spells {
		h := s.Hours()
		hours, temp, rh = hours+h, temp+h*s.TempC, rh+h*s.RHPct
		for spells[first].UntilMS <= s.UntilMS-int64(window) {
			o := spells[first]
			oh := o.Hours()
			hours, temp, rh = hours-oh, temp-oh*o.TempC, rh-oh*o.RHPct
			first++
		}
		if s.UntilMS-spells[0].FromMS < int64(window) || hours < 0.8*30*24 || i == 0 {
			continue
		}
		r.Old30DayWindows++
		if mean := temp / hours; mean >= 5 && mean <= 40 {
			r.Old30DayWorstPct = math.Max(r.Old30DayWorstPct, rh/hours)
		}
	}
}
