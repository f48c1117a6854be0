package words

import (
	"fmt"
	"math"
	"time"
)

// Date is the day of a sentence: 2 October 2026.
func Date(t time.Time, zone *time.Location) string { return at(t, zone, "2 January 2006") }

// Day is the day where the year is clear: 2 October.
func Day(t time.Time, zone *time.Location) string { return at(t, zone, "2 January") }

// ShortDate is the day in a table: 2 Oct 2026.
func ShortDate(t time.Time, zone *time.Location) string { return at(t, zone, "2 Jan 2006") }

// DateOf writes a date of the assessment, 2026-10-02, as ShortDate does; anything
// else is left as it is.
func DateOf(iso string) string {
	t, err := time.Parse(time.DateOnly, iso)
	if err != nil {
		return iso
	}
	return ShortDate(t, time.UTC)
}

// Month writes a month of the assessment, 2026-10, in words: October 2026.
func Month(iso string) string {
	t, err := time.Parse("2006-01", iso)
	if err != nil {
		return iso
	}
	return at(t, time.UTC, "January 2006")
}

// Moment is a time to the minute: 2 October 2026 15:04.
func Moment(t time.Time, zone *time.Location) string { return at(t, zone, "2 January 2006 15:04") }

func at(t time.Time, zone *time.Location, layout string) string {
	if zone == nil {
		zone = time.UTC
	}
	return t.In(zone).Format(layout)
}

// Duration says how long something lasted: 42 minutes, 3 hours, 2 days.
func Duration(d time.Duration) string {
	switch m := d.Minutes(); {
	case m < 1:
		return "under a minute"
	case m < 59.5:
		return Count(int(math.Round(m)), "minute")
	case m < 48*60:
		return Count(int(math.Round(m/60)), "hour")
	default:
		return Count(int(m/60/24), "day")
	}
}

// DurationHours is Duration of hours.
func DurationHours(h float64) string { return Duration(time.Duration(h * float64(time.Hour))) }

// Ago says how long ago a time is.
func Ago(now, t time.Time) string {
	if t.IsZero() {
		return "never"
	}
	d := now.Sub(t)
	switch {
	case d < -time.Minute:
		return "ahead of the clock"
	case d < 90*time.Second:
		return fmt.Sprintf("%d s ago", max(0, int(d.Seconds())))
	case d < 90*time.Minute:
		return fmt.Sprintf("%.0f min ago", d.Minutes())
	case d < 48*time.Hour:
		return fmt.Sprintf("%.0f h ago", d.Hours())
	}
	return fmt.Sprintf("%.0f days ago", d.Hours()/24)
}

// Step names the step of a chart: 10 min a step; none shows every reading.
func Step(step time.Duration) string {
	switch {
	case step <= 0:
		return "every reading"
	case step < time.Hour:
		return fmt.Sprintf("%.0f min a step", step.Minutes())
	case step < 24*time.Hour:
		return fmt.Sprintf("%.0f h a step", step.Hours())
	case step == 24*time.Hour:
		return "a day a step"
	}
	return fmt.Sprintf("%.0f days a step", step.Hours()/24)
}
