package mould

import "math"

// WeeksToOne lets the published table be held against the growth time.
var WeeksToOne = weeksToOne

// DaysTo is the time in days to an index from 0 at constant conditions; ok is
// false where it is never reached.
func (p Parameters) DaysTo(index, tempC, rhPct float64) (days float64, ok bool) {
	most := p.LargestIndex(tempC, rhPct)
	if tempC <= 0 || index >= most {
		return 0, false
	}
	perDay := 2.3 / (7 * weeksToOne(math.Min(tempC, 50), rhPct))
	days = reach(0, math.Min(index, 1), most) / (perDay * p.K1Below)
	if index > 1 {
		days += reach(1, index, most) / (perDay * p.K1From)
	}
	return days, true
}
