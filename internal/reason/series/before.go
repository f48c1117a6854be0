package series

import (
	"slices"
	"sort"
)

// Before returns the set as it would stand on the readings earlier than a time:
// what came later has no part in it.
func (s *Set) Before(ms int64) *Set {
	out := *s
	out.UntilMS = min(s.UntilMS, ms)
	out.Courses = slices.Clone(s.Courses)
	for i := range out.Courses {
		c := &out.Courses[i]
		for _, t := range []*Track{&c.TempC, &c.RHPct, &c.VapourPa, &c.WoodPct, &c.WindMS, &c.SunWM2, &c.RainMM} {
			*t = t.before(ms)
		}
		c.Stints = slices.DeleteFunc(slices.Clone(c.Stints), func(x Stint) bool { return x.FromMS >= ms })
		for k := range c.Stints {
			c.Stints[k].UntilMS = min(c.Stints[k].UntilMS, ms)
		}
	}
	return &out
}

func (t Track) before(ms int64) Track {
	n := sort.Search(len(t.AtMS), func(i int) bool { return t.AtMS[i] >= ms })
	if n == len(t.AtMS) {
		return t
	}
	s := Track{t.AtMS[:n:n], t.Value[:n:n], slices.Clone(t.Joined[:n])}
	if n > 0 {
		s.Joined[n-1] = false
	}
	return s
}
