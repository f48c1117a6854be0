package repair

import (
	"fmt"
	"math"

	"dewcase/internal/reason/evidence"
)

// needsDraws are enough to split a variance.
const needsDraws = 80

// needs says what would make the answer firm: nights, or what nights cannot
// give.
func (j *judge) needs(l *look) string {
	d := newDrawer(l.fit, l.bare)
	posterior := d.sample(j.dice, needsDraws, spread{})
	p := posterior.riskSD * posterior.riskSD
	all := l.sample.riskSD * l.sample.riskSD
	s := math.Max(all-p, 0)
	z := 1.96
	if j.strict() {
		z = 2.58
	}
	effect := math.Abs(evidence.Quantile(l.sample.riskBeyond, 0.5))
	cold := j.coldNights(l)
	swap := ""
	if j.swapNear {
		swap = "; check the old and new logger side by side"
	}
	if effect < 0.05 {
		return "no change of a size that more nights would make certain shows so far" + swap
	}
	if z*math.Sqrt(s) >= effect {
		return "more nights of this winter will not make it firm; a second winter, an untouched bay with loggers, or " +
			"loggers checked against a salt would" + swap
	}
	if z*math.Sqrt(s+p) < effect {
		return "the same answer on more evenings running, with the counted hours agreeing" + swap
	}
	if j.winterOver(l) {
		return "the nights of next winter" + swap
	}
	n := float64(max(cold, 1))
	v := effect / z
	m := n*p/(v*v-s) - n
	count := int(math.Ceil(m/5) * 5)
	return fmt.Sprintf("about %d more cold nights", max(count, 5)) + swap
}

// coldNights are the nights after with at least 1 h wet in the run without the
// repair.
func (j *judge) coldNights(l *look) int {
	t := l.trial
	n := 0
	for _, i := range t.validA {
		if t.count(l.bare, l.without, t.binsOf(i)).wetH >= coldNightWetH {
			n++
		}
	}
	return n
}

// winterOver says that the last ten nights were mild.
func (j *judge) winterOver(l *look) bool {
	sum, n := 0.0, 0
	for i := len(j.s.nights) - 1; i >= 0 && n < 10; i-- {
		if nt := j.s.nights[i]; nt.until <= l.end && nt.until > nt.from {
			sum, n = sum+nt.outC, n+1
		}
	}
	return n > 0 && sum/float64(n) > winterOverC
}
