package words

import (
	"fmt"
	"time"
)

// SeenPart is what loggers measured at a surface on the nights of one side of a work.
type SeenPart struct {
	Nights           Nights
	MarginLowK       float64 // a tenth of the hours observed had less
	MarginMidK       float64
	MarginHighK      float64 // a tenth had more
	SurfaceC         float64 // mean of the surface
	LoftPct          *float64
	LoftPa, IndoorPa *float64 // mean vapour pressures over the same hours
}

// OnlySeen is what was measured before a work and since, where nothing outdoors was:
// an observation, never a verdict.
type OnlySeen struct {
	At            time.Time
	Zone          *time.Location
	Where         string // under the covering
	Before, Since SeenPart
	OtherWeather  bool // since than before
}

// Lines are the observations, a sentence each, and last what they cannot say.
func (s OnlySeen) Lines() []string {
	b, a := s.Before, s.Since
	if b.Nights.Observed == 0 || a.Nights.Observed == 0 {
		return nil
	}
	out := []string{
		fmt.Sprintf("Only measured, and no verdict: %s it was %s before the work of %s, and %s since.", s.Where,
			b.Nights, Date(s.At, s.Zone), a.Nights),
		fmt.Sprintf("The margin stood at %s K in the middle of those nights’ hours before (a tenth of them under %s K, a "+
			"tenth over %s K) and at %s K since (under %s K, over %s K).", Signed(b.MarginMidK), Signed(b.MarginLowK),
			Signed(b.MarginHighK), Signed(a.MarginMidK), Signed(a.MarginLowK), Signed(a.MarginHighK)),
	}
	if b.LoftPct != nil && a.LoftPct != nil {
		out = append(out, fmt.Sprintf("The loft’s air carried %s %% of the vapour of the house’s air before (%s of %s Pa) "+
			"and %s %% since (%s of %s Pa).", Whole(*b.LoftPct), Whole(*b.LoftPa), Whole(*b.IndoorPa), Whole(*a.LoftPct),
			Whole(*a.LoftPa), Whole(*a.IndoorPa)))
	}
	weather := fmt.Sprintf("the surface itself averaged %s °C on the nights before and %s °C on those since",
		Signed(b.SurfaceC), Signed(a.SurfaceC))
	if s.OtherWeather {
		weather += ", so that the weather was not alike"
	}
	return append(out, "They cannot say what the work did: without outdoor air, other weather or another household "+
		"reads the same ("+weather+").")
}
