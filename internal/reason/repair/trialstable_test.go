//go:build trials

package repair

import (
	"fmt"
	"math"
	"strings"
)

// outcome is what became of one simulated winter over all its looks.
type outcome struct {
	wet, risk, water             float64 // true falls at the last look
	workedAt, worseAt            int     // nights after at the first firm evening, 0 never
	ownAt, houseAt               int     // the same by the surface alone, and of the house
	open                         bool    // gates at the last look
	reduction, atRisk, condensed effect
}

// wilson is the 95 % interval of a share (Wilson 1927).
func wilson(k, n int) (low, high float64) {
	if n == 0 {
		return 0, 1
	}
	const z = 1.96
	p, m := float64(k)/float64(n), float64(n)
	den := 1 + z*z/m
	c := (p + z*z/(2*m)) / den
	h := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m)) / den
	return math.Max(c-h, 0), math.Min(c+h, 1)
}

func share(k, n int) string {
	lo, hi := wilson(k, n)
	return fmt.Sprintf("%d/%d %.0f %% [%.0f, %.0f]", k, n, 100*float64(k)/float64(max(n, 1)), 100*lo, 100*hi)
}

// table is the operating figures by true fall and nights after.
func table(all []outcome) string {
	var b strings.Builder
	for _, band := range []struct {
		name     string
		from, to float64
	}{{"true fall of wet hours 50 % and more", 0.5, 9}, {"40 % and more", 0.4, 9}, {"20 to 40 %", 0.2, 0.4},
		{"5 to 20 %", 0.05, 0.2},
		{"within 5 %", -0.05, 0.05}, {"a rise", -1e9, -0.05}} {
		n, worse := 0, 0
		by := map[int]int{22: 0, 30: 0, 42: 0, 58: 0}
		for _, o := range all {
			if o.wet < band.from || o.wet >= band.to {
				continue
			}
			n++
			worse += int(step(o.worseAt > 0))
			for up := range by {
				by[up] += int(step(o.workedAt > 0 && o.workedAt <= up))
			}
		}
		if n > 0 {
			fmt.Fprintf(&b, "%s, n = %d: worked by 22 nights %s, 30 %s, 42 %s, 58 %s; got worse %s\n", band.name,
				n, share(by[22], n), share(by[30], n), share(by[42], n), share(by[58], n), share(worse, n))
		}
	}
	for _, q := range []struct {
		name string
		get  func(outcome) (effect, float64)
	}{{"wet hours", func(o outcome) (effect, float64) { return o.reduction, o.wet }},
		{"at-risk hours", func(o outcome) (effect, float64) { return o.atRisk, o.risk }},
		{"condensed water", func(o outcome) (effect, float64) { return o.condensed, o.water }}} {
		n, k := 0, 0
		bias, abs := 0.0, 0.0
		for _, o := range all {
			if !o.open {
				continue
			}
			e, truth := q.get(o)
			n++
			k += int(step(e.low <= 100*truth && 100*truth <= e.high))
			bias += e.pct/100 - truth
			abs += math.Abs(e.pct/100 - truth)
		}
		if n > 0 {
			fmt.Fprintf(&b, "%s: the 95 %% interval covers the truth %s, mean error %+.3f, mean absolute %.3f\n", q.name,
				share(k, n), bias/float64(n), abs/float64(n))
		}
	}
	return b.String()
}
