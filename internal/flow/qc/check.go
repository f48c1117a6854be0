// Package qc checks readings. It rejects impossible readings with a reason and
// flags doubtful ones; it corrects and deletes nothing.
package qc

import (
	"fmt"
	"math"
	"time"

	"dewcase/internal/roof"
)

// The limits of rejection (contract, section 2).
const (
	minTempC = -90.0
	maxTempC = 100.0
	minRHPct = 0.0
	maxRHPct = 105.0
	maxAhead = 24 * time.Hour
)

// earliest is the first time that a reading can bear (contract, section 2).
var earliest = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// The limits of flags.
const (
	// saturatedPct is the limit of a humidity sensor: at it, more moisture
	// shows no more (design, Risk at a surface).
	saturatedPct = 100.0
	// Common practice: battery loggers for houses are specified for -40..85 C
	// and 0..100 %RH.
	makerMinTempC = -40.0
	makerMaxTempC = 85.0
	// clockDrift is how far ahead of its arrival a reading may be dated before
	// it is shown; common practice: a crystal strays 20 to 50 ppm, some 2 min
	// a month.
	clockDrift = 2 * time.Minute
	// clockAhead is how far ahead it may be before its clock is taken as
	// wrong: no drift reaches an hour, a wrong zone or a reset clock does
	// (common practice).
	clockAhead = 55 * time.Minute
)

// further are the plausible ranges of the quantities that are not judged by
// rejection; beyond them a reading is stored and flagged.
var further = [roof.QuantityCount][2]float64{
	roof.BatteryPct: {0, 100},
	// since the last report; WMO-No. 8 part I ch. 6: 2000 mm/h is the instrument's limit; from memory
	roof.RainMM:  {0, 500},
	roof.WoodPct: {0, 200},    // a sodden softwood reaches some 200 % of its dry mass; common practice
	roof.WindMS:  {0, 75},     // AWS gross-error limit of WMO QC guidelines (2004); from memory
	roof.SunWM2:  {-20, 1600}, // night offset of a pyranometer, and the same guidelines' upper limit; from memory
}

// Rejection says why a reading cannot be used.
type Rejection struct {
	Reason   roof.Reason
	Quantity roof.Quantity // what it concerns, unless OfTime
	OfTime   bool
	Detail   string // what was wrong and what would be right
}

// Check judges one reading on arrival by itself: it returns the reading's flags
// with those added that its own values and time give, or why it is rejected.
// now is the time of arrival.
//
// Rejected: a value that is no finite number; temperature outside -90..100 C;
// humidity outside 0..105 %RH; nothing measured, where a battery alone is nothing;
// a time before 2000 or more than 24 h after now (contract, section 2). Everything
// else is stored: a moisture meter's spot or a rain gauge has no temperature. A
// further quantity outside its plausible range is flagged, not rejected.
func Check(r roof.Reading, now time.Time) (roof.Flags, *Rejection) {
	flags := r.Flags
	for q := range roof.Quantity(roof.QuantityCount) {
		x, ok := r.Values.Get(q)
		if !ok {
			continue
		}
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return flags, &Rejection{Reason: roof.NotFinite, Quantity: q,
				Detail: fmt.Sprintf("%s is not a finite number; leave out what was not measured", q)}
		}
		if limits, judged := limitsOf(q); judged && (x < limits[0] || x > limits[1]) {
			flags |= roof.FlagMakerRange
		}
	}
	t, hasT := r.Values.Get(roof.TempC)
	rh, hasRH := r.Values.Get(roof.RHPct)
	switch {
	case hasT && (t < minTempC || t > maxTempC):
		return flags, &Rejection{Reason: roof.TempOutOfRange, Quantity: roof.TempC,
			Detail: fmt.Sprintf("temp_c %v cannot be; from %v to %v °C is taken", t, minTempC, maxTempC)}
	case hasRH && (rh < minRHPct || rh > maxRHPct):
		return flags, &Rejection{Reason: roof.RHOutOfRange, Quantity: roof.RHPct,
			Detail: fmt.Sprintf("rh_pct %v cannot be; from %v to %v %%RH is taken", rh, minRHPct, maxRHPct)}
	case !r.Values.Measured():
		return flags, &Rejection{Reason: roof.NoQuantity, Quantity: roof.TempC,
			Detail: "neither temp_c nor rh_pct was measured, nor rain_mm, wood_pct, wind_ms or sun_w_m2; at least one of " +
				"them is needed, and battery_pct is none"}
	case r.At.Before(earliest):
		return flags, &Rejection{Reason: roof.TimeTooOld, OfTime: true,
			Detail: fmt.Sprintf("the time %s is before 2000; set the logger's clock", stamp(r.At))}
	case r.At.After(now.Add(maxAhead)):
		return flags, &Rejection{Reason: roof.TimeAhead, OfTime: true,
			Detail: fmt.Sprintf("the time %s is more than 24 h ahead of %s; set the logger's clock", stamp(r.At), stamp(now))}
	}
	if hasRH && rh >= saturatedPct {
		flags |= roof.FlagSaturated
		if rh > 100 {
			flags |= roof.FlagOverRange
		}
	}
	switch ahead := r.At.Sub(now); {
	case ahead > clockAhead:
		flags |= roof.FlagFutureTime | roof.FlagClockWrong
	case ahead > clockDrift:
		flags |= roof.FlagFutureTime
	}
	return flags, nil
}

func limitsOf(q roof.Quantity) ([2]float64, bool) {
	if q == roof.TempC {
		return [2]float64{makerMinTempC, makerMaxTempC}, true
	}
	return further[q], further[q] != [2]float64{}
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }
