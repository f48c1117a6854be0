package repair

import (
	"slices"

	"dewcase/internal/reason/evidence"
)

// LikeNights are the nights that count and had weather of which both periods had
// some: outdoor temperature and undercooling within the middle 96 % of the other
// period's. Of those after the repair it is the condition "like weather".
func (r *Result) LikeNights() (before, after []NightUse) {
	of := func(period string) (out []NightUse) {
		for _, n := range r.Nights {
			if n.Used && n.Period == period {
				out = append(out, n)
			}
		}
		return out
	}
	b, a := of("before"), of("after")
	within := func(nights, other []NightUse) (out []NightUse) {
		loC, hiC := middle(other, func(n NightUse) float64 { return n.OutdoorC })
		loK, hiK := middle(other, func(n NightUse) float64 { return n.ClearK })
		for _, n := range nights {
			if n.OutdoorC >= loC && n.OutdoorC <= hiC && n.ClearK >= loK && n.ClearK <= hiK {
				out = append(out, n)
			}
		}
		return out
	}
	if len(a) == 0 || len(b) == 0 {
		return nil, nil
	}
	return within(b, a), within(a, b)
}

// middle is the range that holds the middle 96 % of a figure of some nights.
func middle(nights []NightUse, of func(NightUse) float64) (lo, hi float64) {
	x := make([]float64, len(nights))
	for i, n := range nights {
		x[i] = of(n)
	}
	slices.Sort(x)
	return evidence.Quantile(x, 0.02), evidence.Quantile(x, 0.98)
}
