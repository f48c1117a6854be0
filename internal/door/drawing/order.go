package drawing

import (
	"cmp"
	"slices"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
)

// Order lists the surfaces as every page and the report do: those that speak
// for the house by their wet hours, then the others.
func Order(c *roof.Case, a assessment.Answer) []roof.Position {
	wet := func(s roof.Position) float64 {
		for _, of := range a.Surfaces {
			if of.Surface == s.ID && of.HoursCondensing != nil {
				return *of.HoursCondensing
			}
		}
		return -1
	}
	own := map[string]int{}
	for _, s := range c.RepresentativeSurfaces() {
		own[s.ID] = 1
	}
	out := c.Surfaces()
	slices.SortStableFunc(out, func(x, y roof.Position) int {
		return cmp.Or(own[y.ID]-own[x.ID], cmp.Compare(wet(y), wet(x)))
	})
	return out
}

// Turn is a surface's place in that order.
func Turn(c *roof.Case, a assessment.Answer) func(surface string) int {
	at := map[string]int{}
	for i, s := range Order(c, a) {
		at[s.ID] = i
	}
	return func(surface string) int { return at[surface] }
}

// InOrder are the indices of n things that belong to surfaces, in that order.
func InOrder(c *roof.Case, a assessment.Answer, n int, surface func(int) string) []int {
	turn := Turn(c, a)
	return sorted(n, func(x, y int) int { return turn(surface(x)) - turn(surface(y)) })
}

// ResultsInOrder are the indices of the answer's results: what can be said comes
// first, the latest repair with a verdict, at the surface that every page begins
// with.
func ResultsInOrder(c *roof.Case, a assessment.Answer) []int {
	turn := Turn(c, a)
	early := map[repair.Verdict]int{repair.TooEarly: 1}
	return sorted(len(a.Repairs), func(i, k int) int {
		x, y := a.Repairs[i], a.Repairs[k]
		return cmp.Or(early[x.Verdict]-early[y.Verdict], y.At.Compare(x.At), turn(x.Surface)-turn(y.Surface))
	})
}

func sorted(n int, compare func(x, y int) int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	slices.SortStableFunc(out, compare)
	return out
}
