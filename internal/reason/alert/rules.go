package alert

import (
	"time"

	"dewcase/internal/physics/timber"
	"dewcase/internal/roof"
)

// Rule is when a condition is raised and cleared. Between Raise and Clear lies
// the band in which nothing changes.
type Rule struct {
	Raise, Clear  float64
	Falling       bool // raised at or below Raise, cleared at or above Clear
	For, ClearFor time.Duration
	Fresh         time.Duration // evidence older than this is about the past
	Reopen        time.Duration // within this of its clearing it is the same alert
	Worse         float64       // a rise by this factor is worth another message
	Household     bool          // may reach the household
	Consultant    bool          // reaches the consultant when raised
}

// Rules are the rules of one case.
type Rules map[Condition]Rule

func (r Rule) over(x float64) bool {
	if r.Falling {
		return x <= r.Raise
	}
	return x >= r.Raise
}

func (r Rule) under(x float64) bool {
	if r.Falling {
		return x >= r.Clear
	}
	return x <= r.Clear
}

func (r Rule) worse(a, b float64) float64 {
	if r.Falling {
		return min(a, b)
	}
	return max(a, b)
}

// worsened reports whether a value is worse than the one that was told by
// enough to tell again.
func (r Rule) worsened(told, x float64) bool {
	if r.Worse == 0 {
		return false
	}
	if r.Falling {
		return x < told/r.Worse
	}
	return x > told*r.Worse
}

// Defaults of the thresholds that a case file can set.
const (
	DefaultWetHours   = 1.0 / 3 // h of water in one wetting: two readings of a ten-minute logger
	defaultWetNights  = 3       // of the last seven
	defaultTimberPct  = timber.CeilingPct
	defaultMouldIndex = 1.0 // growth under the microscope (Viitanen & Ritschkoff 1991)
	defaultSilentH    = 24.0
	defaultBatteryPct = 15.0
	defaultEscalateH  = 72.0
	// HouseholdMould is the index from which the household is told: growth that
	// can be seen, and the limit of ANSI/ASHRAE 160-2016.
	HouseholdMould = 3.0
)

func or(x, fallback float64) float64 {
	if x > 0 {
		return x
	}
	return fallback
}

// RulesOf returns the rules with the case's own thresholds.
func RulesOf(s roof.AlertSettings) Rules {
	const h = time.Hour
	wet, nights := or(s.WetHours, DefaultWetHours), or(float64(s.WetNights), defaultWetNights)
	timber, mould := or(s.TimberPct, defaultTimberPct), or(s.MouldIndex, defaultMouldIndex)
	silent, battery := or(s.SilentH, defaultSilentH), or(s.BatteryPct, defaultBatteryPct)
	return Rules{
		// A wetting clears after two dry hours: water on the surface is gone from
		// sight by then, and evening and morning dew of one night stay one alert.
		// Margin 0 K (design); 20 minutes keep a single reading from ringing (this
		// program's choice).
		SurfaceWet: {Raise: wet, Clear: 0, ClearFor: 2 * h, Fresh: 3 * h, Reopen: 18 * h, Household: true},
		// Three wet nights of seven: more than a cold snap (common practice).
		WetNights: {Raise: nights, Clear: max(nights-2, 0), Fresh: 36 * h, ClearFor: 24 * h, Reopen: 14 * 24 * h, Worse: 1.6,
			Household: true, Consultant: true},
		// A smooth slope holds 50 to 100 g/m² before it drips; half of that, because
		// screws and laps gather it (common practice, from memory).
		FrostMelting: {Raise: 30, Clear: 5, ClearFor: 6 * h, Fresh: 6 * h, Reopen: 12 * h, Worse: 2.5, Household: true},
		// Viitanen & Ritschkoff 1991; ANSI/ASHRAE 160-2016 asks for less than 3.
		MouldRising: {Raise: mould, Clear: mould - 0.3, ClearFor: 7 * 24 * h, Fresh: 72 * h, Reopen: 60 * 24 * h, Worse: 1.5,
			Household: true, Consultant: true},
		// 20 %: usual trade ceiling; a week, because a batten follows its air in about
		// a week.
		TimberWet: {Raise: timber, Clear: timber - 1.5, For: 7 * 24 * h, ClearFor: 3 * 24 * h, Fresh: 72 * h,
			Reopen: 30 * 24 * h, Worse: 1.2, Household: true, Consultant: true},
		// Five robust standard deviations of this roof's own days (this program's
		// choice).
		SuddenWetting: {Raise: 1, Clear: 0.5, For: 6 * h, ClearFor: 24 * h, Fresh: 12 * h, Reopen: 7 * 24 * h, Worse: 2,
			Household: true, Consultant: true},
		// The verdict as the repair method gives it, standing for two days.
		RepairFailing: {Raise: 1, Clear: 0, For: 48 * h, ClearFor: 48 * h, Fresh: 72 * h, Reopen: 30 * 24 * h,
			Household: true, Consultant: true},
		// What the work changed, as package mechanism finds it after 30 nights or more,
		// standing for two days. It is a question to who did the work: a consultant's
		// matter.
		WorkUnseen: {Raise: 1, Clear: 0, For: 48 * h, ClearFor: 48 * h, Fresh: 72 * h, Reopen: 365 * 24 * h,
			Consultant: true},
		// A day without a word is more than a flat battery's hiccup (common practice).
		LoggerSilent: {Raise: silent, Clear: min(silent/4, 3), Fresh: 365 * 24 * h, Reopen: 24 * h, Worse: 7,
			Consultant: true},
		// Cells lose voltage in the cold and recover by day: half a day (cell makers,
		// from memory).
		BatteryLow: {Raise: battery, Clear: battery + 10, Falling: true, For: 12 * h, ClearFor: 12 * h, Fresh: 7 * 24 * h,
			Reopen: 7 * 24 * h, Worse: 2.5, Consultant: true},
		// One doubtful reading in five over a day (this program's choice).
		Implausible: {Raise: 20, Clear: 5, For: 6 * h, ClearFor: 24 * h, Fresh: 36 * h, Reopen: 7 * 24 * h, Consultant: true},
		// One reading in twenty over a day (this program's choice).
		ClockWrong: {Raise: 5, Clear: 0, For: 0, ClearFor: 24 * h, Fresh: 36 * h, Reopen: 7 * 24 * h, Consultant: true},
		// Two minutes ride out a restart of the broker (this program's choice).
		DaemonTrouble: {Raise: 1, Clear: 0, For: 2 * time.Minute, ClearFor: 10 * time.Minute, Fresh: h, Reopen: 6 * h,
			Consultant: true},
	}
}
