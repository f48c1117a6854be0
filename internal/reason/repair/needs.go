package repair

import (
	"math"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/words"
)

// needsDraws are enough to split a variance.
const needsDraws = 80

// needs says what would make the answer firm: nights, or what nights cannot
// give.
func (j *judge) needs(l *look) string {
	return j.need(l).String()
}

func (j *judge) need(l *look) words.Need {
	d := newDrawer(l.fit, l.bare)
	posterior := d.sample(j.dice, needsDraws, spread{})
	p := posterior.riskSD * posterior.riskSD
	all := l.sample.riskSD * l.sample.riskSD
	s := math.Max(all-p, 0)
	z := evidence.Z95
	if j.strict() {
		z = evidence.Z99
	}
	effect := math.Abs(evidence.Quantile(l.sample.riskBeyond, 0.5))
	cold := j.coldNights(l)
	need := words.Need{Exchanged: j.swapNear}
	n := float64(max(cold, 1))
	v := effect / z
	way := math.Copysign(1, l.risk.pct)
	switch {
	case !j.ceilingLeans(l, way) && j.certain(l):
		need.Kind = words.ColderLoft
	case effect < 0.05, !j.ceilingStands(l, way) && j.certain(l):
		need.Kind = words.LargerChange
	case z*math.Sqrt(s) >= effect:
		need.Kind = words.SecondWinter
	case z*math.Sqrt(s+p) < effect:
		need.Kind = words.MoreEvenings
	case j.winterOver(l):
		need.Kind = words.NextWinter
	default:
		need.Kind, need.Least = words.ColdNights, max(int(math.Ceil((n*p/(v*v-s)-n)/5)*5), 5)
	}
	return need
}

// coldNights are the nights after that would have been wet ones in the run without the
// repair.
func (j *judge) coldNights(l *look) int {
	t := l.trial
	n := 0
	for _, i := range t.validA {
		if t.count(l.bare, l.without, t.binsOf(i)).wetH >= evidence.WetNightHours {
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
