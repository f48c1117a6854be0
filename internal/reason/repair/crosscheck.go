package repair

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/words"
)

const (
	matchCount = 3   // nights before set against each night after
	matchReach = 1.5 // standard deviations, each feature, to its nearest
	bootBlock  = 4   // nights drawn together, since weather comes in spells
	bootDraws  = 200
	minMatched = 8
	minCounted = 20.0 // h, of either quantity
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
	obs, exp, n := likened(before, after, scale)
	c.Nights = n
	var draws [2][]float64
	for range bootDraws {
		o, e, n := likened(blocks(before, rng), blocks(after, rng), scale)
		for q := range draws {
			if n >= minMatched && o[q]+e[q] >= minCounted {
				draws[q] = append(draws[q], math.Log((o[q]+fewHours)/(e[q]+fewHours)))
			}
		}
	}
	var falls [2]*Effect
	for q := range draws {
		slices.Sort(draws[q])
		if n >= minMatched && obs[q]+exp[q] >= minCounted && exp[q] > 0 && len(draws[q]) > 0 {
			falls[q] = plain(obs[q], exp[q], fall(evidence.Quantile(draws[q], 0.975)),
				fall(evidence.Quantile(draws[q], 0.025))).given()
		}
	}
	c.Wet, c.AtRisk = falls[wet], falls[atRisk]
	var counted words.Change
	if e := c.AtRisk; e != nil {
		counted = words.Change{What: words.RiskHours, Pct: &e.Pct, Low: &e.Low, High: &e.High}
		c.Agrees = l.risk.low <= e.High && e.Low <= l.risk.high
	}
	c.Text = words.LikeNights(n, counted, l.risk.said(words.RiskHours), c.Agrees)
	return c
}

// counted is measured hours: wet, and at risk.
type counted [2]float64

const (
	wet = iota
	atRisk
)

// alike is one night as the comparison sees it.
type alike struct {
	x [4]float64
	h counted
}

// likened sums up the measured hours of the nights after that have a like before,
// and those of their likes.
func likened(before, after []alike, scale [4]float64) (obs, exp counted, n int) {
	for _, x := range after {
		y, ok := matched(x, before, scale)
		if !ok {
			continue
		}
		for q := range obs {
			obs[q], exp[q] = obs[q]+x.h[q], exp[q]+y[q]
		}
		n++
	}
	return obs, exp, n
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
				a.h[wet] += j.m.wet[k] * stepH
				a.h[atRisk] += j.m.risk[k] * stepH
				seen++
			}
		}
		if count == 0 || seen == 0 {
			continue
		}
		a.h[wet], a.h[atRisk] = a.h[wet]*count/seen, a.h[atRisk]*count/seen
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
func matched(x alike, pool []alike, scale [4]float64) (counted, bool) {
	var best [matchCount]float64
	var hours [matchCount]counted
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
				best[i], hours[i] = d, b.h
				break
			}
		}
	}
	var mean counted
	n := 0.0
	for i := range best {
		if !math.IsInf(best[i], 1) {
			mean[wet], mean[atRisk], n = mean[wet]+hours[i][wet], mean[atRisk]+hours[i][atRisk], n+1
		}
	}
	return counted{mean[wet] / math.Max(n, 1), mean[atRisk] / math.Max(n, 1)}, n > 0
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
