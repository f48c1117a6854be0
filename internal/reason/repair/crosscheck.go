package repair

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
)

const (
	matchCount    = 3   // nights before set against each night after
	matchReach    = 1.5 // standard deviations, each feature, to its nearest
	bootBlock     = 4   // nights drawn together, since weather comes in spells
	bootDraws     = 200
	leastMatched  = 8
	leastRiskHour = 20.0
)

// cross compares nights without any model: each night after the repair with the
// nights before most like it in outdoor temperature, clearness, outdoor dryness
// and vapour indoors. It knows nothing of timber that dries or of what lies on
// the roof already, so it may well differ; it stands beside the answer as a
// check made by other means.
func (j *judge) cross(l *look) *CrossCheck {
	c := &CrossCheck{Method: "nights after the repair against the most alike nights before, measured hours at risk, " +
		"blocks of nights redrawn"}
	t := l.trial
	before, after := j.features(t.validB), j.features(t.validA)
	scale := spreads(before)
	seed := fnv.New64a()
	seed.Write([]byte("cross/" + j.s.set.Case.ID)) // never fails (hash.Hash)
	rng := rand.New(rand.NewPCG(seed.Sum64(), 0x51ed270b))
	whole := func(b, a []alike) (ratio float64, n int, ok bool) {
		obs, exp := 0.0, 0.0
		for _, x := range a {
			if y, ok := matched(x, b, scale); ok {
				obs, exp, n = obs+x.riskH, exp+y, n+1
			}
		}
		return math.Log((obs + fewHours) / (exp + fewHours)), n, n >= leastMatched && exp+obs >= leastRiskHour
	}
	est, n, ok := whole(before, after)
	c.Nights = n
	if !ok {
		c.Text = fmt.Sprintf("the nights cannot be compared directly: %s after the repair had a like before it",
			plural(n, "night", "nights"))
		return c
	}
	var draws []float64
	for range bootDraws {
		if x, _, ok := whole(blocks(before, rng), blocks(after, rng)); ok {
			draws = append(draws, x)
		}
	}
	slices.Sort(draws)
	lo, hi := fall(quantile(draws, 0.975)), fall(quantile(draws, 0.025))
	f := fall(est)
	c.FallPct, c.LowPct, c.HighPct = ptr(f), ptr(lo), ptr(hi)
	c.Agrees = l.risk.low <= hi && lo <= l.risk.high
	c.Text = fmt.Sprintf("set night against like night (%d of them), measured hours at risk %s", n,
		effect{f, lo, hi}.sentence())
	if c.Agrees {
		c.Text += "; the two intervals overlap"
	} else {
		c.Text += "; the two disagree: the answer, which follows the drying of timber and the films too, says that they " +
			l.risk.sentence()
	}
	return c
}

// alike is one night as the comparison sees it.
type alike struct {
	x     [4]float64
	riskH float64
}

func (j *judge) features(nights []int) []alike {
	s := j.s
	air, sfc := s.airClimate(), s.surfaceTemp()
	out := make([]alike, 0, len(nights))
	for _, i := range nights {
		n := s.nights[i]
		var a alike
		count, seen := 0.0, 0.0
		for k := n.from; k < n.until; k++ {
			a.x[2] += s.out.tempC.v[k] - dewPointC(s.out.pa.v[k])
			a.x[3] += s.in.pa.v[k] - s.out.pa.v[k]
			count++
			if air.pa.seen[k] && sfc.seen[k] {
				a.riskH += j.m.risk[k] * stepH
				seen++
			}
		}
		if count == 0 || seen == 0 {
			continue
		}
		a.riskH *= count / seen
		a.x[0], a.x[1], a.x[2], a.x[3] = n.outC, n.clearK, a.x[2]/count, a.x[3]/count
		out = append(out, a)
	}
	return out
}

func spreads(a []alike) (sd [4]float64) {
	for k := range sd {
		v := make([]float64, len(a))
		for i := range a {
			v[i] = a[i].x[k]
		}
		_, sd[k] = meanSD(v)
		sd[k] = math.Max(sd[k], 0.1)
	}
	return sd
}

// matched is the mean of the nights most like x, and false where none is.
func matched(x alike, pool []alike, scale [4]float64) (float64, bool) {
	var best [matchCount]float64
	var hours [matchCount]float64
	for i := range best {
		best[i] = math.Inf(1)
	}
	for _, b := range pool {
		d, near := 0.0, true
		for k := range x.x {
			z := (x.x[k] - b.x[k]) / scale[k]
			near = near && math.Abs(z) <= matchReach
			d += z * z
		}
		if !near {
			continue
		}
		for i := range best {
			if d < best[i] {
				copy(best[i+1:], best[i:])
				copy(hours[i+1:], hours[i:])
				best[i], hours[i] = d, b.riskH
				break
			}
		}
	}
	sum, n := 0.0, 0.0
	for i := range best {
		if !math.IsInf(best[i], 1) {
			sum, n = sum+hours[i], n+1
		}
	}
	if n == 0 {
		return 0, false
	}
	return sum / n, true
}

// blocks redraws nights in runs, round the end.
func blocks(a []alike, rng *rand.Rand) []alike {
	out := make([]alike, 0, len(a)+bootBlock)
	for len(out) < len(a) {
		at := rng.IntN(len(a))
		for k := range bootBlock {
			out = append(out, a[(at+k)%len(a)])
		}
	}
	return out[:len(a)]
}
