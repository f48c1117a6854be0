package mechanism

import (
	"math"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Verdict is the answer on one quantity (contract, section 6).
type Verdict string

// The three answers.
const (
	Changed       Verdict = "changed"
	NoChangeShown Verdict = "no_change_shown"
	TooEarly      Verdict = "too_early"
)

// Result is what a repair changed of one quantity. A nil figure could not be had.
type Result struct {
	What        roof.Change `json:"what"`
	Position    string      `json:"position" doc:"the void that it is about; empty for the others"`
	Factor      *float64    `json:"factor" doc:"exchange or flow after over before"`
	Low         *float64    `json:"low" doc:"95 % interval"`
	High        *float64    `json:"high"`
	Credited    bool        `json:"credited"`
	Verdict     Verdict     `json:"verdict"`
	SinceNights *int        `json:"since_nights" doc:"nights until it was sure; null unless changed"`
	Nights      int         `json:"nights_after" doc:"days of 24 h since the repair that were looked at"`
	ShareBefore *float64    `json:"share_before" doc:"outdoor air's share in the void's temperature, 0..1"`
	ShareAfter  *float64    `json:"share_after"`
	Reason      string      `json:"reason" doc:"one or two sentences: why this verdict"`

	Said words.Exchange `json:"-"` // what Reason is made of
}

// conclude puts a result into words; its figures are rounded once, here.
func (r *Result) conclude() {
	if r.Verdict == Changed {
		r.keepToItsSide()
	}
	s := &r.Said
	s.What, s.Kind, s.Credited = string(r.What), words.ExchangeKind(r.Verdict), r.Credited
	s.Factor, s.Low, s.High, s.Before, s.After, s.Nights = r.Factor, r.Low, r.High, r.ShareBefore, r.ShareAfter, r.Nights
	if r.SinceNights != nil {
		s.Since = *r.SinceNights
	}
	r.Reason = s.Sentence().String()
}

// keepToItsSide ends the interval of a change that is sure at 1. Whether the
// exchange changed, and which way, is told by how far it went beyond its own
// wandering; by how much, by a factor whose error between roofs is far wider, so that
// its interval alone may reach over to the other side, which the verdict excludes.
func (r *Result) keepToItsSide() {
	if r.Factor == nil || r.Low == nil || r.High == nil {
		return
	}
	if *r.Factor > 1 {
		r.Low = ptr(max(*r.Low, 1))
	} else {
		r.High = ptr(min(*r.High, 1))
	}
}

func ptr(x float64) *float64 { return &x }

// figures gives the factor as it is printed everywhere.
func (r *Result) figures(f factor) {
	round := func(x float64) *float64 { return ptr(words.RoundTimes(x)) }
	r.Factor, r.Low, r.High = round(f.mid), round(f.low), round(f.high)
}

// share3 is a share within 0..1 with three decimals.
func share3(x float64) *float64 {
	return ptr(math.Round(math.Min(math.Max(x, 0), 1)*1000) / 1000)
}

// early makes the result too early for a reason.
func (r *Result) early(want words.ExchangeWant) *words.Exchange {
	r.Verdict, r.Said.Want = TooEarly, want
	return &r.Said
}
