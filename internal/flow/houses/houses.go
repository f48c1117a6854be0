// Package houses counts houses over the summaries that are kept of them: which
// sweat, which repairs hold, which loggers are silent, what needs a person. No
// record is read for it. Every count is of houses, so that the counts of several
// instances add up.
package houses

import (
	"cmp"
	"slices"
	"time"

	"dewcase/internal/roof"
)

// Figures are counts of houses at a time.
type Figures struct {
	At        time.Time              `json:"at"`
	Houses    int                    `json:"houses"`
	NeedALook int                    `json:"need_a_look" doc:"houses that need a person's look; the sum of needs"`
	Needs     map[roof.HouseNeed]int `json:"needs" doc:"houses under what presses most; silence comes first"`
	Sweating  int                    `json:"sweating" doc:"houses wet for 1 h or more on 3 or more of their last 7 nights"`
	// SweatingBy are those by what the evidence supports.
	SweatingBy map[string]int `json:"sweating_by_finding" doc:"the sweating houses by finding; empty: not assessed yet"`
	Week       WetNights      `json:"wet_nights_of_7"`
	Month      WetNights      `json:"wet_nights_of_30"`
	Findings   map[string]int `json:"findings" doc:"all houses; empty: not assessed yet"`
	Repairs    map[string]int `json:"repairs" doc:"all houses by the verdict on the latest repair; empty: none on file"`
	Summaries  Ages           `json:"summaries"`
	// The houses that each section begins with, by id.
	Wettest, Unhelped, LongestSilent []string `json:"-"`
}

// WetNights is how many houses had how many wet nights.
type WetNights struct {
	None      int `json:"none"`
	Few       int `json:"few" doc:"1 or 2 nights of 7, 1 to 8 of 30"`
	Many      int `json:"many" doc:"3 or 4 nights of 7, 9 to 17 of 30"`
	Most      int `json:"most" doc:"5 or more nights of 7, 18 or more of 30"`
	Unwatched int `json:"not_observed" doc:"no night of them observed, no surface, or nothing heard for 36 h"`
}

// Ages is how old the summaries are.
type Ages struct {
	Hour   int       `json:"within_1h"`
	Day    int       `json:"within_24h" doc:"older than an hour"`
	Older  int       `json:"older"`
	None   int       `json:"none" doc:"not summed up yet"`
	Oldest time.Time `json:"oldest,omitzero"`
}

// Longest is how many houses a section of Figures begins with.
const Longest = 10

// Counter counts houses one by one.
type Counter struct {
	f                          Figures
	wettest, unhelped, silence []*roof.ListedHouse
}

// NewCounter begins to count at a time.
func NewCounter(now time.Time) *Counter {
	return &Counter{f: Figures{At: now.UTC(), Needs: map[roof.HouseNeed]int{}, SweatingBy: map[string]int{},
		Findings: map[string]int{}, Repairs: map[string]int{}}}
}

// Add counts a house, which must stay as it is until Figures was called.
func (c *Counter) Add(h *roof.ListedHouse) {
	f, now := &c.f, c.f.At
	f.Houses++
	if need := h.Needs(now); need != "" {
		f.NeedALook++
		f.Needs[need]++
	}
	f.Findings[h.Finding]++
	f.Repairs[h.Verdict]++
	heard := now.Sub(h.Last) <= roof.LatelyHeard
	f.Week.add(heard && h.SeenWeek > 0, h.WetNights, 3, 5)
	f.Month.add(heard && h.SeenMonth > 0, h.WetMonth, 9, 18)
	f.Summaries.add(h.Made, now)
	if h.Sweats(now) {
		f.Sweating++
		f.SweatingBy[h.Finding]++
		c.wettest = among(c.wettest, h, func(a, b *roof.ListedHouse) int {
			return cmp.Or(b.WetNights-a.WetNights, b.WetMonth-a.WetMonth)
		})
	}
	if h.Verdict == worse || h.Verdict == unchanged {
		c.unhelped = among(c.unhelped, h, func(a, b *roof.ListedHouse) int {
			return cmp.Or(cmp.Compare(a.Verdict, b.Verdict), b.WetNights-a.WetNights)
		})
	}
	if !h.SilentFrom.IsZero() && !h.SilentFrom.After(now) {
		c.silence = among(c.silence, h, func(a, b *roof.ListedHouse) int { return a.SilentFrom.Compare(b.SilentFrom) })
	}
}

// The verdicts of the contract under which a repair did not help; in this order.
const (
	worse     = "got_worse"
	unchanged = "no_change_shown"
)

// add counts one house.
func (w *WetNights) add(seen bool, wet, many, most int) {
	switch {
	case !seen:
		w.Unwatched++
	case wet == 0:
		w.None++
	case wet < many:
		w.Few++
	case wet < most:
		w.Many++
	default:
		w.Most++
	}
}

// Observed is how many houses are counted under a number of nights.
func (w WetNights) Observed() int { return w.None + w.Few + w.Many + w.Most }

func (a *Ages) add(made, now time.Time) {
	if made.IsZero() {
		a.None++
		return
	}
	switch age := now.Sub(made); {
	case age <= time.Hour:
		a.Hour++
	case age <= 24*time.Hour:
		a.Day++
	default:
		a.Older++
	}
	if a.Oldest.IsZero() || made.Before(a.Oldest) {
		a.Oldest = made.UTC()
	}
}

// among puts a house into the first few of an order; a tie goes by id.
func among(first []*roof.ListedHouse, h *roof.ListedHouse,
	by func(a, b *roof.ListedHouse) int) []*roof.ListedHouse {
	full := func(a, b *roof.ListedHouse) int { return cmp.Or(by(a, b), cmp.Compare(a.Case, b.Case)) }
	if len(first) == Longest && full(first[Longest-1], h) < 0 {
		return first
	}
	at, _ := slices.BinarySearchFunc(first, h, full)
	return slices.Insert(first[:min(len(first), Longest-1)], at, h)
}

// Figures are the counts of all that were added.
func (c *Counter) Figures() Figures {
	f := c.f
	f.Wettest, f.Unhelped, f.LongestSilent = ids(c.wettest), ids(c.unhelped), ids(c.silence)
	return f
}

func ids(houses []*roof.ListedHouse) []string {
	var out []string
	for _, h := range houses {
		out = append(out, h.Case)
	}
	return out
}
