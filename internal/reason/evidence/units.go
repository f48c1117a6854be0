package evidence

import (
	"slices"
	"time"

	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// Units that cannot be.
const (
	// fractionMax: no air of a house is drier than this in %RH throughout; a
	// humidity of 0 to 1 is a fraction, with a little over for wet probes.
	fractionMax = 1.5
	// fahrenheitMeanC: outdoor air and the air of rooms do not stay over it for
	// fahrenheitFor in any climate with roofs that sweat; in Fahrenheit it is 2 C.
	fahrenheitMeanC = 35.0
	fahrenheitFor   = 14 * 24 * time.Hour
	// besideMeanC is what another logger's mean lies over that speaks Fahrenheit
	// like one that certainly does: no loft or void of a cold season is so warm.
	besideMeanC = 25.0
	// dryRHPct and dryFor: rooms that people live in hold 15 %RH and more.
	dryRHPct = 5.0
	dryFor   = 3 * 24 * time.Hour

	minUnits = 8 // readings, before anything is doubted (common practice)
)

// UnitDoubt says why a logger's figures cannot be in the unit that they claim.
type UnitDoubt string

// The doubts.
const (
	Fraction   UnitDoubt = "humidity_as_fraction"
	Fahrenheit UnitDoubt = "temperature_in_fahrenheit"
	TooDry     UnitDoubt = "indoor_air_too_dry"
)

// Doubt is one logger whose figures cannot be.
type Doubt struct {
	Logger   string    `json:"logger"`
	Position string    `json:"position,omitempty"`
	Kind     UnitDoubt `json:"kind"`
	Value    float64   `json:"value" doc:"greatest humidity, %RH, or mean temperature, C"`
	Text     string    `json:"text" doc:"what cannot be, and what to do"`
	// Said and Step are the two halves of Text: what cannot be, and, as a clause,
	// what to do about it.
	Said string `json:"said"`
	Step string `json:"step"`
}

// Units gathers what a logger's readings say of their units.
type Units struct {
	rhMax, sum            float64
	rh, temps             int
	firstMS, lastMS       int64 // of temperatures
	dryFromMS, dryUntilMS int64
	dryN                  int
	driestMS              int64
}

// Humidity takes one humidity in %RH.
func (u *Units) Humidity(ms int64, rhPct float64) {
	if u.rh == 0 || rhPct > u.rhMax {
		u.rhMax = rhPct
	}
	u.rh++
	if rhPct >= dryRHPct {
		u.dryN = 0
		return
	}
	if u.dryN == 0 {
		u.dryFromMS, u.dryUntilMS = ms, ms
	}
	u.dryN++
	u.dryFromMS, u.dryUntilMS = min(u.dryFromMS, ms), max(u.dryUntilMS, ms)
	if d := u.dryUntilMS - u.dryFromMS; d > u.driestMS && u.dryN >= minUnits {
		u.driestMS = d
	}
}

// Temperature takes one temperature in C.
func (u *Units) Temperature(ms int64, tempC float64) {
	if u.temps == 0 {
		u.firstMS, u.lastMS = ms, ms
	}
	u.temps++
	u.sum += tempC
	u.firstMS, u.lastMS = min(u.firstMS, ms), max(u.lastMS, ms)
}

func (u *Units) meanC() float64 { return u.sum / float64(max(u.temps, 1)) }

// Doubt says which unit cannot be right at a place, and the value that shows it;
// ok is false where everything can.
func (u *Units) Doubt(place roof.Place) (kind UnitDoubt, value float64, ok bool) {
	switch {
	case u.rh >= minUnits && u.rhMax <= fractionMax:
		return Fraction, u.rhMax, true
	case (place == roof.OutdoorAir || place == roof.IndoorAir) && u.temps >= minUnits && u.meanC() > fahrenheitMeanC &&
		u.lastMS-u.firstMS >= fahrenheitFor.Milliseconds():
		return Fahrenheit, u.meanC(), true
	case place == roof.IndoorAir && u.driestMS >= dryFor.Milliseconds():
		return TooDry, dryRHPct, true
	}
	return "", 0, false
}

// Doubts lists the loggers of a record whose figures cannot be, in the order of
// the case file.
func Doubts(set *series.Set) []Doubt {
	var out []Doubt
	units := map[[2]string]*Units{}
	each := func(do func(c *series.Course, logger string, u *Units)) {
		for i := range set.Courses {
			c := &set.Courses[i]
			for _, s := range c.Stints {
				key := [2]string{c.Position.ID, s.Logger}
				if units[key] == nil {
					units[key] = unitsOf(c, s)
				}
				do(c, s.Logger, units[key])
			}
		}
	}
	fahrenheit := false
	each(func(c *series.Course, logger string, u *Units) {
		if kind, x, ok := u.Doubt(c.Position.Place); ok && !doubted(out, c.Position.ID, logger) {
			out = append(out, Doubt{Logger: logger, Position: c.Position.ID, Kind: kind, Value: x})
			fahrenheit = fahrenheit || kind == Fahrenheit
		}
	})
	if fahrenheit {
		each(func(c *series.Course, logger string, u *Units) {
			if u.temps >= minUnits && u.meanC() > besideMeanC && !doubted(out, c.Position.ID, logger) {
				out = append(out, Doubt{Logger: logger, Position: c.Position.ID, Kind: Fahrenheit, Value: u.meanC()})
			}
		})
	}
	return out
}

func doubted(all []Doubt, position, logger string) bool {
	return slices.ContainsFunc(all, func(d Doubt) bool { return d.Position == position && d.Logger == logger })
}

// unitsOf takes what a logger reported, its offsets taken off again.
func unitsOf(c *series.Course, s series.Stint) *Units {
	u := &Units{}
	for _, q := range []struct {
		track  series.Track
		offset float64
		take   func(int64, float64)
	}{{c.RHPct, s.Offset.RHPct, u.Humidity}, {c.TempC, s.Offset.TempC, u.Temperature}} {
		for i, ms := range q.track.AtMS {
			if ms >= s.FromMS && ms <= s.UntilMS {
				q.take(ms, q.track.Value[i]-q.offset)
			}
		}
	}
	return u
}

// Undoubted returns the record without what the doubted loggers measured.
func Undoubted(set *series.Set, doubts []Doubt) *series.Set {
	out := *set
	out.Courses = slices.Clone(set.Courses)
	for i := range out.Courses {
		c := &out.Courses[i]
		if slices.ContainsFunc(doubts, func(d Doubt) bool { return d.Position == c.Position.ID }) {
			*c = series.Course{Position: c.Position, Excluded: c.Excluded, Flagged: c.Flagged}
		}
	}
	return &out
}
