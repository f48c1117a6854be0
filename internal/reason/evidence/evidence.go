// Package evidence decides what a record is worth, once for all reasoners:
// which readings come from a stuck probe, how far a reading can be wrong, how
// the loggers of one place are joined, where a night begins and ends, and when
// it counts as wet. Cause, repair, watch, outlook, assessment, pictures and
// the flags of qc all use it, so that no two sections of one report rest on
// different records.
//
// # Missing values
//
// In a column of samples NaN means "not observed".
package evidence

import "dewcase/internal/roof"

// HourMS is an hour in milliseconds.
const HourMS = int64(3600_000)

// AtRiskK is the margin in K up to which a surface counts as at risk (design,
// "Risk at a surface").
const AtRiskK = 1.0

// ClearNightK is the undercooling in K of the covering, outdoor air less covering,
// held for ClearNightHours, from which a night counts as clear (method of cause
// finding).
const (
	ClearNightK     = 2.5
	ClearNightHours = 3
)

// WetNightHours is how many hours of water make a wet night: shorter dew is
// wiped off by the morning (this program's choice). A night with water for less
// is briefly wet.
const WetNightHours = 1.0

// WetNight reports that a night with so many hours of water counts as wet.
func WetNight(hours float64) bool { return hours >= WetNightHours-1e-6 } // minutes summed are not exact

// FrostNight reports that most of a night's water was frost.
func FrostNight(wetHours, frostHours float64) bool { return frostHours > wetHours/2 }

// BrieflyWetHours is how many hours of water make a night briefly wet: less is
// one crossing between two readings (this program's choice).
const BrieflyWetHours = 1.0 / 6

// seenShare is the share of a night that must be observed for it to be counted as
// dry or briefly wet (design, "Time"). A wet night is wet however little was seen
// of the rest.
const seenShare = 0.8

// State returns what a night was, of so many hours of water, observed, and in all.
func State(wetH, observedH, lengthH float64) roof.NightState {
	switch {
	case WetNight(wetH):
		return roof.WetNight
	case observedH+1e-6 < seenShare*lengthH:
		return roof.NotSeen
	case wetH >= BrieflyWetHours:
		return roof.BrieflyWet
	}
	return roof.DryNight
}
