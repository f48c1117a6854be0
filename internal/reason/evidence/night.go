package evidence

import "time"

// Night is noon to noon in the property's zone, named by the date on which it
// begins. It has its true length: 23 or 25 h where the clocks change by an hour,
// 23.5 or 24.5 h where they change by half of one.
type Night struct {
	FromMS, UntilMS int64
	Date            string // 2026-12-24
}

// Hours returns the night's length in hours.
func (n Night) Hours() float64 { return float64(n.UntilMS-n.FromMS) / float64(HourMS) }

// Noon returns the noon at which the night of a time begins.
func Noon(t time.Time, zone *time.Location) time.Time {
	l := t.In(zone)
	noon := time.Date(l.Year(), l.Month(), l.Day(), 12, 0, 0, 0, zone)
	if noon.After(t) {
		noon = time.Date(l.Year(), l.Month(), l.Day()-1, 12, 0, 0, 0, zone)
	}
	return noon
}

// NoonAfter returns the noon n nights after a noon.
func NoonAfter(noon time.Time, n int, zone *time.Location) time.Time {
	l := noon.In(zone)
	return time.Date(l.Year(), l.Month(), l.Day()+n, 12, 0, 0, 0, zone)
}

// NightOf returns the night that a time lies in.
func NightOf(t time.Time, zone *time.Location) Night {
	noon := Noon(t, zone)
	return Night{noon.UnixMilli(), NoonAfter(noon, 1, zone).UnixMilli(), noon.Format(time.DateOnly)}
}

// SheetStep returns the step in which every night of [from, until) is whole steps
// long: an hour, or half of one where the clocks change by that.
func SheetStep(zone *time.Location, from, until time.Time) time.Duration {
	for _, n := range Nights(zone, from.UnixMilli(), until.UnixMilli()) {
		if (n.UntilMS-n.FromMS)%HourMS != 0 {
			return time.Hour / 2
		}
	}
	return time.Hour
}

// Nights lists the nights that touch [fromMS, untilMS).
func Nights(zone *time.Location, fromMS, untilMS int64) []Night {
	var out []Night
	for ms := fromMS; ms < untilMS; {
		n := NightOf(time.UnixMilli(ms), zone)
		out = append(out, n)
		ms = n.UntilMS
	}
	return out
}

// Bounds gives the bounds of the night that a time belongs to, in Unix ms.
func Bounds(zone *time.Location) func(ms int64) (fromMS, untilMS int64) {
	return func(ms int64) (int64, int64) {
		n := NightOf(time.UnixMilli(ms), zone)
		return n.FromMS, n.UntilMS
	}
}
