package repair

import (
	"math"
	"slices"

	"dewcase/internal/reason/evidence"
)

// threefold sets the three answers on wet hours and on hours at risk side by
// side. While a gate is shut the hours are given and no fall.
func (j *judge) threefold(l *look, c *CrossCheck) (wetHours, riskHours *Comparison) {
	t := l.trial
	wetHours = &Comparison{UnrepairedH: l.sample.without.wetH, ModelH: l.sample.with.wetH,
		MeasuredH: tenth(sumOver(j.m.wet, t.useA))}
	riskHours = &Comparison{UnrepairedH: l.sample.without.riskH, ModelH: l.sample.with.riskH,
		MeasuredH: tenth(sumOver(j.m.risk, t.useA))}
	if !l.open {
		return wetHours, riskHours
	}
	riskHours.Model = l.risk.given()
	riskHours.Measured = j.againstUnrepaired(l, riskHours, 1, func(o toll) float64 { return o.riskH })
	if !l.fewWet() {
		wetHours.Model = l.reduction.given()
		wetHours.Measured = j.againstUnrepaired(l, wetHours, 0, func(o toll) float64 { return o.wetH })
	}
	if c != nil {
		wetHours.Like, riskHours.Like = c.Wet, c.AtRisk
		wetHours.LikeNights, riskHours.LikeNights = c.Nights, c.Nights
	}
	wetHours.Disagree, riskHours.Disagree = wetHours.apart(), riskHours.apart()
	return wetHours, riskHours
}

// apart says that two of the three answers have no value in common.
func (c *Comparison) apart() bool {
	all := slices.DeleteFunc([]*Effect{c.Measured, c.Model, c.Like}, func(e *Effect) bool { return e == nil })
	for i, x := range all {
		for _, y := range all[:i] {
			if x.Low > y.High || y.Low > x.High {
				return true
			}
		}
	}
	return false
}

// Steps of the loggers' common error, in standard uncertainties, at which the
// measured hours are counted.
const (
	errorReach = 3.0
	errorStep  = 0.25
)

// againstUnrepaired is the fall from the unrepaired run to what was measured. Its
// interval takes in the draws of that run and the loggers' accuracy, whose error
// all half hours share.
func (j *judge) againstUnrepaired(l *look, c *Comparison, limitK float64, bare func(toll) float64) *Effect {
	steps := int(2*errorReach/errorStep) + 1
	hours := make([]float64, steps)
	for _, k := range l.trial.useA {
		u := j.marginErrorK(int(k))
		for i := range hours {
			if j.m.marginK[k]+(errorReach-float64(i)*errorStep)*u <= limitK {
				hours[i] += stepH
			}
		}
	}
	logs := make([]float64, len(l.sample.bare))
	for i, o := range l.sample.bare {
		at := (clamp(j.dice.g[i], -errorReach, errorReach) + errorReach) / errorStep
		logs[i] = math.Log((evidence.Quantile(hours, at/float64(steps-1)) + fewHours) / (bare(o) + fewHours))
	}
	slices.Sort(logs)
	return plain(c.MeasuredH, c.UnrepairedH, fall(evidence.Quantile(logs, 0.975)),
		fall(evidence.Quantile(logs, 0.025))).given()
}

// marginErrorK is the standard uncertainty of a measured margin from the stated
// accuracy of the loggers behind it; 0 where one is not stated.
func (j *judge) marginErrorK(k int) float64 {
	s := j.s
	air := s.airClimate()
	ts, ta, rh, ok := s.errors(k)
	if !ok {
		return 0
	}
	perK, perPct := evidence.LimitSlopes(air.tempC.v[k], air.pa.v[k], rhPct(air.tempC.v[k], air.pa.v[k]))
	return math.Sqrt(square(ts.Standard()) + square(perK*ta.Standard()) + square(perPct*rh.Standard()))
}
