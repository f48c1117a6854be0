package repair

import (
	"fmt"
	"time"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// household says what the people below did that the answer takes into account,
// or cannot.
func (j *judge) household() []string {
	var out []string
	s := j.s
	if s.hasIn {
		b, nb := s.excess(0, s.repairBin)
		a, na := s.excess(s.repairBin, s.n)
		if nb > 48 && na > 48 {
			out = append(out, words.HouseholdAir(b, a))
		}
	}
	for _, e := range s.set.Case.Events {
		ms := e.At.UnixMilli()
		if e.Kind != roof.Note || ms < s.fromMS || ms >= s.untilMS() {
			continue
		}
		word := "taken into account as far as it shows in the indoor logger"
		if !s.hasIn {
			word = "not taken into account, for want of an indoor logger"
		}
		out = append(out, fmt.Sprintf("noted on %s: “%s”; %s", day0(s.set.Case, e.At), e.What, word))
	}
	return out
}

// excess is the mean vapour pressure indoors over outdoors, and of how many
// half hours.
func (s *site) excess(from, to int) (pa float64, n int) {
	for k := from; k < to; k++ {
		if s.in.pa.seen[k] && s.out.pa.seen[k] {
			pa, n = pa+s.in.pa.v[k]-s.out.pa.v[k], n+1
		}
	}
	if n > 0 {
		pa /= float64(n)
	}
	return pa, n
}

// againstOutdoors is what can still be said where nobody measured before the
// work: how the surface fares against what outdoor air alone would do to it.
func (a *assessor) againstOutdoors(r *Result, e roof.Event, surfaceID string) {
	const day = int64(24 * time.Hour / time.Millisecond)
	s, err := newSite(a.set, e, surfaceID, a.set.FromMS, min(a.set.UntilMS, a.set.FromMS+maxNightsAfter*day), a.cache)
	if err != nil {
		return
	}
	air, sfc := s.airClimate(), s.surfaceTemp()
	seen, wet, outdoors := 0.0, 0.0, 0.0
	for k := range s.n {
		if !air.pa.seen[k] || !sfc.seen[k] || !s.out.pa.seen[k] {
			continue
		}
		seen += stepH
		wet += stepH * step(sfc.v[k] <= psychro.LimitC(air.pa.v[k]))
		outdoors += stepH * step(sfc.v[k] <= psychro.LimitC(s.out.pa.v[k]))
	}
	if seen > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("since the record began the surface was wet for %.0f of %.0f h; outdoor "+
			"air alone would have wetted it for %.0f h. That shows how the roof fares now, not what the work changed",
			wet, seen, outdoors))
	}
}
